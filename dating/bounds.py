"""Bounds on how far apart months lie, and which statements make bounds that cannot all hold."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

type Node = str | int


@dataclass(frozen=True)
class Bound:
    """One month lies at most so many months after another.

    Parameters
    ----------
    one, other : str or int
        What was completed in these months.
    months : int
        By how many months ``one`` lies after ``other`` at most; negative where it lies before.
    statement : int
        Number of the statement that says so.
    before : bool
        Whether ``one`` was completed before ``other``, of two in the same month too.
    """

    one: Node
    other: Node
    months: int
    statement: int
    before: bool = False


def contradiction(bounds: Sequence[Bound]) -> tuple[int, ...]:
    """Find statements that cannot all be so, each of which is needed for that.

    Bounds hold together unless they lead in a ring whose months add up to less than nought, or to
    nought while each of two things in it was completed before the other.

    Parameters
    ----------
    bounds : sequence of Bound
        What the statements say.

    Returns
    -------
    tuple of int
        Numbers of statements, ascending; none where all bounds can hold.

    References
    ----------
    Cormen, T. H., Leiserson, C. E., Rivest, R. L. and Stein, C. (2022). *Introduction to
    Algorithms*, 4th ed., sections 22.1 (the algorithm of Bellman and Ford) and 22.4 (difference
    constraints). MIT Press.

    Examples
    --------
    >>> first = Bound("M-1", "M-2", -3, statement=0)
    >>> contradiction([first, Bound("M-2", "M-1", 2, statement=1)])
    (0, 1)
    >>> contradiction([first, Bound("M-2", "M-1", 3, statement=1)])
    ()
    """
    needed = sorted({bound.statement for bound in _ring(bounds)})
    for statement in tuple(needed):
        others = [number for number in needed if number != statement]
        if _ring([bound for bound in bounds if bound.statement in others]):
            needed = others
    return tuple(needed)


def _ring(bounds: Sequence[Bound]) -> list[Bound]:
    """Find bounds in a ring that cannot all hold; none where all can.

    A month is cut into so many steps that those within a month, one for each bound of a ring at
    most, never add up to a month.
    """
    nodes = dict.fromkeys(node for bound in bounds for node in (bound.one, bound.other))
    slack = len(nodes) + 1
    steps = [(each, each.months * slack**2 + (-1 if each.before else slack)) for each in bounds]
    place, reason = dict.fromkeys(nodes, 0), dict[Node, Bound]()
    moved: Node | None = None
    for _ in nodes:
        moved = None
        for bound, most in steps:
            if place[bound.other] + most < place[bound.one]:
                place[bound.one] = place[bound.other] + most
                moved, reason[bound.one] = bound.one, bound
        if moved is None:
            return []
    ring: dict[Node, Bound] = {}
    for _ in nodes:
        moved = reason[moved].other if moved is not None else None
    while moved is not None and moved not in ring:
        ring[moved] = reason[moved]
        moved = ring[moved].other
    return list(ring.values())
