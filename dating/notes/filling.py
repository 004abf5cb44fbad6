"""Templates checked and filled: in a sandbox, with every fault located in its file."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from dataclasses import fields
from functools import cache
from pathlib import Path
from types import TracebackType
from typing import TYPE_CHECKING, Any

from dating.notes.house import House
from dating.notes.note import Note
from dating.reading import InputError, Problem, nearest_name, read_text

if TYPE_CHECKING:
    from jinja2 import nodes
    from jinja2.sandbox import ImmutableSandboxedEnvironment

type Rule = Callable[[Any], Any]

INDEX = ("language", "title", "count", "head", "rows")
_PARTS = {"note": tuple(field.name for field in fields(Note)), "index": INDEX}
_NAMES = {
    "note.md.j2": ("note", "picture"),
    "note.html.j2": ("note", "picture", "style", "policy"),
    "index.md.j2": ("index",),
    "index.html.j2": ("index", "style", "policy"),
}


def fill(house: House, name: str, content: Mapping[str, Any], finalize: Rule | None = None) -> str:
    """Fill a template.

    Raises InputError when the template has a fault; with its file, its line and what it may name.
    """
    from jinja2 import TemplateNotFound, TemplateSyntaxError  # noqa: PLC0415

    path = str(house.file(name))
    try:
        template = _environment(house, finalize).get_template(name)
        return template.render(**content).strip() + "\n"
    except TemplateSyntaxError as error:
        file = error.filename or path
        raise InputError([_fault(file, error.lineno, str(error.message), name)]) from None
    except TemplateNotFound as error:
        file, line = _place(error.__traceback__, house, path)
        raise InputError([_fault(file, line, f"there is no template {error}", name)]) from None
    except Exception as error:
        # A house's template is a program: whatever it runs into is a fault of that file.
        file, line = _place(error.__traceback__, house, path)
        raise InputError([_fault(file, line, str(error) or repr(error), name)]) from None


def check_template(path: Path) -> list[Problem]:
    """Check a template without filling it.

    Raises InputError when the file cannot be read.
    """
    from jinja2 import TemplateSyntaxError, meta, nodes  # noqa: PLC0415

    name = path.name
    environment = _environment(House(path.parent), None)
    try:
        tree = environment.parse(read_text(path)[0], name, str(path))
    except TemplateSyntaxError as error:
        return [_fault(str(path), error.lineno, str(error.message), name)]
    unknown = meta.find_undeclared_variables(tree) - set(_NAMES[name]) - set(environment.globals)
    problems = [
        _fault(str(path), node.lineno, "no such name", name, text=node.name)
        for node in tree.find_all(nodes.Name)
        if node.ctx == "load" and node.name in unknown
    ]
    return problems + list(_strange_parts(str(path), tree, name))


def _strange_parts(file: str, tree: nodes.Template, name: str) -> Iterator[Problem]:
    """Find what a template asks of a note or an index that it does not have."""
    from jinja2 import nodes  # noqa: PLC0415

    own = {node.name for node in tree.find_all(nodes.Name) if node.ctx == "store"}
    for node in tree.find_all(nodes.Getattr):
        if isinstance(node.node, nodes.Name) and node.node.name not in own:
            of = node.node.name
            if of in _NAMES[name] and of in _PARTS and node.attr not in _PARTS[of]:
                yield _fault(file, node.lineno, "no such name", name, text=f"{of}.{node.attr}")


@cache
def _environment(house: House, finalize: Rule | None) -> ImmutableSandboxedEnvironment:
    from jinja2 import FileSystemLoader, StrictUndefined  # noqa: PLC0415
    from jinja2.sandbox import ImmutableSandboxedEnvironment  # noqa: PLC0415

    return ImmutableSandboxedEnvironment(
        loader=FileSystemLoader(house.folders),
        autoescape=True,
        undefined=StrictUndefined,
        finalize=finalize,
        trim_blocks=True,
        lstrip_blocks=True,
    )


def _place(trace: TracebackType | None, house: House, path: str) -> tuple[str, int | None]:
    """Find the innermost line of a template that an error passed through."""
    folders = tuple(str(folder) for folder in house.folders)
    file, line = path, None
    while trace is not None:
        name = trace.tb_frame.f_code.co_filename
        if name.startswith(folders) and not name.endswith(".py"):
            file, line = name, trace.tb_lineno
        trace = trace.tb_next
    return file, line


def _fault(file: str, line: int | None, message: str, name: str, text: str = "") -> Problem:
    names = [
        part
        for known in _NAMES[name]
        for part in (
            [f"{known}.{field}" for field in _PARTS[known]] if known in _PARTS else [known]
        )
    ]
    near = nearest_name(text, names) if text else ""
    return Problem(file, line, "", message, text, ", ".join(names), near)
