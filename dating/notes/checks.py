"""What was understood of a sale or of a language file, as plain text."""

from __future__ import annotations

import os

from dating.notes.languages import language
from dating.notes.lots import read_lots
from dating.reading import InputError
from dating.words.file_summary import form_lines, recorded, summary_title
from dating.words.plain import WIDTH, hanging


def sale_text(file: str | os.PathLike[str], width: int = WIDTH) -> str:
    """Read the lots of a sale, check every row, and say what was understood.

    Raises InputError when the sheet or any of its rows has a fault; dating a sale passes over such
    rows.

    Examples
    --------
    >>> sale_text("demo_data/marrowby_sale.csv").splitlines()[0]
    'Sale of 40 lots, demo_data/marrowby_sale.csv: no mistakes found'
    """
    sale = read_lots(file)
    if problems := [problem for lot in sale.lots for problem in lot.problems]:
        raise InputError(problems)
    maker, lots = sale.maker, sale.lots
    examinations = [lot.examination for lot in lots if lot.examination is not None]
    invented = " (invented)" if maker.invented else ""
    count = "1 lot" if len(lots) == 1 else f"{len(lots)} lots"
    ends = f"lots {lots[0].number} to {lots[-1].number}" if len(lots) > 1 else lots[0].number
    dated = sum(examination.examined is not None for examination in examinations)
    papers = sum(bool(examination.documents) for examination in examinations)
    titled = sum(bool(lot.title) for lot in lots)
    lines = [
        summary_title(str(file), f"Sale of {count},"),
        *form_lines(file),
        f"  {ends}, checked against {maker.origin.file}{invented}",
        f"  with a title: {titled}; with the day of the examination: {dated}; with a "
        f"document: {papers}",
        *recorded(examinations, maker),
    ]
    return hanging(lines, width)


def language_text(file: str | os.PathLike[str], width: int = WIDTH) -> str:
    """Read a language file, hold it against the English one, and say what was understood.

    Raises InputError when a text is missing, unknown, or has other places than the English one.

    Examples
    --------
    >>> print(language_text("dating/notes/languages/de.yaml"), end="")
    Language file dating/notes/languages/de.yaml: no mistakes found
      Deutsch (de), 198 texts
    """
    words = language(file)
    lines = [f"  {words.texts['name']} ({words.code}), {len(words.texts)} texts"]
    return hanging([summary_title(str(file), "Language file"), *lines], width)
