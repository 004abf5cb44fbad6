"""A note as a PDF file that a screen reader can follow, the same bytes each time."""

from __future__ import annotations

import json
import re
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Any, Literal

from dating.notes.house import OURS, PRINT, House
from dating.notes.note import Note
from dating.notes.picture import NotePicture
from dating.notes.plain_text import each_text, one_line
from dating.reading import InputError, Problem
from dating.words.spacing import keep_per_cent

STANDARD: Literal["ua-1"] = "ua-1"
"""PDF/UA-1 (ISO 14289-1:2014), universal accessibility."""
_PLACE = re.compile(r"┌─ (.+?):(\d+):\d+")
_UNKNOWN = re.compile(r'the text `"((?:[^"\\]|\\.)+)"` could not be displayed')
_CODE = re.compile(r"\\u\{([0-9a-f]+)\}")
_STAND_IN = "\N{REPLACEMENT CHARACTER}"
_ALLOWED = "json(bytes(sys.inputs.note)), sys.inputs.picture, files of its own folder"
_ROUNDS = 4


@dataclass(frozen=True)
class PdfNote:
    """A PDF file.

    Parameters
    ----------
    pdf : bytes
        The file.
    missing : tuple of str
        Signs that the fonts do not have; a mark of replacement stands for them.
    """

    pdf: bytes
    missing: tuple[str, ...]


def as_pdf(note: Note, house: House, note_picture: NotePicture | None = None) -> PdfNote:
    """Set a note as a PDF file.

    Raises InputError when the house's template has a fault.
    """
    content = each_text(note, lambda text: keep_per_cent(one_line(text)))
    data = json.dumps(asdict(content) | _spoken(content.language), ensure_ascii=False)
    picture = note_picture.svg.decode() if note_picture else ""
    missing: set[str] = set()
    for _ in range(_ROUNDS):
        clean = "".join(_STAND_IN if sign in missing else sign for sign in data)
        result = _compiled(house, {"note": clean, "picture": picture})
        if isinstance(result, bytes):
            return PdfNote(result, tuple(sorted(missing)))
        missing |= result
    raise InputError([Problem(str(house.file(PRINT)), None, "", "the fonts lack too many signs")])


def _spoken(code: str) -> dict[str, str | None]:
    """Give language and region apart, as the template wants them: ``en-US`` is ``en`` in ``US``."""
    primary, *more = code.split("-")
    region = next((part.upper() for part in more if len(part) == 2), None)
    return {"language": primary.lower(), "region": region}


def _compiled(house: House, inputs: dict[str, str]) -> bytes | set[str]:
    """Compile the template, or name the signs that its fonts lack."""
    import typst  # noqa: PLC0415

    path = house.file(PRINT) or OURS / PRINT
    fonts: Any = [str(house.folder)] if house.folder else []
    compiler = typst.Compiler(root=str(path.parent), font_paths=fonts, ignore_system_fonts=True)
    try:
        pdf = compiler.compile(str(path), format="pdf", sys_inputs=inputs, pdf_standards=STANDARD)
    except typst.TypstError as error:
        lacking = _lacking(error.diagnostic)
        if not lacking:
            raise InputError([_fault(path, error)]) from None
        return lacking
    return pdf if isinstance(pdf, bytes) else b""


def _lacking(diagnostic: str) -> set[str]:
    texts = (
        _CODE.sub(lambda code: chr(int(code[1], 16)), text) for text in _UNKNOWN.findall(diagnostic)
    )
    return {sign for text in texts for sign in text if sign not in "\\ "}


def _fault(path: Path, error: Any) -> Problem:
    place = _PLACE.search(error.diagnostic)
    line = int(place[2]) if place else None
    file = path if place is None or place[1].endswith(path.name) else path.parent / place[1]
    hints = "; ".join(error.hints)
    message = f"{error.message} ({hints})" if hints else str(error.message)
    return Problem(str(file), line, "", message, allowed=_ALLOWED)
