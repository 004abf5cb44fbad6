"""The first page: what lies in the folder, and what can be done with it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import get_args
from urllib.parse import urlencode

from starlette.responses import Response

from dating.bench.listing import MOST_FILES, FileKind
from dating.bench.requests import PageRequest, filled

KINDS = ("maker", "examination", "group", "claims", "lots", "corpus", "learned")
FIRST = 40
"""Files of each kind that are listed while all kinds are."""
EACH = 100
"""Files on one page of one kind."""
_LONGEST = 100


@dataclass(frozen=True)
class FileGroup:
    """The files of one kind, as far as they are listed.

    Parameters
    ----------
    kind : str
        The kind.
    names : tuple of str
        Names of those that are listed.
    first, count : int
        Place of the first of them, from 1, and how many there are.
    whole : str
        Address of the whole list; empty where it is listed whole, or page by page.
    before, after : str
        Addresses of the pages before and after this one; empty where there is none.
    """

    kind: str
    names: tuple[str, ...]
    first: int
    count: int
    whole: str = ""
    before: str = ""
    after: str = ""

    @property
    def last(self) -> int:
        """Place of the last that is listed."""
        return self.first + len(self.names) - 1


def overview(request: PageRequest) -> Response:
    """List the files of the folder by kind; many of them page by page."""
    workspace = request.shelf.workspace
    find, kind = request.query.get("find", "").strip()[:_LONGEST], request.query.get("kind", "")
    files = workspace.files()
    named = [file for file in files if find.casefold() in file.name.casefold()]
    groups = [
        _group(each, [file.name for file in named if file.kind == each], find, request)
        for each in KINDS
        if kind in {each, ""} or kind not in get_args(FileKind.__value__)
    ]
    return filled(
        "overview.html.j2",
        groups=[group for group in groups if group.count],
        find=find,
        kind=kind,
        searched=len(files) > FIRST or bool(find),
        most=f"{MOST_FILES:,}" if workspace.listing.exceeds_limit() else "",
        makers=any(file.kind == "maker" for file in files),
        several=sum(file.kind == "examination" for file in files) > 1,
        passing=workspace.passing,
    )


def _group(kind: str, names: Sequence[str], find: str, request: PageRequest) -> FileGroup:
    def address(page: int) -> str:
        fields = {"kind": kind, "find": find, "page": str(page) if page > 1 else ""}
        return f"/?{urlencode({key: value for key, value in fields.items() if value})}"

    if request.query.get("kind", "") != kind:
        whole = address(1) if len(names) > FIRST else ""
        return FileGroup(kind, tuple(names[:FIRST]), 1, len(names), whole)
    number, pages = request.query.get("page", ""), max(-(-len(names) // EACH), 1)
    page = min(max(int(number), 1), pages) if number.isdecimal() and len(number) < 9 else 1
    shown = tuple(names[EACH * (page - 1) : EACH * page])
    before = address(page - 1) if page > 1 else ""
    after = address(page + 1) if page < pages else ""
    return FileGroup(kind, shown, EACH * (page - 1) + 1, len(names), "", before, after)
