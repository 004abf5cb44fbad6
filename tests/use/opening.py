"""Files that are opened as what their name says they are, and the links that they hold."""

from __future__ import annotations

import io
import json
from collections.abc import Iterable
from pathlib import Path
from urllib.parse import unquote, urlsplit
from xml.etree import ElementTree

import docx
import html5lib
import openpyxl
import pypdf
from markdown_it import MarkdownIt


def words_of(path: Path) -> str:
    """Open a file as what its name says it is, and return its text."""
    text = OPENERS[path.suffix](path)
    return " ".join(text.replace("\u00a0", " ").split())


def _html(path: Path) -> str:
    parser = html5lib.HTMLParser(strict=True, namespaceHTMLElements=False)
    body = parser.parse(path.read_text("utf-8")).find("body")
    return " ".join(body.itertext())


def _word(path: Path) -> str:
    document = docx.Document(str(path))
    cells = [cell.text for table in document.tables for row in table.rows for cell in row.cells]
    return " ".join([*(paragraph.text for paragraph in document.paragraphs), *cells])


def _pdf(path: Path) -> str:
    return " ".join(page.extract_text() for page in pypdf.PdfReader(path).pages)


def _sheet(path: Path) -> str:
    sheet = openpyxl.load_workbook(path).worksheets[0]
    return " ".join(str(value) for row in sheet.values for value in row if value is not None)


def _markdown(path: Path) -> str:
    page = MarkdownIt("commonmark").enable("table").render(path.read_text("utf-8"))
    return " ".join(html5lib.parse(page, namespaceHTMLElements=False).itertext())


def _record(path: Path) -> str:
    return json.dumps(json.loads(path.read_text("utf-8")), ensure_ascii=False)


def _json(path: Path) -> str:
    data = json.loads(path.read_text("utf-8"))
    assert data["@context"].startswith("https://linked.art/")
    return json.dumps(data, ensure_ascii=False)


def _svg(path: Path) -> str:
    root = ElementTree.parse(path).getroot()
    assert root.tag.endswith("svg")
    return "picture"


OPENERS = {
    ".html": _html,
    ".docx": _word,
    ".pdf": _pdf,
    ".xlsx": _sheet,
    ".md": _markdown,
    ".json": _record,
    ".jsonld": _json,
    ".svg": _svg,
}


def links_of(path: Path) -> list[tuple[str, str]]:
    """List the links of a file: what stands on each, and where it leads."""
    if path.suffix == ".xlsx":
        sheet = openpyxl.load_workbook(path).worksheets[0]
        cells = [cell for row in sheet.iter_rows() for cell in row if cell.hyperlink]
        return [(str(cell.value), cell.hyperlink.target or "") for cell in cells]
    text = path.read_text("utf-8")
    if path.suffix == ".md":
        text = MarkdownIt("commonmark").enable("table").render(text)
    tree = html5lib.parse(io.StringIO(text), namespaceHTMLElements=False)
    found = [("".join(a.itertext()), a.get("href", "")) for a in tree.iter("a")]
    return found + [("picture", image.get("src", "")) for image in tree.iter("img")]


def followed(path: Path, links: Iterable[tuple[str, str]]) -> list[Path]:
    """Follow links that lead beside a file; each must lead to a file that opens."""
    targets = []
    for label, address in links:
        parts = urlsplit(address)
        if parts.scheme == "data" or not parts.path:
            continue
        assert not parts.scheme, f"{path.name}: {label} leads away, to {address}"
        target = path.parent / unquote(parts.path)
        assert target.is_file(), f"{path.name}: {label!r} leads to {address}, which is not there"
        assert words_of(target)
        targets.append(target)
    return targets
