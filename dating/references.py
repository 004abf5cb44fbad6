"""Names that must agree: within a maker file, and between an examination and its maker file."""

from __future__ import annotations

import datetime
from collections import Counter
from collections.abc import Iterable, Iterator

from dating.date_codes import DateCodeError, readings_of
from dating.edtf import EdtfError, parse_edtf
from dating.edtf_slips import vague
from dating.examination import ABSENT, Examination, Sight
from dating.maker import Component, Course, Feature, Maker, Mark, Output, Regime
from dating.reading import KeyPath, Problem, Source

KEPT_NAMES = ("variant", "instrument", "built", "known_by", "trust")
"""Names with a meaning of their own beside those of features, marks and measurements."""

_MOST_CANDIDATES = 400
_MARK = "a day, month or year, or one of several in brackets: [1931-04,1932-04], [1931..1934]"


def maker_problems(maker: Maker) -> list[Problem]:
    """List what does not fit together in a maker file."""
    check = _MakerCheck(maker)
    problems = [*check.sources(), *check.names(), *check.variants(), *check.outputs()]
    for part, component in maker.components.items():
        problems += check.component(("components", part), component)
    return problems


def examination_problems(examination: Examination, maker: Maker) -> list[Problem]:
    """List what an examination names that its maker file does not know."""
    origin = examination.origin
    problems: list[Problem] = []
    features = {name: feature.states for name, (_, feature) in maker.features().items()}
    for name, sight in examination.seen.items():
        place: KeyPath = ("seen", name)
        if name not in features:
            message = f"{maker.maker} has no such feature"
            problems.append(origin.problem(place, message, found=name, allowed=features))
        elif sight is not None:
            problems += _unknown_states(origin, place, sight, features[name])
    problems += _unknown_names(origin, "marks", examination.marks, maker.marks(), maker)
    measurements = maker.measurements()
    problems += _unknown_names(origin, "measured", examination.measured, measurements, maker)
    for name, text in examination.marks.items():
        if text is not None and name in maker.marks():
            problems += _unreadable_mark(origin, name, text, maker, examination.day)
    for name in examination.parts:
        if name not in maker.components:
            message, allowed = f"{maker.maker} has no such component", maker.components
            problems.append(origin.problem(("parts", name), message, found=name, allowed=allowed))
    if examination.variant is not None:
        if maker.variants is None:
            problems.append(origin.problem(("variant",), f"{maker.maker} has no variants"))
        else:
            states = maker.variants.states
            problems += _unknown_states(origin, ("variant",), examination.variant, states)
    return problems


def _unknown_names(
    origin: Source, group: str, names_in_file: Iterable[str], known: Iterable[str], maker: Maker
) -> Iterator[Problem]:
    names = list(known)
    what = {"marks": "mark", "measured": "measurement"}[group]
    for name in names_in_file:
        if name not in names:
            message = f"{maker.maker} has no such {what}"
            yield origin.problem((group, name), message, found=name, allowed=names)


def _unknown_states(
    origin: Source, place: KeyPath, sight: Sight, states: Iterable[str]
) -> Iterator[Problem]:
    for name in (*sight.named(), *(sight.excluded or ())):
        if name not in states:
            message = "no such state; an unlisted one is written other: what it is"
            yield origin.problem(place, message, found=name, allowed=states)


def _unreadable_mark(
    origin: Source, name: str, text: str, maker: Maker, latest: datetime.date
) -> Iterator[Problem]:
    mark: Mark = maker.marks()[name][1]
    if text == ABSENT:
        return
    try:
        if mark.format == "source-date":
            readings_of(text, latest=max(latest, maker.period.last_day))
        else:
            date = parse_edtf(text)
            lasting = date.kind in {"all of", "interval"}
            if date.qualifier:
                message = f"{vague(date.qualifier)}; write one of several dates that it may be"
                yield origin.problem(("marks", name), message, found=text, allowed=_MARK)
            elif lasting or any(None in ends for ends in date.stretches):
                message = "a mark is one date, of which both ends are known"
                yield origin.problem(("marks", name), message, found=text, allowed=_MARK)
            elif len(date.stretches) > _MOST_CANDIDATES:
                message = f"a mark has at most {_MOST_CANDIDATES} possible dates"
                yield origin.problem(("marks", name), message, found=text)
    except (EdtfError, DateCodeError) as error:
        yield origin.problem(("marks", name), str(error), found=text)


