"""The plan for the bench: looks that one operation makes possible, and what they tell together.

What the looks of an operation tell about the build month is the mutual information of the month
and all their answers at once. With component c original with probability w, given draw n, variant
v and month t,

    P(a | n, v, t) = product over c of
        w_c(n, v, t) sum_u k_c(u | n, v, t) P(a_c | v, u)
        + (1 - w_c(n, v, t)) sum_{u, w} d_c(u, w | n) P(a_c | w, u),

where k_c is the month in which an original component was made (t itself, unless it may be old
stock) and d_c month and variant of a swapped one, both given what was seen on the component.
"""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import dataclass, replace
from math import prod

import numpy as np
from numpy.typing import NDArray

from dating.advice import Advice, information_bits, mark_answers, marks_there, readings
from dating.arrays import Floats
from dating.cautions import CAUTIONS
from dating.engine import Weighing
from dating.magnitudes import floats, ratio
from dating.maker import Maker

INVASIVE = ("none", "low", "moderate", "high")
TROUBLE = {degree: 2**step for step, degree in enumerate(INVASIVE)}
"""What an operation costs, for the order: each degree of invasiveness twice the one below it."""
MOST_ANSWERS = 256
"""Joint answers up to which the looks of an operation are counted, the most telling first."""
MOST_AGED = 64
"""The same for the looks at one component that may be old stock."""
MOST_DRAWS = 32
"""Draws that joint answers are averaged over; of more, so many, evenly spread."""
LOSS = 0.02
"""Share of what a mark or a measurement tells that may be lost by putting answers together."""
_HALF, _CELLS = 64, 2**22
"""Answers on one side of a product of matrices, and numbers in it, that draws are portioned by."""
_GOLDEN = (5**0.5 - 1) / 2


@dataclass(frozen=True)
class Operation:
    """What has to be done first, and the looks that are then taken at one go.

    Parameters
    ----------
    name : str
        What has to be done; empty where nothing has to be.
    looks : tuple of Advice
        By falling gain about the build month.
    bits : float
        Expected gain about the build month of all looks that are counted, together.
    counted : int
        How many looks that are, the most telling first.
    invasive : str
        none, low, moderate or high: the highest of its looks.
    cautions : tuple of str
        What to beware of, each caution once.
    """

    name: str
    looks: tuple[Advice, ...]
    bits: float
    counted: int
    invasive: str
    cautions: tuple[str, ...]

    @property
    def is_free(self) -> bool:
        """Whether nothing has to be done first, and nothing is disturbed."""
        return not self.name and self.invasive == "none"


def plan_of(
    weighing: Weighing, maker: Maker, advice: Sequence[Advice], skip: Collection[str] = ()
) -> tuple[Operation, ...]:
    """Group the looks that have not been taken by what has to be done first.

    Parameters
    ----------
    weighing : Weighing
        The instrument's evidence.
    maker : Maker
        The maker file.
    advice : sequence of Advice
        The looks, by falling gain.
    skip : collection of str
        Operations that are left out.

    Returns
    -------
    tuple of Operation
        What needs nothing and disturbs nothing first, then by falling gain per trouble.

    References
    ----------
    Cover, T. M. and Thomas, J. A. (2006). *Elements of Information Theory*, 2nd edition, Wiley,
    section 2.5, for the information of several answers together.
    """
    groups: dict[tuple[str, str], list[Advice]] = {}
    for look in advice:
        if look.operation not in skip:
            # Where nothing has to be done first, each degree of invasiveness is for itself.
            degree = "" if look.operation else look.invasive
            groups.setdefault((look.operation, degree), []).append(look)
    operations = [_operation(weighing, maker, tuple(looks)) for looks in groups.values()]
    return tuple(sorted(operations, key=_place))


def _place(operation: Operation) -> tuple[bool, float, str]:
    worth = operation.bits / TROUBLE[operation.invasive]
    return not operation.is_free, -worth, operation.name


