"""Every public docstring is complete numpydoc: summary, parameters, returns, in that form."""

import inspect
import pkgutil
from importlib import import_module

import click
import pytest
from numpydoc.validate import validate
from pydantic import BaseModel

import dating

CHECKS = {
    "GL03", "GL05", "GL07", "GL08", "GL10", "SS02", "SS03", "SS04", "SS05",
    "PR01", "PR02", "PR03", "PR04", "PR07", "PR10", "RT01", "RT03",
}  # fmt: skip


def public_names():
    """Functions, classes and their methods that the package itself defines."""
    for module_info in pkgutil.walk_packages(dating.__path__, "dating."):
        module = import_module(module_info.name)
        for name, thing in vars(module).items():
            own = getattr(thing, "__module__", None) == module.__name__
            if not own or name.startswith("_") or isinstance(thing, click.Command):
                continue
            if inspect.isclass(thing):
                if not issubclass(thing, BaseModel):
                    yield f"{module.__name__}.{name}"
                for method, member in vars(thing).items():
                    plain = inspect.isfunction(member) or isinstance(member, classmethod)
                    if plain and not method.startswith(("_", "model_")):
                        yield f"{module.__name__}.{name}.{method}"
            elif inspect.isfunction(thing):
                yield f"{module.__name__}.{name}"


NAMES = sorted(public_names())


def test_the_public_names_are_found():
    assert {"dating.estimates.estimate", "dating.distributions.Metalog.quantile"} <= set(NAMES)


@pytest.mark.parametrize("name", NAMES)
def test_docstring_is_complete(name):
    found = [f"{code} {text}" for code, text in validate(name)["errors"] if code in CHECKS]
    assert not found
