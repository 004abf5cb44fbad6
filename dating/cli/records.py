"""Records as JSON and YAML, whole on every output."""

from __future__ import annotations

from typing import Any

from dating.cli.streams import carries
from dating.escapes import escaped


def as_json(record: dict[str, Any]) -> str:
    """Write a record as JSON."""
    import json  # noqa: PLC0415

    def dump(in_ascii: bool) -> str:
        return json.dumps(record, indent=2, ensure_ascii=in_ascii, allow_nan=False) + "\n"

    text = dump(False)
    return text if _is_plain(text) else dump(True)


def as_yaml(record: dict[str, Any]) -> str:
    """Write a record as YAML."""
    import yaml  # noqa: PLC0415

    def dump(in_full: bool) -> str:
        text: str = yaml.safe_dump(record, sort_keys=False, allow_unicode=in_full, width=96)
        return text

    text = dump(True)
    return text if _is_plain(text) else dump(False)


def _is_plain(text: str) -> bool:
    return carries(text) and escaped(text, "\n") == text
