"""The look of notes: our own templates, or a folder of a house whose files replace ours by name."""

from __future__ import annotations

import os
from dataclasses import dataclass
from pathlib import Path

from dating.reading import InputError, Problem, nearest_name, read_text

OURS = Path(__file__).parent / "templates"
TEMPLATES = ("note.md.j2", "note.html.j2", "index.html.j2", "index.md.j2")
STYLE, PRINT, WORD = "note.css", "note.typ", "note.docx"
FILES = (*TEMPLATES, STYLE, PRINT, WORD)


@dataclass(frozen=True, eq=False)
class House:
    """Where the templates of notes come from.

    Parameters
    ----------
    folder : Path or None
        A house's own folder; None for ours alone.
    """

    folder: Path | None = None

    def file(self, name: str) -> Path | None:
        """Find a template.

        Examples
        --------
        >>> House().file("note.css").name
        'note.css'
        """
        known = (folder / name for folder in self.folders)
        return next((path for path in known if path.is_file()), None)

    @property
    def folders(self) -> tuple[Path, ...]:
        """Where files are looked for, in this order."""
        return (OURS,) if self.folder is None else (self.folder, OURS)

    @property
    def own_files(self) -> list[Path]:
        """What a house brings itself, by name."""
        brought = () if self.folder is None else self.folder.iterdir()
        return sorted(path for path in brought if path.is_file())

    @property
    def style(self) -> str:
        """What ``note.css`` says."""
        path = self.file(STYLE)
        return read_text(path)[0] if path else ""


def house(folder: str | os.PathLike[str] | None = None) -> House:
    """Read the templates of a house, and check them before anything is written.

    Raises InputError when the folder does not exist or holds none of the names, or when a template
    has a fault.

    Examples
    --------
    >>> house().folder is None
    True
    """
    from dating.notes.filling import check_template  # noqa: PLC0415

    if folder is None:
        return House()
    templates = House(Path(folder))
    problems = _folder_problems(Path(folder))
    if not problems:
        problems = [
            problem
            for name in TEMPLATES
            if (Path(folder) / name).is_file()
            for problem in check_template(Path(folder) / name)
        ]
        problems += _style_problems(templates)
    if problems:
        raise InputError(problems)
    return templates


def _folder_problems(folder: Path) -> list[Problem]:
    allowed = ", ".join(FILES)
    if not folder.is_dir():
        return [Problem(str(folder), None, "", "there is no such folder of templates")]
    names = sorted(path.name for path in folder.iterdir())
    if not set(names) & set(FILES):
        near = next((nearest for name in names if (nearest := nearest_name(name, FILES))), "")
        message = "the folder holds no template"
        return [Problem(str(folder), None, "", message, allowed=allowed, nearest=near)]
    strange = [name for name in names if name.startswith(("note.", "index.")) and name not in FILES]
    return [
        Problem(
            str(folder / name),
            None,
            "",
            "no template has this name",
            allowed=allowed,
            nearest=nearest_name(name, FILES),
        )
        for name in strange
    ]


def _style_problems(templates: House) -> list[Problem]:
    lines = templates.style.lower().splitlines()
    message = "a style may not close the element that contains it"
    return [
        Problem(str(templates.file(STYLE)), number, "", message, found="</style")
        for number, line in enumerate(lines, 1)
        if "</style" in line
    ]
