"""How our own Word file looks, and the parts of a document that python-docx has no words for."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from docx.document import Document
    from docx.styles.style import ParagraphStyle
    from docx.table import Table as WordTable
    from docx.text.paragraph import Paragraph

INK, QUIET, CORE, DOUBT, LINE = "1B1B1B", "585F66", "14466B", "9C4A0C", "D8DDE1"
_SIDES = ("top", "left", "bottom", "right", "insideH", "insideV")
_ORDER = (
    "tblStyle",
    "tblpPr",
    "tblOverlap",
    "bidiVisual",
    "tblStyleRowBandSize",
    "tblStyleColBandSize",
    "tblW",
    "jc",
    "tblCellSpacing",
    "tblInd",
    "tblBorders",
    "shd",
    "tblLayout",
    "tblCellMar",
    "tblLook",
    "tblCaption",
    "tblDescription",
)
"""Order in which a table's properties must stand (ISO/IEC 29500-1, CT_TblPr)."""
SERIF, SANS = "Georgia", "Arial"

_LOOKS: dict[str, dict[str, Any]] = {
    "Normal": {"size": 10.5, "after": 5, "lines": 1.25},
    "Title": {"size": 24, "after": 2, "bold": True},
    "Subtitle": {"size": 12, "after": 10, "italic": True, "colour": QUIET},
    "Intense Quote": {"size": 9, "after": 10, "font": SANS, "colour": DOUBT},
    "Body Text": {"size": 15, "before": 8, "after": 10},
    "Heading 1": {"size": 12, "before": 14, "after": 3, "bold": True, "colour": CORE},
    "List Bullet": {"size": 10.5, "after": 3},
    "Quote": {"size": 10.5, "before": 14, "after": 6, "italic": True, "colour": CORE},
    "Table Text": {"size": 8.5, "before": 2, "after": 2, "lines": 1.1, "font": SANS},
}


def base_document(document: Document) -> Document:
    """Give a bare document our look: an A4 page with a text column of 16 cm, calm styles."""
    from docx.shared import Cm  # noqa: PLC0415

    page = document.sections[0]
    page.page_width, page.page_height = Cm(21), Cm(29.7)
    page.left_margin = page.right_margin = Cm(2.5)
    page.top_margin, page.bottom_margin = Cm(2.2), Cm(2.2)
    for name, look in _LOOKS.items():
        _dress(style_named(document, name), **look)
    _number_pages(document)
    package = document.part.package
    for key, relation in list(package.rels.items()):
        if relation.reltype.endswith("/thumbnail"):
            del package.rels[key]
    return document


def style_named(document: Document, name: str) -> ParagraphStyle:
    """Find a style, or make a plain one where a house's file has none of that name."""
    from docx.enum.style import WD_STYLE_TYPE  # noqa: PLC0415

    styles: Any = document.styles
    style: ParagraphStyle
    if has_style(document, name):
        style = styles[name]
        return style
    style = styles.add_style(name, WD_STYLE_TYPE.PARAGRAPH, builtin=name != "Table Text")
    if has_style(document, "Normal"):
        style.base_style = styles["Normal"]
    return style


def has_style(document: Document, name: str) -> bool:
    """Say whether there is a style of a name; python-docx would read the name of every style."""
    from docx.styles import BabelFish  # noqa: PLC0415

    element: Any = document.styles.element
    return element.get_by_name(BabelFish.ui2internal(name)) is not None


def put_style(document: Document, paragraph: Paragraph, name: str) -> None:
    """Give a paragraph a style; python-docx would look for the default style each time."""
    style = style_named(document, name)
    default = style.element.default
    paragraph._p.style = None if default else style.style_id


def picture_width(document: Document) -> int:
    """Measure the text column."""
    from docx.shared import Cm  # noqa: PLC0415

    page = document.sections[-1]
    sides = (page.page_width, page.left_margin, page.right_margin)
    if None in sides:
        return Cm(16)
    return min(
        Cm(16), int(page.page_width or 0) - (page.left_margin or 0) - (page.right_margin or 0)
    )


