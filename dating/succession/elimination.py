"""What is known between instruments, exactly: sums over months by elimination, draw by draw.

A *factor* is a table over the months of some instruments (and over hidden numbers, such as the
month in which a batch was begun); the joint probability of all months is the product of all
factors. Summing out one node multiplies the factors that hold it and leaves a new one over the
rest. Which node goes next is chosen so that this table is the smallest.

References
----------
Dechter, R. (1999). Bucket elimination: a unifying framework for reasoning. *Artificial
Intelligence* 113(1-2), 41-85. doi:10.1016/S0004-3702(99)00059-4
"""

from __future__ import annotations

import string
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from math import prod

import numpy as np
from numpy.typing import NDArray

from dating.arrays import Floats

LARGEST = 2.0e7
"""Cells that the table of one draw may have."""
_PORTION = 2.0e7


@dataclass(frozen=True, eq=False)
class Factor:
    """A table over some nodes.

    Parameters
    ----------
    nodes : tuple of str
        What it is over.
    table : ndarray of float64, shape (draw, *size of each node)
        From zero up; a single draw where it is the same for all.
    """

    nodes: tuple[str, ...]
    table: Floats

    def portion(self, draws: slice) -> Factor:
        """Keep some of the draws."""
        return self if len(self.table) == 1 else Factor(self.nodes, self.table[draws])


@dataclass(frozen=True, eq=False)
class Bucket:
    """A node that was summed out, with the factors that held it.

    Parameters
    ----------
    node : str
        The node.
    factors : tuple of Factor
        Over it and over nodes that were summed out later.
    """

    node: str
    factors: tuple[Factor, ...]


def plan_of_elimination(
    factors: Iterable[Factor], keep: Sequence[str] = ()
) -> tuple[tuple[str, ...], float, float]:
    """Say which node is summed out next, and next, with the cells of all tables and the largest.

    Examples
    --------
    >>> chain = [Factor(("a", "b"), np.ones((1, 3, 3))), Factor(("b", "c"), np.ones((1, 3, 3)))]
    >>> plan_of_elimination(chain, keep=("a",))
    (('c', 'b'), 18.0, 9.0)
    """
    sizes: dict[str, int] = {}
    scopes = [set(factor.nodes) for factor in factors]
    for factor in factors:
        sizes |= dict(zip(factor.nodes, factor.table.shape[1:], strict=True))
    left, steps = [name for name in sizes if name not in keep], []
    cells = largest = 0.0
    while left:
        unions = {name: set().union(*(scope for scope in scopes if name in scope)) for name in left}
        work = {name: float(prod(sizes[other] for other in unions[name])) for name in left}
        node = min(reversed(left), key=lambda name: work[name])
        cells, largest = cells + work[node], max(largest, work[node])
        scopes = [scope for scope in scopes if node not in scope] + [unions[node] - {node}]
        left.remove(node)
        steps.append(node)
    return tuple(steps), cells, largest


def eliminated(
    factors: Sequence[Factor], keep: Sequence[str] = ()
) -> tuple[Floats, tuple[Bucket, ...]]:
    """Sum out every node but some, and give their joint table and what was met on the way.

    Shape of the table: (draw, *size of each kept node); a single draw where all are the same.
    """
    nodes, _, _ = plan_of_elimination(factors, keep)
    buckets, rest = [], list(factors)
    for node in nodes:
        held = [factor for factor in rest if node in factor.nodes]
        rest = [factor for factor in rest if node not in factor.nodes]
        names = dict.fromkeys(name for factor in held for name in factor.nodes if name != node)
        rest.append(_product(held, tuple(names)))
        buckets.append(Bucket(node, tuple(held)))
    return _product(rest, tuple(keep)).table, tuple(buckets)


def by_portions(factors: Sequence[Factor], keep: Sequence[str] = ()) -> Floats:
    """Give the joint table of some nodes in every draw, a portion of the draws at a time.

    Shape: (draw, *size of each kept node).
    """
    return np.concatenate([eliminated(part, keep)[0] for _, part in portions(factors, keep)])


def portions(
    factors: Sequence[Factor], keep: Sequence[str] = ()
) -> Iterable[tuple[slice, list[Factor]]]:
    """Part factors by draws, so that no table outgrows the memory."""
    draws = max(len(factor.table) for factor in factors)
    _, _, largest = plan_of_elimination(factors, keep)
    size = max(1, int(_PORTION // max(largest, 1)))
    for start in range(0, draws, size):
        here = slice(start, min(start + size, draws))
        yield here, [factor.portion(here) for factor in factors]


def drawn_months(
    buckets: Sequence[Bucket], draws: NDArray[np.intp], generator: np.random.Generator
) -> dict[str, NDArray[np.intp]]:
    """Draw the nodes together, given draws of all else: last summed out, first drawn.

    Shapes: draws (sample,); gives (sample,) for each node.
    """
    taken: dict[str, NDArray[np.intp]] = {}
    for bucket in reversed(buckets):
        chances: Floats = np.ones(1)
        for factor in bucket.factors:
            axis = factor.nodes.index(bucket.node) + 1
            table = np.moveaxis(factor.table, axis, -1)
            others = [taken[name] for name in factor.nodes if name != bucket.node]
            first = draws if len(table) > 1 else np.zeros_like(draws)
            chances = chances * table[(first, *others)]
        taken[bucket.node] = drawn_places(chances, generator)
    return taken


def drawn_places(chances: Floats, generator: np.random.Generator) -> NDArray[np.intp]:
    """Draw one place of each row by its chances, which need not sum to one.

    Shapes: chances (sample, place); gives (sample,).
    """
    reached = chances.cumsum(axis=1)
    at = generator.random(len(chances)) * reached[:, -1]
    places = (reached <= at[:, None]).sum(axis=1)
    return np.asarray(np.minimum(places, chances.shape[1] - 1))


def _product(factors: Sequence[Factor], keep: tuple[str, ...]) -> Factor:
    """Multiply factors and sum over all nodes but some; draws come first."""
    if not factors:
        return Factor((), np.ones(1))
    letters: dict[str, str] = {}
    for factor in factors:
        for name in factor.nodes:
            letters.setdefault(name, string.ascii_lowercase[len(letters)])
    draws = max(len(factor.table) for factor in factors)
    arrays, terms = [], []
    for factor in factors:
        own = "".join(letters[name] for name in factor.nodes)
        same = len(factor.table) == 1
        arrays.append(factor.table[0] if same else factor.table)
        terms.append(own if same else f"Z{own}")
    target = "".join(letters[name] for name in keep)
    if draws == 1:
        table = np.einsum(",".join(terms) + f"->{target}", *arrays, optimize=True)[None]
    else:
        table = np.einsum(",".join(terms) + f"->Z{target}", *arrays, optimize=True)
    return Factor(keep, np.asarray(table))
