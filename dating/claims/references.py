"""What a claims file names must be known to its maker file, and lie within its period."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Iterator, Mapping, Sequence

from dating.claims.instruments import ties_between
from dating.claims.statements import (
    Apart,
    Assertion,
    Built,
    ChangedFirst,
    ClaimedChangeover,
    Claims,
    EarliestWith,
    NumberMade,
    Older,
    Original,
    Overlap,
    Share,
    Use,
)
from dating.claims.truth import ramps_to
from dating.examination import Examination
from dating.learning.layout import VARIANTS, Layout, layout_of
from dating.maker import Maker
from dating.months import Period
from dating.reading import KeyPath, Problem
from dating.succession.elimination import plan_of_elimination

LARGEST = 2.0e8
"""Cells that the sum over the months of instruments may take in one draw."""


def claims_problems(
    claims: Claims, maker: Maker, instruments: Mapping[str, Examination]
) -> list[Problem]:
    """List what a claims file says that its maker file cannot answer."""
    check = _Check(claims, maker, instruments)
    problems = list(check.names())
    for position, claim in enumerate(claims.claims):
        path: KeyPath = ("claims", position)
        if claim.says is not None:
            problems += check.saying((*path, "says"), claim.says)
        for place, saying in enumerate(claim.all_of or ()):
            problems += check.saying((*path, "all_of", place), saying)
        problems += check.ties(path, claim.sayings())
    return problems


class _Check:
    """The checks of one claims file, which need the same lists of valid names."""

    def __init__(
        self, claims: Claims, maker: Maker, instruments: Mapping[str, Examination]
    ) -> None:
        self.claims, self.maker, self.instruments = claims, maker, instruments
        self.origin = claims.origin
        self.layout: Layout = layout_of(maker)
        self.states = {name: tuple(f.states) for name, (_, f) in maker.features().items()}
        if maker.variants is not None:
            self.states[VARIANTS] = tuple(maker.variants.states)

    def names(self) -> Iterator[Problem]:
        """Claims have names of their own."""
        counted = Counter(claim.claim for claim in self.claims.claims)
        for position, claim in enumerate(self.claims.claims):
            if counted[claim.claim] > 1:
                message = "this name is used for more than one claim; make it unique"
                yield self.origin.problem(("claims", position, "claim"), message)

    def saying(self, path: KeyPath, saying: Assertion) -> Iterator[Problem]:
        """Check one thing that is claimed."""
        path = (*path, saying.kind)
        for name in saying.instruments():
            if name not in self.instruments:
                message = "no examination of this instrument is listed under examinations"
                yield self._unknown(path, name, self.instruments, message)
        match saying.content:
            case Built(within=within):
                yield from self._within((*path, "within"), within)
            case Original(components=components) if components != "all":
                for name in components:
                    if name not in self.maker.components:
                        message = "no such component"
                        yield self._unknown(
                            (*path, "components"), name, self.maker.components, message
                        )
            case Apart() | Older():
                yield from self._different((*path, "instruments"), saying.instruments())
            case EarliestWith(instrument=name, feature=feature, state=state):
                yield from self._different((*path, "among"), saying.instruments())
                problems = [*self._state(path, feature, (state,), "state")]
                yield from problems or self._shown(path, saying.instruments(), feature, state)
            case Use() as use:
                yield from self._use(path, use, saying.kind == "first_use")
            case ChangedFirst() as order:
                yield from self._order(path, order)
            case Overlap(changeover=changeover):
                yield from self._changeover((*path, "changeover"), changeover)
            case (Share() | NumberMade()) as content:
                yield from self._combination(path, content)

    def ties(self, path: KeyPath, sayings: Sequence[Assertion]) -> Iterator[Problem]:
        """Refuse more between instruments than can be summed over."""
        ties = list(ties_between(sayings, len(self.maker.period)))
        if ties and plan_of_elimination(ties)[2] > LARGEST:
            message = (
                "too much is claimed together of these instruments to be summed over: each is "
                "tied to too many others. Leave out what follows from the rest"
            )
            yield self.origin.problem((*path, "all_of"), message)

    def _different(self, path: KeyPath, names: Sequence[str]) -> Iterator[Problem]:
        for place, name in enumerate(names):
            if name in names[:place]:
                message = "different instruments are expected here"
                yield self.origin.problem(path, message, found=name)

    def _shown(
        self, path: KeyPath, names: Sequence[str], feature: str, state: str
    ) -> Iterator[Problem]:
        """Check that a state was seen on instruments without doubt."""
        for name in names:
            examination = self.instruments.get(name)
            if examination is None:
                continue
            sight = examination.variant if feature == VARIANTS else examination.seen.get(feature)
            doubtful = sight is not None and (sight.is_neutral or sight.sure not in {None, 1.0})
            if sight is None or sight.state != state or doubtful:
                message = f"{state} was not seen on it, or not without doubt"
                yield self.origin.problem(path, message, found=name)

    def _use(self, path: KeyPath, use: Use, first: bool) -> Iterator[Problem]:
        problems = [*self._state(path, use.feature, (use.state,), "state")]
        problems += self._variant(path, use.variant)
        for key in ("within", "not_before", "not_after"):
            if (bound := getattr(use, key)) is not None:
                yield from self._within((*path, key), bound)
        yield from problems
        if problems:
            return
        tracks = self.layout.tracks_of(use.feature, use.variant)
        if any(track.anchored is not None for track in tracks) or not tracks:
            yield self.origin.problem((*path, "feature"), self._no_changeovers(use.feature))
            return
        used = [track.shares[:, track.states.index(use.state)] > 0 for track in tracks]
        if not any(has.any() for has in used):
            message = f"the maker file never has {use.state} here"
            yield self.origin.problem((*path, "state"), message)
        elif first and any(has[0] for has in used):
            message = "it is in use from the start of the period, so it has no first use within it"
            yield self.origin.problem((*path, "state"), message, found=use.state)
        elif not first and any(has[-1] for has in used):
            message = "it is in use to the end of the period, so it has no last use within it"
            yield self.origin.problem((*path, "state"), message, found=use.state)

    def _order(self, path: KeyPath, order: ChangedFirst) -> Iterator[Problem]:
        yield from self._changeover((*path, "earlier"), order.earlier)
        yield from self._changeover((*path, "later"), order.later)
        if order.earlier == order.later:
            message = "this is the earlier one again, and no changeover comes before itself"
            found = f"{order.later.feature} to {order.later.to}"
            yield self.origin.problem((*path, "later"), message, found=found)

    def _changeover(self, path: KeyPath, changeover: ClaimedChangeover) -> Iterator[Problem]:
        problems = [*self._state(path, changeover.feature, (changeover.to,), "to")]
        problems += self._variant(path, changeover.variant)
        yield from problems
        if problems:
            return
        tracks = self.layout.tracks_of(changeover.feature, changeover.variant)
        ramps = {ramp for track in tracks for ramp in ramps_to(track, changeover.to)}
        if not ramps:
            message = f"no changeover brings in {changeover.to}"
            yield self.origin.problem(path, message)
        elif len(ramps) > 1:
            variants = [track.variant for track in tracks if track.variant is not None]
            message = "more than one changeover brings it in"
            message += "; name the variant" if len(tracks) > 1 else ""
            yield self.origin.problem(path, message, allowed=variants)

    def _combination(self, path: KeyPath, content: Share | NumberMade) -> Iterator[Problem]:
        for feature, states in content.states.items():
            yield from self._state((*path, "states"), feature, states, feature)
            free_form = feature in self.states and feature != VARIANTS
            if free_form and self.maker.features()[feature][1].free_form:
                message = (
                    "the shares of this feature are left to be learned, so no claim can rest "
                    "on them"
                )
                yield self.origin.problem((*path, "states", feature), message)
        yield from self._variant(path, content.variant)
        outside = (
            [] if content.during is None else [*self._within((*path, "during"), content.during)]
        )
        yield from outside
        counted = isinstance(content, NumberMade) or (
            content.was is not None and not content.tolerance
        )
        if counted and not self.maker.output:
            message = "the maker file states no output, so numbers cannot be judged"
            if isinstance(content, Share):
                message += "; a tolerance asks for shares alone"
            yield self.origin.problem(path, message)
        elif content.during is not None and not outside and not self._made_in(content.during):
            message = f"by the maker file nothing was made in {content.during}"
            yield self.origin.problem((*path, "during"), message)

    def _made_in(self, stretch: Period) -> bool:
        return not self.maker.output or any(
            output.during.first <= stretch.last and stretch.first <= output.during.last
            for output in self.maker.output
        )

    def _state(
        self, path: KeyPath, feature: str, states: Iterable[str], key: str
    ) -> Iterator[Problem]:
        if feature not in self.states:
            message = f"{self.maker.maker} has no such feature"
            place = (*path, "feature") if key != feature else (*path, feature)
            yield self._unknown(place, feature, self.states, message)
            return
        for state in states:
            if state not in self.states[feature]:
                yield self._unknown((*path, key), state, self.states[feature], "no such state")

    def _variant(self, path: KeyPath, variant: str | None) -> Iterator[Problem]:
        names = self.maker.variant_names()
        if variant is not None and variant not in names:
            message = "no such variant" if names else f"{self.maker.maker} has no variants"
            yield self._unknown((*path, "variant"), variant, names, message)

    def _within(self, path: KeyPath, stretch: Period) -> Iterator[Problem]:
        period = self.maker.period
        if stretch.first < period.first or stretch.last > period.last:
            message = "this reaches outside the maker file's period, about which it says nothing"
            yield self.origin.problem(path, message, found=str(stretch), allowed=str(period))

    def _no_changeovers(self, feature: str) -> str:
        pair = self.maker.features().get(feature)
        if pair is not None and pair[1].free_form:
            return "this feature is free_form: its shares are learned, and it has no changeovers"
        return "this feature has a table of shares, so it has no first or last use"

    def _unknown(self, path: KeyPath, name: str, allowed: Iterable[str], message: str) -> Problem:
        return self.origin.problem(path, message, found=name, allowed=allowed)