def _operation(weighing: Weighing, maker: Maker, looks: tuple[Advice, ...]) -> Operation:
    channels = _counted(weighing, maker, looks)
    bits = looks[0].bits
    if len(channels) > 1:
        # Dates put together tell no more than dates apart, and all looks no less than one of them.
        bits = max(bits, information_bits(_joint(weighing, looks, channels)))
    return Operation(
        name=looks[0].operation,
        looks=looks,
        bits=bits,
        counted=len(channels),
        invasive=max((look.invasive for look in looks), key=INVASIVE.index),
        cautions=cautions_of(looks),
    )


def cautions_of(looks: Sequence[Advice]) -> tuple[str, ...]:
    """Give the cautions of some looks, each once: the usual ones, then those of the maker file.

    Examples
    --------
    >>> cautions_of([])
    ()
    """
    every = dict.fromkeys(caution for look in looks for caution in look.cautions)
    usual = [caution for caution in CAUTIONS.values() if caution in every]
    return (*usual, *(caution for caution in every if caution not in usual))


def _chosen(count: int) -> NDArray[np.intp]:
    """Choose among the draws: all, or some whose places are spread by the golden section."""
    if count <= MOST_DRAWS:
        return np.arange(count)
    places = (np.arange(MOST_DRAWS) * _GOLDEN) % 1.0
    return np.unique((places * count).astype(np.intp))


def _counted(weighing: Weighing, maker: Maker, looks: Sequence[Advice]) -> list[Floats]:
    """Give P(answer | month) of the looks that are counted.

    Shape: (answer, draw, variant, month) each.
    """
    counted: list[Floats] = []
    chosen, total = _chosen(weighing.tables.draws), 1
    aged = {name: 1 for name, part in weighing.parts.items() if part.ages is not None}
    for look in looks:
        answers = _answers(weighing, maker, look, chosen)
        total *= len(answers)
        if look.component in aged:
            aged[look.component] *= len(answers)
        if counted and (total > MOST_ANSWERS or max(aged.values(), default=0) > MOST_AGED):
            break
        counted.append(answers)
    return counted


def _answers(weighing: Weighing, maker: Maker, look: Advice, chosen: NDArray[np.intp]) -> Floats:
    """Give P(answer | month), shape (answer, draw, variant, month)."""
    tables = weighing.tables
    if look.kind == "variant":
        named = np.eye(len(tables.variants)).repeat(tables.latent, axis=1)
        return named[:, None, :, None]
    if look.kind == "feature":
        return tables.features[look.name].at_draws(chosen).recorded_states()
    if look.kind == "measurement":
        values = readings(maker, tables, look.name)
        return np.asarray(np.add.reduceat(values, _starts(weighing, values), axis=0))
    starts = _starts(weighing, mark_answers(maker, tables, look.name))
    dates = np.add.reduceat(marks_there(maker, tables, look.name, chosen), starts, axis=0)
    none = np.maximum(1 - dates.sum(axis=0, keepdims=True), 0.0)
    return np.concatenate([dates, none])


def _starts(weighing: Weighing, answers: Floats) -> list[int]:
    """Choose where dates or readings start that are put together, as far as little is lost.

    Shapes: answers (answer, 1, 1, month).
    """
    (built,) = floats(weighing.by_month)
    joint = answers[:, 0, 0] * built.sum(axis=0)  # as if the component were surely original
    return _stretches(joint / joint.sum(), LOSS * information_bits(joint))


def _stretches(joint: Floats, most: float) -> list[int]:
    """Choose where stretches of neighbouring answers start, which lose at most so many bits.

    Shapes: joint (answer, month).
    """
    rows = list(joint)
    starts, told = list(range(len(rows))), [_told(row) for row in rows]
    losses = [_loss(rows, told, place) for place in range(len(rows) - 1)]
    while losses and (most := most - min(losses)) >= 0:
        place = int(np.argmin(losses))
        rows[place] = rows[place] + rows.pop(place + 1)
        told[place] = _told(rows[place])
        del told[place + 1], starts[place + 1], losses[place]
        for beside in (place - 1, place):
            if 0 <= beside < len(losses):
                losses[beside] = _loss(rows, told, beside)
    return starts


