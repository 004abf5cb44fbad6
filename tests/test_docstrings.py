"""Docstrings: complete numpydoc where it is read from outside, one line and shapes elsewhere.

Complete are those of the public interface, of every class (its fields), and of every formula, which
is told by its published source. Of everything else arrays alone are described.
"""

import inspect
import pkgutil
import re
from functools import cache
from importlib import import_module

import click
import pytest
from numpydoc.validate import validate
from pydantic import BaseModel

import dating

FORM = {"GL03", "GL05", "GL07", "GL08", "GL10", "SS02", "SS03", "SS04", "SS05"}
COMPLETE = FORM | {"PR01", "PR02", "PR03", "PR04", "PR07", "PR10", "RT01", "RT03"}
ARRAYS = re.compile(r"\b(Floats|Positions|Integers|Booleans|Unsigned|NDArray)\b")


@cache
def documented():
    """Every function, class and method that the package itself defines, by name."""
    things = {}
    for module_info in pkgutil.walk_packages(dating.__path__, "dating."):
        module = import_module(module_info.name)
        for name, thing in vars(module).items():
            own = getattr(thing, "__module__", None) == module.__name__
            if not own or name.startswith("_") or isinstance(thing, click.Command):
                continue
            if inspect.isclass(thing):
                if not issubclass(thing, BaseModel):
                    things[f"{module.__name__}.{name}"] = thing
                for method, member in vars(thing).items():
                    plain = inspect.isfunction(member) or isinstance(member, classmethod)
                    if plain and not method.startswith(("_", "model_")):
                        things[f"{module.__name__}.{name}.{method}"] = getattr(thing, method)
            elif inspect.isfunction(thing):
                things[f"{module.__name__}.{name}"] = thing
    return things


def public(name):
    parts = name.split(".")
    return any(
        thing.__name__ in parts
        and thing.__module__ == ".".join(parts[: parts.index(thing.__name__)])
        for thing in map(dating.__getattr__, dating.__all__)
    )


def wanted(name, thing):
    formula = "References\n" in (inspect.getdoc(thing) or "")
    return COMPLETE if inspect.isclass(thing) or public(name) or formula else FORM


NAMES = sorted(documented())


def test_both_kinds_are_there():
    sets = [wanted(name, thing) for name, thing in documented().items()]
    assert wanted("dating.estimates.estimate", dating.estimate) == COMPLETE
    assert min(sets.count(FORM), sets.count(COMPLETE)) > 100


@pytest.mark.parametrize("name", NAMES)
def test_docstring_has_its_form(name):
    checks = wanted(name, documented()[name])
    wrong = [f"{code} {text}" for code, text in validate(name)["errors"] if code in checks]
    assert not wrong


@pytest.mark.parametrize(
    "name", [name for name in NAMES if not inspect.isclass(documented()[name])]
)
def test_arrays_have_shapes(name):
    thing = documented()[name]
    if ARRAYS.search(" ".join(map(str, inspect.get_annotations(thing).values()))):
        assert re.search(r"[Ss]hapes?\b|as long as|one for each", inspect.getdoc(thing) or "")
