"""What has changed in a maker file since something was learned with it."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass

from dating.learning.layout import VARIANTS, Layout, Track
from dating.learning.parts import OUTPUT

type Parts = Mapping[str, str]

_FEATURE, _MEASUREMENT, _EVENT, _COMPONENT = "feature ", "measurement ", "event ", "component "
_MARK = "mark "


@dataclass(frozen=True)
class Edits:
    """What an edit of a maker file means for what was learned with it.

    Parameters
    ----------
    stale : tuple of str
        What has changed, so that its present judgement takes the place of what was learned.
    added, removed : tuple of str
        Features and measurements that are new, and that are gone.
    around : tuple of str
        What has changed and is never learned, but was taken as it stood: the output, the chance of
        a swap.
    uncorrected : bool
        Whether a correction of levels was learned, which does not hold any more.
    """

    stale: tuple[str, ...] = ()
    added: tuple[str, ...] = ()
    removed: tuple[str, ...] = ()
    around: tuple[str, ...] = ()
    uncorrected: bool = False

    def __bool__(self) -> bool:
        """Whether anything has changed that bears on a date."""
        return bool(self.names())

    def names(self) -> tuple[str, ...]:
        """Name all that has changed."""
        return (*self.stale, *self.added, *self.removed, *self.around)


NO_EDITS = Edits()


class Comparison:
    """The parts of a maker file then, when something was learned with it, and now.

    Parameters
    ----------
    before, after : mapping of str to str
        The parts then and now.
    layout : Layout
        The maker file as it is now.
    """

    def __init__(self, before: Parts, after: Parts, layout: Layout) -> None:
        self.before, self.after, self.layout = before, after, layout
        names = list(layout.numbers)
        starts = [names[ramp.start] for ramp in layout.ramps]
        pairs = zip(layout.ramp_names, starts, strict=True)
        self.events = {ramp: start for ramp, start in pairs if start.startswith(_EVENT)}
        self.features = {track.label: track.name for track in layout.tracks}

    def same(self, part: str) -> bool:
        """Say whether a part was there, and says what it said."""
        return part in self.before and self.before[part] == self.after.get(part)

    def same_feature(self, name: str) -> bool:
        """Say whether a feature has the states and the courses that it had."""
        return name == VARIANTS or self.same(_FEATURE + name)

    def same_changeover(self, name: str) -> bool:
        """Say whether a changeover is judged as it was, and the event that it comes with too."""
        course = name.rpartition(", regime ")[0]
        event = self.events.get(name)
        known = event is None or self.same(event)
        return self.same_feature(self.features[course]) and self.same(name) and known

    def same_number(self, name: str) -> bool:
        """Say whether a date or a length keeps its draws."""
        if name.startswith(_EVENT):
            return self.same(name)
        return self.same_changeover(name.rpartition(", ")[0])

    def same_shares(self, track: Track, regime: int) -> bool:
        """Say whether the shares of a regime, counted from 1, keep their draws."""
        stated = self.same(f"shares of {track.label}, regime {regime}")
        return stated and self.same_feature(track.name)

    def same_chance(self, what: str, feature: str) -> bool:
        """Say whether a slip or a replacement keeps its draws."""
        return self.same_feature(feature) and self.same(f"{what} of {feature}")

    def edits(self, *, corrected: bool) -> Edits:
        """Name what has changed."""
        there = Edits(
            stale=tuple(self._stale()),
            added=tuple(_things(self.after, self.before)),
            removed=tuple(_things(self.before, self.after)),
            around=tuple(self._around()),
        )
        if there and corrected:
            return Edits(there.stale, there.added, there.removed, there.around, uncorrected=True)
        return there

    def _stale(self) -> Iterator[str]:
        """Name what has changed; of a feature that has changed as a whole, nothing more."""
        for part in self.after:
            if part not in self.before:
                continue
            if part.startswith(_EVENT) and not self.same(part):
                yield part
            elif part.startswith(_FEATURE) and not self.same(part):
                yield part.removeprefix(_FEATURE)
            elif part.startswith(_MEASUREMENT) and not self.same(part):
                yield f"the mean of {part.removeprefix(_MEASUREMENT)}"
            elif part.startswith(_MARK) and not self.same(part):
                yield f"the lag of {part.removeprefix(_MARK)}"
            elif part in self.layout.ramp_names and not self.same_changeover(part):
                yield from self._within(part.rpartition(", regime ")[0], part)
            elif part.startswith("shares of ") and not self.same(part):
                yield from self._within(part[10:].rpartition(", regime ")[0], f"the {part}")
            elif part.startswith(("slip of ", "replacement of ")) and not self.same(part):
                feature = part.partition(" of ")[2]
                if self.same_feature(feature):
                    yield f"the {part}"

    def _within(self, course: str, name: str) -> Iterator[str]:
        if self.same_feature(self.features[course]):
            yield name

    def _around(self) -> Iterator[str]:
        if not self.same(OUTPUT):
            yield "the output"
        for part in self.after:
            if part.startswith(_COMPONENT) and part in self.before and not self.same(part):
                yield f"the swap of {part.removeprefix(_COMPONENT)}"


def _things(one: Parts, other: Parts) -> Iterator[str]:
    """Name the features, measurements and marks of one maker file that another does not have."""
    for part in one:
        if part.startswith((_FEATURE, _MEASUREMENT, _MARK)) and part not in other:
            yield part.partition(" ")[2]


def edits_words(edits: Edits) -> str:
    """Say what an edit of the maker file means for what was learned before it.

    Parameters
    ----------
    edits : Edits
        At least one thing that has changed.

    Returns
    -------
    str
        Sentences.

    Examples
    --------
    >>> edits_words(Edits(stale=("ring, regime 2", "the slip of nut"), removed=("guard",)))
    'The maker file has changed since this was learned. Present judgements replace what was \
learned about: ring, regime 2; the slip of nut. Removed: guard.'
    """
    told = {
        "Present judgements replace what was learned about": edits.stale,
        "Added since, and so not learned": edits.added,
        "Removed": edits.removed,
        "Everything else was learned with an earlier version of": edits.around,
    }
    sentences = [f"{words}: {'; '.join(names)}." for words, names in told.items() if names]
    if edits.uncorrected:
        sentences.append("Levels are no longer recalibrated.")
    return " ".join(("The maker file has changed since this was learned.", *sentences))