def _loss(rows: Sequence[Floats], told: Sequence[float], place: int) -> float:
    """Give the bits that are lost where an answer is put together with the next."""
    both = told[place] + told[place + 1] - _told(rows[place] + rows[place + 1])
    return max(both, 0.0)


def _told(row: Floats) -> float:
    """Give what an answer adds to the information, up to what all of them share."""
    possible = row[row > 0]
    return float((possible * np.log2(possible / possible.sum())).sum()) if len(possible) else 0.0


def _joint(weighing: Weighing, looks: Sequence[Advice], answers: Sequence[Floats]) -> Floats:
    """Give P(all answers, month), shape (joint answer, month)."""
    chosen = _chosen(weighing.tables.draws)
    (known,) = floats(weighing.joint)
    few, groups = known[chosen], _groups(weighing, looks, answers, chosen)
    if all(group.draws == 1 for group in groups):
        few = few.sum(axis=0, keepdims=True)
    widest = max(_HALF, *(group.width for group in groups))
    portions = np.array_split(np.arange(len(few)), max(1, few.size * widest // _CELLS))
    joint = np.asarray(
        sum(_together(few[draws], [group.at(draws) for group in groups]) for draws in portions)
    )
    if len(chosen) == len(known):
        return joint
    return joint * ratio(known.sum(axis=(0, 1)), few.sum(axis=(0, 1)))


@dataclass(frozen=True, eq=False)
class _Group:
    """What the looks at one component may tell.

    Parameters
    ----------
    looks : tuple of ndarray of float64, shape (answer, draw, variant, month)
        P(answer | variant, month) of each look, where the component is original.
    original : ndarray of float64, shape (draw, variant, month)
        w: P(original | draw, variant, month, what was seen).
    donor : ndarray of float64, shape (draw, variant, month)
        d: the donor's month and variant, given what was seen.
    evidence : ndarray of float64, shape (draw, variant, month)
        What was seen on the component, by its own month.
    ages : ndarray of float64, shape (month, month), or None
        P(made in month u | instrument of month t), rows by t, where it may be old stock.
    """

    looks: tuple[Floats, ...]
    original: Floats
    donor: Floats
    evidence: Floats
    ages: Floats | None = None

    @property
    def draws(self) -> int:
        """How many draws there are."""
        arrays = (self.original, self.donor, self.evidence)
        each = (*map(len, arrays), *(look.shape[1] for look in self.looks))
        return int(max(each))

    @property
    def count(self) -> int:
        """How many joint answers there are."""
        return prod(len(look) for look in self.looks)

    @property
    def width(self) -> int:
        """How many numbers there are for each draw, variant and month."""
        return 1 if self.ages is None else max(self.count, len(self.ages))

    @property
    def built(self) -> Floats:
        """P(answers | draw, variant, month) where the component is original.

        Shape: (answer, draw, variant, month).
        """
        own = _multiplied(self.looks)
        if self.ages is None:
            return own
        made = self.evidence[:, :, None] * self.ages
        made = ratio(made, made.sum(axis=3, keepdims=True))
        return np.moveaxis(made @ np.moveaxis(own, 0, -1), -1, 0)

    @property
    def swapped(self) -> Floats:
        """P(answers | draw) where the component is swapped, shape (answer, draw)."""
        return _summed(self.donor, self.looks, kept=0)

    @property
    def either(self) -> Floats:
        """P(answers | draw, variant, month), shape (answer, draw, variant, month)."""
        swapped = self.swapped[:, :, None, None]
        return self.original * self.built + (1 - self.original) * swapped

    def at(self, draws: NDArray[np.intp]) -> _Group:
        """Keep some of the draws."""
        looks = (look if look.shape[1] == 1 else look[:, draws] for look in self.looks)
        return replace(
            self,
            looks=tuple(looks),
            original=_few(self.original, draws),
            donor=_few(self.donor, draws),
            evidence=_few(self.evidence, draws),
        )


def _groups(
    weighing: Weighing,
    looks: Sequence[Advice],
    answers: Sequence[Floats],
    chosen: NDArray[np.intp],
) -> list[_Group]:
    """Group what the looks may tell by component."""
    by_component: dict[str | None, list[Floats]] = {}
    for look, each in zip(looks, answers, strict=False):
        by_component.setdefault(look.component, []).append(each)
    return [_group(weighing, name, tuple(each), chosen) for name, each in by_component.items()]


def _group(
    weighing: Weighing, name: str | None, looks: tuple[Floats, ...], chosen: NDArray[np.intp]
) -> _Group:
    whole = np.ones((1, 1, len(weighing.tables.period)))
    if name is None:
        return _Group(looks, whole, 0 * whole, whole)
    part = weighing.parts[name]
    evidence = part.varying * part.fixed * whole
    built = (1 - part.swapped) * part.built(evidence)
    original = ratio(built, built + part.swapped * part.given(evidence))
    donor = part.donor * evidence
    donor = ratio(donor, donor.sum(axis=(1, 2), keepdims=True))
    original, donor, evidence = (_few(array, chosen) for array in (original, donor, evidence))
    return _Group(looks, original, donor, evidence, part.ages)


def _together(known: Floats, groups: list[_Group]) -> Floats:
    """Give P(all answers, month) from some draws.

    The component with the most answers is taken apart, as original and as swapped, so that no
    array has an axis for all of its answers beside draws, variants and months. One that may be
    old stock cannot be, as it was made in another month.

    Shapes: known (draw, variant, month); gives (joint answer, month).
    """
    most = max(groups, key=lambda group: group.count if group.ages is None else 0)
    rest = [group.either for group in groups if group is not most]
    if most.ages is not None:
        return _summed(known, (most.either, *rest), kept=2)
    original = _summed(known * most.original, (*rest, *most.looks), kept=2)
    weights = known * (1 - most.original)
    others = (_multiplied(rest) * weights).sum(axis=2).swapaxes(1, 2)
    swapped = np.broadcast_to(most.swapped, (most.count, len(known)))
    elsewhere = (others @ swapped.T).swapaxes(1, 2).reshape(original.shape)
    return original + elsewhere


def _summed(weights: Floats, factors: Sequence[Floats], kept: int) -> Floats:
    """Sum the weighted product of factors over all axes but one, as a product of matrices.

    Shapes: weights (draw, variant, month), factors (answer, draw, variant, month); gives (joint
    answer, axis that is kept).
    """
    halves: tuple[list[int], list[int]] = ([], [])
    for place in sorted(range(len(factors)), key=lambda place: -len(factors[place])):
        min(halves, key=lambda half: prod(len(factors[each]) for each in half)).append(place)
    shape = np.broadcast_shapes(weights.shape, *(factor.shape[1:] for factor in factors))
    left, right = (_multiplied([factors[place] for place in half]) for half in halves)
    rows, columns = (
        np.moveaxis(np.broadcast_to(side, (len(side), *shape)), kept + 1, 0).reshape(
            shape[kept], len(side), -1
        )
        for side in (left * weights, right)
    )
    order = [*halves[0], *halves[1]]
    sums = (rows @ columns.swapaxes(1, 2)).reshape(-1, *(len(factors[place]) for place in order))
    in_order = sums.transpose(*(1 + order.index(place) for place in range(len(order))), 0)
    return in_order.reshape(-1, shape[kept])


def _multiplied(factors: Sequence[Floats]) -> Floats:
    """Multiply factors, each answer with each; shape (joint answer, draw, variant, month)."""
    total = np.ones((1, 1, 1, 1))
    for factor in factors:
        outer = total[:, None] * factor
        total = outer.reshape(-1, *outer.shape[2:])
    return total


def _few(array: Floats, draws: NDArray[np.intp]) -> Floats:
    return array if len(array) == 1 else array[draws]
