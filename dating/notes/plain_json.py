"""Records that a sale keeps of its own files: JSON, and fingerprints of contents."""

from __future__ import annotations

import json
from hashlib import file_digest, sha256
from pathlib import Path
from typing import Any

from dating.standard_input import StandardInput


def json_in(path: Path) -> Any:
    """Read a record.

    Raises OSError when it cannot be read; ValueError when it is no JSON.
    """
    return json.loads(path.read_bytes())


def json_bytes(data: object) -> bytes:
    r"""Write a record.

    Examples
    --------
    >>> json_bytes({"b": 1, "a": "x"})
    b'{"a": "x", "b": 1}\n'
    """
    return (json.dumps(data, sort_keys=True) + "\n").encode("ascii")


def digest_of(path: Path) -> str:
    """Take the fingerprint of a file.

    Raises OSError when it cannot be read.
    """
    if isinstance(path, StandardInput):
        return sha256(path.content).hexdigest()
    with path.open("rb") as stream:
        return file_digest(stream, "sha256").hexdigest()
