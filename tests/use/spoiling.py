"""Ways to spoil sheets and learned files, beside those of ``tests.mutating``."""

from __future__ import annotations

import csv
import io
from pathlib import Path

import h5py
import numpy as np

from tests.mutating import JUNK, spoiled_text

CELLS = [
    "", " ", "|", "a | b", "wood | wood", "metal (0)", "metal (1.5)", "metal (nan)", "other:",
    "other: wood", "=1+1", '"', "'", "1e999", "nan", "-1", "22,4", "22.4 mm", "22.4 within",
    "22.4 within -1", "999999999999999999999", "1931", "1931-13", "[1931..1930]", "193X", "1931?",
    "not examined", "\u202e", "É" * 300, "<b>", "\t", "1931-02-30", "[..]", "{1931,1932}",
    "first_use", "share", "0.5", "2", "100 %", "yes", "None", "lot 1", "R-1", "1",
]  # fmt: skip


def spoiled_sheet(content: bytes, rng) -> bytes:
    """Return a CSV file with one to three changes to cells, columns, rows or bytes."""
    if rng.random() < 0.25:
        return spoiled_text(content, rng)
    text = content.decode()
    lines = text.splitlines()
    comments = [line for line in lines if line.startswith("#")]
    rows = list(csv.reader(line for line in lines if not line.startswith("#")))
    for _ in range(rng.choice([1, 1, 2, 3])):
        row = rng.randrange(len(rows))
        column = rng.randrange(len(rows[row]) or 1)
        change = rng.choice(
            ["cell"] * 6 + ["drop", "double", "column", "name", "longer", "comment"]
        )
        if change == "cell" and rows[row]:
            junk = [str(value) for value in JUNK if isinstance(value, str | int | float)]
            rows[row][column] = rng.choice(CELLS + junk)
        elif change == "drop" and len(rows) > 1:
            del rows[row]
        elif change == "double":
            rows.insert(row, list(rows[row]))
        elif change == "column":
            for cells in rows:
                del cells[column : column + 1]
        elif change == "name" and rows[0]:
            rows[0][rng.randrange(len(rows[0]))] = rng.choice([*rows[0], *CELLS])
        elif change == "longer":
            rows[row].append(rng.choice(CELLS))
        elif change == "comment":
            comments = rng.choice([[], ["# maker: nobody"], ["# maker:"], comments * 2, ["#"]])
    shown = io.StringIO()
    csv.writer(shown, lineterminator=rng.choice(["\n", "\r\n"])).writerows(rows)
    return ("\n".join([*comments, shown.getvalue()])).encode("utf-8", "replace")


def spoil_learned(source: Path, target: Path, rng) -> str:
    """Write a damaged copy of a learned file, and say what was done to it."""
    content = source.read_bytes()
    change = rng.choice(
        ["flip", "flip", "cut", "zeros", "insert", *["number"] * 6, "drop", "words"]
    )
    at = rng.randrange(len(content))
    if change == "flip":
        bit = bytes([content[at] ^ 1 << rng.randrange(8)])
        target.write_bytes(content[:at] + bit + content[at + 1 :])
    elif change == "cut":
        target.write_bytes(content[:at])
    elif change == "zeros":
        number = rng.choice([4, 64, 1024])
        target.write_bytes(content[:at] + b"\0" * number + content[at + number :])
    elif change == "insert":
        target.write_bytes(content[:at] + b"\n" + content[at:])
    else:
        target.write_bytes(content)
        with h5py.File(target, "r+") as file:
            return f"{change}: {_spoil_inside(file, change, rng)}"
    return f"{change} at {at}"


def _spoil_inside(file: h5py.File, change: str, rng) -> str:
    sets: list[h5py.Dataset] = []
    file.visititems(lambda _, item: sets.append(item) if isinstance(item, h5py.Dataset) else None)
    chosen = rng.choice(sets)
    if change == "drop":
        name = chosen.name
        del file[name]
        return name
    if change == "words":
        holder = rng.choice([file, chosen])
        if not len(holder.attrs):
            holder = file
        name = rng.choice(sorted(holder.attrs))
        holder.attrs[name] = rng.choice(["", "nonsense", 7, "{}", "0" * 64])
        return f"{holder.name}@{name}"
    numbers = [one for one in sets if one.dtype.kind in "fiu" and one.size]
    chosen = rng.choice(numbers)
    values = chosen[...]
    flat = values.reshape(-1)
    at = rng.randrange(flat.size)
    if chosen.dtype.kind == "f":
        flat[at] = rng.choice([np.nan, np.inf, -1.0, 2.0, 1e9, flat[at] + 1, -flat[at] - 1])
        if rng.random() < 0.3:
            flat[:] = rng.choice([np.nan, 0.0, 1.0])
    else:
        flat[at] = flat[at] + 1
    chosen[...] = values
    return chosen.name