class _MakerCheck:
    """The checks of one maker file, which all need the same lists of valid names."""

    def __init__(self, maker: Maker) -> None:
        self.maker = maker
        self.origin = maker.origin

    def sources(self) -> Iterator[Problem]:
        """Every source that is named anywhere must be listed."""
        known = self.maker.sources
        for path, value in _walk(self.origin.data, ()):
            if path and path[-1] == "source":
                for name in value if isinstance(value, list) else [value]:
                    if str(name) not in known:
                        message = "this source is not listed under sources"
                        yield self.origin.problem(path, message, found=name, allowed=known)

    def names(self) -> Iterator[Problem]:
        """Features, marks and measurements have names of their own over all components."""
        groups = ("features", "marks", "measurements")
        parts = self.maker.components
        counted = Counter(n for part in parts.values() for g in groups for n in getattr(part, g))
        for part, component in parts.items():
            for group in groups:
                for name in getattr(component, group):
                    place = ("components", part, group, name)
                    if counted[name] > 1:
                        message = "this name is used more than once in the file; make it unique"
                        yield self.origin.problem(place, message)
                    if name in KEPT_NAMES or name.startswith("document "):
                        yield self.origin.problem(place, "this name is kept for another use")

    def variants(self) -> Iterator[Problem]:
        """Check the history of the variants themselves."""
        history = self.maker.variants
        if history is not None:
            yield from self.course(("variants",), history, history.states)

    def outputs(self) -> Iterator[Problem]:
        """Stretches of output lie within the period and have a finite mean."""
        for position, output in enumerate(self.maker.output):
            yield from self._output(("output", position), output)

    def component(self, path: KeyPath, component: Component) -> Iterator[Problem]:
        """Check the features and marks of a component and what it says by variant."""
        for name, mark in component.marks.items():
            if mark.stock is not None and mark.stock not in self.maker.stocks:
                message, place = "no such stock", (*path, "marks", name, "stock")
                stocks = self.maker.stocks
                yield self.origin.problem(place, message, found=mark.stock, allowed=stocks)
        for name, feature in component.features.items():
            yield from self.feature((*path, "features", name), feature)
        for variant, courses in component.by_variant.items():
            place = (*path, "by_variant", variant)
            yield from self._variant_known(place, variant)
            for name, course in courses.items():
                if name not in component.features:
                    message = "this component has no such feature"
                    allowed = component.features
                    yield self.origin.problem((*place, name), message, found=name, allowed=allowed)
                elif component.features[name].free_form:
                    message = "this feature is free_form; leave out its course by_variant"
                    yield self.origin.problem((*place, name), message)
                elif variant in component.features[name].by_variant:
                    message = f"the course for {variant} is stated at the feature too; keep one"
                    yield self.origin.problem((*place, name), message)
                else:
                    states = component.features[name].states
                    yield from self.course((*place, name), course, states)
        for position, donors in enumerate(component.donors):
            if donors.during.last < self.maker.period.first or (
                donors.during.first > self.maker.period.last
            ):
                message = f"outside the period {self.maker.period}"
                yield self.origin.problem((*path, "donors", position, "during"), message)

    def feature(self, path: KeyPath, feature: Feature) -> Iterator[Problem]:
        """Check the states, events and variants that a feature names."""
        yield from self.course(path, feature, feature.states)
        yield from self._states((*path, "replacement"), feature.replacement or {}, feature.states)
        yield from self._states((*path, "materials"), feature.materials, feature.states)
        for variant, course in feature.by_variant.items():
            place = (*path, "by_variant", variant)
            yield from self._variant_known(place, variant)
            yield from self.course(place, course, feature.states)
        plain = feature.history is None and feature.shares_at is None and not feature.free_form
        missing = set(self.maker.variant_names()) - set(feature.by_variant)
        if plain and missing:
            message = f"no course is given for {', '.join(sorted(missing))}, nor one for all"
            yield self.origin.problem((*path, "by_variant"), message)

    def course(self, path: KeyPath, course: Course, states: Iterable[str]) -> Iterator[Problem]:
        """Check one course of states."""
        for position, regime in enumerate(course.history or ()):
            yield from self._regime((*path, "history", position), regime, states)
        for shares in (course.shares_at or {}).values():
            yield from self._states((*path, "shares_at"), shares, states)

    def _regime(self, path: KeyPath, regime: Regime, states: Iterable[str]) -> Iterator[Problem]:
        if regime.state is not None:
            yield from self._states((*path, "state"), [regime.state], states)
        yield from self._states((*path, "shares"), regime.shares or {}, states)
        for variant, shares in (regime.by_variant or {}).items():
            yield from self._variant_known((*path, "by_variant", variant), variant)
            yield from self._states((*path, "by_variant", variant), shares, states)
        missing = set(self.maker.variant_names()) - set(regime.by_variant or {})
        if regime.by_variant is not None and missing:
            message = f"no shares are given for {', '.join(sorted(missing))}"
            yield self.origin.problem((*path, "by_variant"), message)
        if regime.event is not None and regime.event not in self.maker.events:
            message = "no such event"
            allowed = self.maker.events
            event = regime.event
            yield self.origin.problem((*path, "with"), message, found=event, allowed=allowed)

    def _states(
        self, path: KeyPath, used: Iterable[str], states: Iterable[str]
    ) -> Iterator[Problem]:
        for name in used:
            if name not in states:
                place = (*path, name)
                yield self.origin.problem(place, "no such state", found=name, allowed=states)

    def _variant_known(self, path: KeyPath, variant: str) -> Iterator[Problem]:
        names = self.maker.variant_names()
        if variant not in names:
            message = "no such variant"
            yield self.origin.problem(path, message, found=variant, allowed=names)

    def _output(self, path: KeyPath, output: Output) -> Iterator[Problem]:
        period, during = self.maker.period, output.during
        if during.first < period.first or during.last > period.last:
            message = f"the stretch must lie within the period {period}"
            yield self.origin.problem((*path, "during"), message, found=str(during))
        try:
            output.made.distribution().mean()
        except ValueError as error:
            yield self.origin.problem((*path, "made"), str(error))


def _walk(data: object, path: KeyPath) -> Iterator[tuple[KeyPath, object]]:
    yield path, data
    if isinstance(data, dict):
        for key, value in data.items():
            yield from _walk(value, (*path, key))
    elif isinstance(data, list):
        for position, value in enumerate(data):
            yield from _walk(value, (*path, position))
