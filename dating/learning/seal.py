"""The seal of a learned file: a checksum of what it says, whatever way its bytes are laid out.

Names, kinds, dimensions, shapes, values and attributes are taken in the order of the alphabet, so
that a copy that is compressed, or divided otherwise, keeps its seal, and a copy in which one number
differs does not. A seal shows damage and mistakes. It is no signature: whoever changes a file on
purpose can seal it again.
"""

from __future__ import annotations

import json
from collections.abc import Iterator
from hashlib import sha256
from typing import TYPE_CHECKING, Any

import numpy as np

if TYPE_CHECKING:
    import h5py

SEAL = "seal"
_UNSEALED = {
    SEAL,
    "history",
    "CLASS",
    "NAME",
    "DIMENSION_LIST",
    "REFERENCE_LIST",
    "_FillValue",
    "_NCProperties",
    "_Netcdf4Coordinates",
    "_Netcdf4Dimid",
    "_nc3_strict",
}
"""Attributes that say nothing of the content: the seal, what tools note of their doings, and how
netCDF-4 keeps dimensions (Unidata, *NetCDF file format specifications*, "The NetCDF-4 format")."""
_NO_VARIABLE = b"This is a netCDF dimension but not a netCDF variable"


def seal_of(file: h5py.File) -> str:
    """Give the checksum of all that a netCDF-4 file says.

    Parameters
    ----------
    file : h5py.File
        Open; arrays of numbers, truth values or text, and attributes.

    Returns
    -------
    str
        SHA-256 in hexadecimal.

    Examples
    --------
    >>> import io, h5py
    >>> def sealed(slip, **layout):
    ...     with h5py.File(io.BytesIO(), "w") as file:
    ...         file.create_dataset("slip", data=slip, **layout)
    ...         return seal_of(file)
    >>> sealed([0.01, 0.02]) == sealed([0.01, 0.02], compression="gzip")
    True
    >>> sealed([0.01, 0.02]) == sealed([0.01, 0.03])
    False
    """
    digest = sha256()
    for part in _parts(file):
        digest.update(len(part).to_bytes(8, "little"))
        digest.update(part)
    return digest.hexdigest()


def _parts(group: h5py.Group) -> Iterator[bytes]:
    """Give the parts of a group, each to be told from the next by its length."""
    yield _words("group", group.name, _attributes(group))
    for name in sorted(group):
        if name not in group:
            raise ValueError(f"{name} leads nowhere")
        entry = group[name]
        if hasattr(entry, "keys"):
            yield from _parts(entry)
        elif entry.attrs.get("NAME", b"").startswith(_NO_VARIABLE):
            yield _words("dimension", entry.name, entry.shape)
        else:
            kind, content = _content(entry)
            yield _words(entry.name, kind, _dimensions(entry), entry.shape, _attributes(entry))
            yield content


def _dimensions(dataset: h5py.Dataset) -> list[list[str]]:
    return [[scale.name for scale in dimension.values()] for dimension in dataset.dims]


def _content(dataset: h5py.Dataset) -> tuple[str, bytes]:
    """Give the kind of an array, and its values in the order of the last axis."""
    values = np.asarray(dataset[()])
    if not values.size:
        return "nothing", b""
    if values.dtype.kind in "biuf":
        ordered = np.ascontiguousarray(values, dtype=values.dtype.newbyteorder("<"))
        return values.dtype.name, ordered.tobytes()
    return "text", _words(*(_plain(value) for value in values.ravel().tolist()))


def _attributes(entry: h5py.Group | h5py.Dataset) -> dict[str, Any]:
    return {k: _plain(entry.attrs[k]) for k in sorted(entry.attrs) if k not in _UNSEALED}


def _plain(value: Any) -> Any:
    """Give an attribute as plain data; numbers by their kind and value, not by their width."""
    if isinstance(value, bytes):
        return value.decode("utf-8", "backslashreplace")
    if isinstance(value, np.ndarray) and value.shape == (1,):
        return _plain(value[0])
    if isinstance(value, np.ndarray | list):
        return [_plain(each) for each in np.ravel(value).tolist()]
    if isinstance(value, int | np.integer | np.bool_):
        return int(value)
    if isinstance(value, float | np.floating):
        return float(value).hex()
    return str(value)


def _words(*parts: Any) -> bytes:
    return json.dumps(parts, sort_keys=True).encode()
