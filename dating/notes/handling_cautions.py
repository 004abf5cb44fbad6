"""The cautions that a note on one examined instrument prints.

They follow what the maker file says is in every instrument and in every component, and what was
seen on this one. For a feature that was not examined nothing is claimed: that nothing is printed
does not mean that nothing is there.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from dating.cautions import CAUTIONS, HAZARDS, MATERIALS, Material, materials_in
from dating.examination import Examination, Sight
from dating.maker import Feature, Maker


@dataclass(frozen=True)
class Caution:
    """One caution, and what it rests on.

    Parameters
    ----------
    key : str
        Name of the hazard, from ``dating.cautions.HAZARDS``; words in another language are kept
        by it.
    words : str
        The caution in English.
    because : tuple of str
        What it rests on, in names of the files alone: ``position-dots: celluloid``. A material
        follows in brackets where it is not the state itself: ``guard: shell (tortoiseshell)``.
    """

    key: str
    words: str
    because: tuple[str, ...]


def cautions_for(maker: Maker, examination: Examination) -> tuple[Caution, ...]:
    """Give the cautions for one examined instrument.

    A state that was seen brings its materials however unsure the examiner is; of several possible
    states each does. A state that is not in the list brings the materials that its words name.

    Examples
    --------
    >>> from dating import read_examination, read_maker
    >>> maker = read_maker("priors/marrowby.yaml")
    >>> seen = read_examination("demo_data/examinations/M-001.yaml")
    >>> cautions_for(maker, seen)[0].because
    ('student mandolins and tenor guitars: strings',)
    """
    reasons: dict[str, list[str]] = {}
    for material, reason in _materials(maker, examination):
        for hazard in MATERIALS[material]:
            of_hazard = reasons.setdefault(hazard, [])
            if reason not in of_hazard:
                of_hazard.append(reason)
    return tuple(
        Caution(hazard, CAUTIONS[hazard], tuple(reasons[hazard]))
        for hazard in HAZARDS
        if hazard in reasons
    )


def _materials(maker: Maker, examination: Examination) -> Iterator[tuple[Material, str]]:
    """Give each material that is there or may be, with what says so."""
    for material in maker.materials:
        yield material, f"{maker.product}: {material}"
    for part, component in maker.components.items():
        for material in component.materials:
            yield material, f"{part}: {material}"
        for name, feature in component.features.items():
            sight = examination.seen.get(name)
            if sight is not None:
                yield from _seen(name, feature, sight)


def _seen(name: str, feature: Feature, sight: Sight) -> Iterator[tuple[Material, str]]:
    for state in sight.named():
        for material in feature.materials.get(state, ()):
            words = state if material == state else f"{state} ({material})"
            yield material, f"{name}: {words}"
    if sight.other is not None:
        for material in materials_in(sight.other):
            yield material, f"{name}: {sight.other}"
