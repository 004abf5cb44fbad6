"""Chances that leave nothing to say, and chances that nobody states."""

from __future__ import annotations

from collections.abc import Collection, Iterator

from dating.maker import Maker
from dating.plausibility.warning import series, warning
from dating.reading import KeyPath, Problem
from dating.statements import Chance
from dating.validation import Strict

_HALF = 0.5


def chance_warnings(maker: Maker) -> Iterator[Problem]:
    """List chances so high that what is seen says nothing."""
    for part, component in maker.components.items():
        path: KeyPath = ("components", part)
        message = f"every {part} comes from another instrument, so what is seen on it says little"
        yield from _certain(maker, (*path, "swapped"), component.swapped, message)
        for name, feature in component.features.items():
            here = (*path, "features", name)
            if feature.slip.value >= _HALF:
                yield warning(
                    maker.origin,
                    (*here, "slip"),
                    "with so high a slip, what is seen is wrong as often as right",
                    found=feature.slip.value,
                    expected="a small chance, such as 0.02",
                )
            yield from _certain(maker, (*here, "replaced"), feature.replaced, _replaced(name))
        for name, mark in component.marks.items():
            place = (*path, "marks", name, "replaced")
            yield from _certain(maker, place, mark.replaced, _replaced(name))


def _replaced(name: str) -> str:
    return f"every {name} was replaced later, so it says nothing about the date"


def _certain(maker: Maker, path: KeyPath, chance: Chance, message: str) -> Iterator[Problem]:
    if chance.value == 1:
        yield warning(maker.origin, path, message, found=1, expected="a chance below 1")


def unstated_chances(maker: Maker, seen: Collection[str] | None = None) -> Iterator[Problem]:
    """List, in one warning, the chances that nobody states and that are assumed."""
    whole = seen is None
    unstated: dict[str, list[str]] = {}

    def assume(model: Strict, key: str, name: str, label: str = "") -> None:
        if key not in model.model_fields_set:
            value = f"{getattr(model, key).value:g}"
            unstated.setdefault(f"{label or key} {value}", []).append(name)

    for name, (_, feature) in maker.features().items():
        if not feature.free_form and (seen is None or name in seen):
            assume(feature, "slip", name)
            assume(feature, "replaced", name)
    for name, (_, mark) in maker.marks().items():
        if seen is None or name in seen:
            assume(mark, "replaced", name)
            assume(mark, "doubt", name)
    for name, (_, measurement) in maker.measurements().items():
        if seen is None or name in seen:
            assume(measurement, "slip", name)
    for name, component in maker.components.items() if whole else ():
        assume(component, "swapped", name)
    lists = [f"{key} of {series(names)}" for key, names in unstated.items()]
    if lists:
        message = f"chances that are not stated are assumed: {'; '.join(lists)}"
        yield warning(maker.origin, ("components",), message, expected="a chance, or 0 if meant")
