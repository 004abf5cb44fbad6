"""Strict models, and pydantic's findings turned into located problems."""

from __future__ import annotations

import types
from collections.abc import Iterator, Mapping
from typing import Annotated, Any, ClassVar, Self, TypeAliasType, Union, get_args, get_origin

from pydantic import BaseModel, ConfigDict, PrivateAttr, ValidationError
from pydantic_core import ErrorDetails, PydanticCustomError

from dating.escapes import escaped
from dating.reading import InputError, KeyPath, Problem, Source

_PLAIN_WORDS = {
    "missing": "this key is missing",
    "string_type": "text is expected here",
    "float_type": "a number is expected here",
    "float_parsing": "a number is expected here",
    "int_type": "a whole number is expected here",
    "int_parsing": "a whole number is expected here",
    "int_from_float": "a whole number is expected here",
    "bool_type": "true or false is expected here",
    "bool_parsing": "true or false is expected here",
    "dict_type": "a mapping (key: value) is expected here",
    "model_type": "a mapping (key: value) is expected here",
    "list_type": "a list is expected here",
    "tuple_type": "a list is expected here",
    "literal_error": "not an allowed value",
    "finite_number": "a finite number is expected here",
}


class Strict(BaseModel):
    """A frozen model that refuses unknown keys; of keys renamed it names the new word."""

    renamed: ClassVar[Mapping[str, str]] = {}

    model_config = ConfigDict(
        extra="forbid", frozen=True, populate_by_name=True, arbitrary_types_allowed=True
    )


class FromFile(Strict):
    """A model of a whole file, which knows where each of its keys stands."""

    _origin: Source = PrivateAttr(default=Source("(made in Python)", None, {}, ""))

    def __repr__(self) -> str:
        """Name the file; all that it says would fill pages."""
        return f"{type(self).__name__}({escaped(self._origin.file)})"

    def __str__(self) -> str:
        return repr(self)

    def placed(self, origin: Source) -> Self:
        """Return the same model with the places of its keys."""
        copy = self.model_copy()
        copy._origin = origin
        return copy

    @property
    def origin(self) -> Source:
        """The file this was read from, with the place of every key."""
        return self._origin


def refuse(message: str, *, allowed: str = "") -> PydanticCustomError:
    """Make the error with which a validator refuses a value."""
    return PydanticCustomError("refused", "{rule}", {"rule": message, "allowed": allowed})


def number(value: Any) -> Any:
    """Refuse true and false where a number is wanted, which would be taken for 1 and 0."""
    if isinstance(value, bool):
        raise refuse("a number is expected here")
    return value


def validate[M: BaseModel](source: Source, model: type[M]) -> M:
    """Validate what was read against a model.

    Raises InputError with one located problem for each thing wrong.
    """
    if not isinstance(source.data, dict):
        problem = source.problem((), "a mapping (key: value) is expected here", found=source.data)
        raise InputError([problem])
    try:
        return model.model_validate(source.data)
    except ValidationError as error:
        errors = [each for each in error.errors(include_url=False) if not _follows(each)]
        problems = dict.fromkeys(_problem(source, model, details) for details in errors)
        raise InputError(list(problems)) from None


def _follows(details: ErrorDetails) -> bool:
    """Say whether it is wrong only because something else in it was refused."""
    value = details["input"]
    counted = details["type"] == "too_short" and isinstance(value, list | tuple)
    unset = details["type"] == "default_factory_not_called"
    return unset or (counted and len(value) >= details["ctx"]["min_length"])


def _problem(source: Source, model: type[BaseModel], details: ErrorDetails) -> Problem:
    kind, location = details["type"], details["loc"]
    path = _real_path(source, location)
    context = details.get("ctx", {})
    if kind == "extra_forbidden":
        models = _models_at(model, location)
        renamed = {old: new for each in models for old, new in each.renamed.items()}
        if new := renamed.get(str(location[-1])):
            return source.problem(path, f"this key is now called {new}", found=location[-1])
        allowed = _keys_of(models)
        message = "this key is not known here"
        if details["input"] is None:
            message += "; text that holds a comma or a colon needs quotation marks"
        return source.problem(path, message, found=location[-1], allowed=allowed)
    text = details["msg"].removeprefix("Value error, ")
    message = _counted(kind, context) or _PLAIN_WORDS.get(kind, text)
    if kind == "missing":
        return source.problem((*path, str(location[-1])), message)
    message = message[:1].lower() + message[1:]
    expected = str(context.get("allowed", "") or context.get("expected", ""))
    return source.problem(path, message, found=details["input"], allowed=expected)


def _counted(kind: str, context: dict[str, Any]) -> str:
    """Say how many items, or what size of number, is expected; nothing where that is not wrong."""
    sizes = {
        "less_than": ("less than", "lt"),
        "less_than_equal": ("at most", "le"),
        "greater_than": ("more than", "gt"),
        "greater_than_equal": ("at least", "ge"),
    }
    if kind in sizes:
        words, key = sizes[kind]
        return f"a number of {words} {context[key]:,g} is expected here"
    ends = {"too_short": ("at least", "min_length"), "too_long": ("at most", "max_length")}
    if kind not in ends:
        return ""
    bound, count = ends[kind][0], context[ends[kind][1]]
    return f"{bound} {count} {'item is' if count == 1 else 'items are'} expected here"


def _real_path(source: Source, location: KeyPath) -> KeyPath:
    """Drop from pydantic's location the steps that stand for no key of the file."""
    path: KeyPath = ()
    for part in location:
        if (*path, part) in source.places:
            path = (*path, part)
    return path


def _models_at(model: type[BaseModel], location: KeyPath) -> list[type[Strict]]:
    """List the models that may stand where the key at a location stands."""
    here: list[Any] = [model]
    for part in location[:-1]:
        here = [inner for outer in here for inner in _inside(outer, part)]
    return [typ for outer in here for typ in _unwrapped(outer) if _is_model(typ)]


def _keys_of(models: list[type[Strict]]) -> list[str]:
    """List the keys that models know, by their names in the file."""
    return sorted(
        field.alias or name
        for typ in models
        for name, field in typ.model_fields.items()
        if not (field.exclude or name == "opinions")
    )


def _inside(outer: Any, part: str | int) -> Iterator[Any]:
    for typ in _unwrapped(outer):
        if _is_model(typ):
            for name, field in typ.model_fields.items():
                if part in {name, field.alias}:
                    yield field.annotation
        elif get_origin(typ) is dict:
            yield get_args(typ)[1]
        elif get_origin(typ) in {list, tuple}:
            yield get_args(typ)[0]


def _unwrapped(typ: Any) -> Iterator[Any]:
    if isinstance(typ, TypeAliasType):
        yield from _unwrapped(typ.__value__)
    elif get_origin(typ) is Annotated:
        yield from _unwrapped(get_args(typ)[0])
    elif get_origin(typ) in {Union, types.UnionType}:
        for option in get_args(typ):
            yield from _unwrapped(option)
    else:
        yield typ


def _is_model(typ: Any) -> bool:
    return isinstance(typ, type) and issubclass(typ, Strict)