def widths(table: WordTable, columns: Sequence[float]) -> None:
    """Set the widths of a table's columns."""
    from docx.shared import Emu  # noqa: PLC0415

    for column, width in zip(table.columns, columns, strict=False):
        column.width = Emu(int(width))
    for row in table._tbl.tr_lst:
        for cell, width in zip(row.tc_lst, columns, strict=False):
            cell.width = Emu(int(width))


def repeat_header(table: WordTable, words: str, header: bool) -> None:
    """Make a table readable: rules between rows, rows kept whole, header row said and repeated."""
    properties = table._tbl.tblPr
    for known in properties.findall(_name("w:tblLook")):
        properties.remove(known)
    flags = {"firstRow": str(int(header)), "firstColumn": str(int(not header)), "noVBand": "1"}
    properties.append(_element("w:tblBorders", *map(_border, _SIDES)))
    properties.append(_element("w:tblLook", **flags))
    properties.append(_element("w:tblCaption", val=words[:250]))
    properties[:] = sorted(properties, key=lambda part: _ORDER.index(part.tag.rsplit("}")[-1]))
    for number, row in enumerate(table.rows):
        about = row._tr.get_or_add_trPr()
        about.append(_element("w:cantSplit"))
        if header and number == 0:
            about.append(_element("w:tblHeader"))
            _embolden(row.cells)
        elif not header:
            _embolden(row.cells[:1])


def _embolden(cells: Sequence[Any]) -> None:
    for cell in cells:
        for run in cell.paragraphs[0].runs:
            run.bold = True


def _border(side: str) -> Any:
    seen = side in {"top", "bottom", "insideH"}
    if not seen:
        return _element(f"w:{side}", val="nil")
    return _element(f"w:{side}", val="single", sz="4", space="0", color=LINE)


def _dress(
    style: Any,
    *,
    size: float,
    before: float = 0,
    after: float = 0,
    lines: float = 1.15,
    font: str = SERIF,
    colour: str = INK,
    bold: bool = False,
    italic: bool = False,
) -> None:
    from docx.shared import Pt, RGBColor  # noqa: PLC0415

    letters, room = style.font, style.paragraph_format
    letters.size, letters.bold, letters.italic = Pt(size), bold, italic
    letters.color.rgb = RGBColor.from_string(colour)
    letters.name = font
    fonts = style.element.rPr.rFonts
    for kind in ("asciiTheme", "hAnsiTheme", "eastAsiaTheme", "cstheme"):
        fonts.attrib.pop(_name(f"w:{kind}"), None)
    fonts.set(_name("w:cs"), font)
    room.space_before, room.space_after, room.line_spacing = Pt(before), Pt(after), lines
    for frame in style.element.pPr.findall(_name("w:pBdr")):
        style.element.pPr.remove(frame)
    for apart in style.element.rPr.findall(_name("w:spacing")):
        style.element.rPr.remove(apart)
    if style.name == "Intense Quote":
        room.left_indent = room.right_indent = Pt(0)


def _number_pages(document: Document) -> None:
    """Count the pages at the foot."""
    foot = document.sections[0].footer.paragraphs[0]
    foot.style = style_named(document, "Table Text")
    foot.alignment = 2
    foot._p.append(_element("w:fldSimple", instr="PAGE"))


def _name(tag: str) -> str:
    from docx.oxml.ns import qn  # noqa: PLC0415

    return str(qn(tag))


def _element(tag: str, *children: Any, **values: str) -> Any:
    from docx.oxml import OxmlElement  # noqa: PLC0415

    element = OxmlElement(tag)
    for key, value in values.items():
        element.set(_name(f"w:{key}"), value)
    for child in children:
        element.append(child)
    return element
