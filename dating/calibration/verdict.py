"""May a reader trust the stated probabilities? Coverage, ranks, groups, and the worst."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from dating.batch import Stock
from dating.calibration.leaving_out import Dated, dated_without
from dating.calibration.scores import Scores, scores_of
from dating.calibration.uniformity import Uniformity, uniformity_of
from dating.learning.corpus import Corpus, Reference
from dating.learning.learned import Learned, tables_for
from dating.months import month_label
from dating.reading import InputError, Problem

type Floats = NDArray[np.float64]

LEVELS = (0.5, 0.8, 0.9)
BAND = 0.95
_SIMULATIONS = 1000
_WORST = 10
_NAMED = 3
_LEAST = 10
_LEAST_IN_GROUP = 15


@dataclass(frozen=True)
class Coverage:
    """How often the sets of one level held the date.

    Parameters
    ----------
    level : float
        What was stated.
    held : float
        The share of instruments whose date lay in their set.
    low, high : float
        Between which that share lies with probability 95 % if the statement is right.
    """

    level: float
    held: float
    low: float
    high: float

    @property
    def right(self) -> bool:
        """Whether the share is within what chance allows."""
        return self.low <= self.held <= self.high


@dataclass(frozen=True)
class Group:
    """Some of the instruments, and how they came out.

    Parameters
    ----------
    name : str
        Which they are.
    instruments : int
        How many.
    coverage : tuple of Coverage
        By level.
    crps, log_score, width : float
        Mean score in months, mean log score, and median months in the 90 % set.
    """

    name: str
    instruments: int
    coverage: tuple[Coverage, ...]
    crps: float
    log_score: float
    width: float


@dataclass(frozen=True)
class Misled:
    """An instrument that was dated badly.

    Parameters
    ----------
    reference : Reference
        The instrument.
    level : float
        Level of the smallest set that holds its date.
    log_score : float
        Natural logarithm of the probability of its stated date.
    median : int
        Month, counted from the start of the period, of its posterior's median.
    evidence : tuple of str
        The sightings that most of all took probability from the stated date, worst first.
    """

    reference: Reference
    level: float
    log_score: float
    median: int
    evidence: tuple[str, ...]


@dataclass(frozen=True, eq=False)
class Calibration:
    """How well reference instruments were dated.

    Parameters
    ----------
    corpus : Corpus
        Where they come from, with the maker file.
    learned : Learned or None
        What was learned; None for the judgements alone.
    dated : Dated
        Their posteriors.
    scores : Scores
        Their scores.
    overall : Group
        All of them.
    by_period, by_seen : tuple of Group
        By when they were built, and by how much of them was examined.
    worst : tuple of Misled
        Those dated worst.
    uniformity : Uniformity
        Whether sides, spread, tails and coverage are as they should be.
    ranks, reached, low, high : ndarray of float64, shape (point,)
        The ranks' distribution function with its simultaneous 95 % band, to be drawn.
    """

    corpus: Corpus
    learned: Learned | None
    dated: Dated
    scores: Scores
    overall: Group
    by_period: tuple[Group, ...]
    by_seen: tuple[Group, ...]
    worst: tuple[Misled, ...]
    uniformity: Uniformity
    ranks: Floats
    reached: Floats
    low: Floats
    high: Floats


def calibrate(corpus: Corpus, learned: Learned | None = None) -> Calibration:
    """Date reference instruments as if they were undated, and compare.

    Parameters
    ----------
    corpus : Corpus
        Securely dated instruments.
    learned : Learned or None
        What was learned from them; None for the judgements alone.

    Returns
    -------
    Calibration
        Coverage, ranks and scores, overall and by group, and the instruments dated worst.

    Raises
    ------
    InputError
        When fewer than ten instruments have a trusted date that is no wider than a year.
    """
    return compared(corpus, learned, dated_without(corpus, learned))


def compared(corpus: Corpus, learned: Learned | None, dated: Dated) -> Calibration:
    """Compare posteriors with the stated dates.

    Parameters
    ----------
    corpus : Corpus
        Securely dated instruments.
    learned : Learned or None
        What was learned from them; None for the judgements alone.
    dated : Dated
        Posteriors of those whose dates are trusted and narrow.

    Returns
    -------
    Calibration
        Coverage, ranks and scores, overall and by group, and the instruments dated worst.

    Raises
    ------
    InputError
        When there are fewer than ten.

    References
    ----------
    Gneiting, T., Balabdaoui, F. and Raftery, A. E. (2007). Probabilistic forecasts, calibration
    and sharpness. *Journal of the Royal Statistical Society B* 69(2), 243-268.
    doi:10.1111/j.1467-9868.2007.00587.x
    Saeilynoja, T., Buerkner, P.-C. and Vehtari, A. (2022). Graphical test for discrete uniformity
    and its applications. *Statistics and Computing* 32, 32. doi:10.1007/s11222-022-10090-6
    """
    from arviz_stats.ecdf_utils import ecdf_pit  # noqa: PLC0415

    if len(dated.references) < _LEAST:
        message = (
            f"only {len(dated.references)} instruments have a trusted date that is no wider than a "
            f"year; {_LEAST} are needed to say whether probabilities may be trusted"
        )
        raise InputError([Problem(corpus.file, None, "", message)])
    window = np.array([reference.window for reference in dated.references])
    scores = scores_of(dated.posterior, window)
    generator = np.random.default_rng(1)
    ranks, reached, low, high = ecdf_pit(scores.rank, BAND, _SIMULATIONS, rng=generator)
    return Calibration(
        corpus=corpus,
        learned=learned,
        dated=dated,
        scores=scores,
        overall=_group("all", scores),
        by_period=tuple(_by_period(corpus, dated, scores)),
        by_seen=tuple(_by_seen(dated, scores)),
        worst=tuple(_worst(corpus, learned, dated, scores)),
        uniformity=uniformity_of(scores.rank, scores.level),
        ranks=ranks,
        reached=reached,
        low=low,
        high=high,
    )


def _group(name: str, scores: Scores) -> Group:
    count = len(scores.level)
    return Group(
        name,
        count,
        tuple(Coverage(level, scores.covered(level), *_band(level, count)) for level in LEVELS),
        float(scores.crps.mean()),
        float(scores.log_score.mean()),
        float(np.median(scores.width)),
    )


def _band(level: float, count: int) -> tuple[float, float]:
    from scipy.stats import binom  # noqa: PLC0415

    low, high = binom.interval(BAND, count, level)
    return float(low) / count, float(high) / count


def _by_period(corpus: Corpus, dated: Dated, scores: Scores) -> Iterator[Group]:
    middles = np.array([np.flatnonzero(r.window).mean() for r in dated.references])
    inner = np.quantile(middles, [1 / 3, 2 / 3])
    third = np.searchsorted(inner, middles, side="right")
    names = {}
    for place in np.unique(third).tolist():
        held = corpus.maker.period.first + middles[third == place].astype(int)
        names[place] = f"{month_label(held.min())} to {month_label(held.max())}"
    yield from _groups(names, third, scores)


def _by_seen(dated: Dated, scores: Scores) -> Iterator[Group]:
    seen = np.array([_seen(reference) for reference in dated.references])
    third = np.searchsorted(np.quantile(seen, [1 / 3, 2 / 3]), seen, side="left")
    names = {}
    for place in np.unique(third).tolist():
        least, most = seen[third == place].min(), seen[third == place].max()
        names[place] = f"{least} to {most} seen" if least < most else f"{least} seen"
    yield from _groups(names, third, scores)


def _groups(names: dict[int, str], group: NDArray[np.int64], scores: Scores) -> Iterator[Group]:
    for place, name in names.items():
        if (group == place).sum() >= _LEAST_IN_GROUP:
            yield _group(name, scores.chosen(group == place))


def _seen(reference: Reference) -> int:
    found = reference.examination
    return len(found.seen) + len(found.marks) + len(found.measured) + (found.variant is not None)


def _worst(
    corpus: Corpus, learned: Learned | None, dated: Dated, scores: Scores
) -> Iterator[Misled]:
    stock = Stock(corpus.maker, tables_for(corpus.maker, learned))
    for place in np.argsort(scores.log_score)[:_WORST].tolist():
        reference = dated.references[place]
        median = int((np.cumsum(dated.posterior[place]) < 0.5).sum())
        level, score = float(scores.level[place]), float(scores.log_score[place])
        evidence = tuple(_misleading(stock, reference))
        yield Misled(reference, level, score, median, evidence)


def _misleading(stock: Stock, reference: Reference) -> Iterator[str]:
    """Name the sightings that by themselves at least halve the stated date, worst first."""
    weighing = stock.weighing(reference.examination)
    against = []
    for piece in weighing.pieces:
        alone = weighing.likelihood_alone(piece)
        share = float((alone * reference.window).max()) / max(float(alone.max()), 1e-300)
        against.append((share, f"{piece.name}: {piece.said}"))
    yield from (said for share, said in sorted(against)[:_NAMED] if share < 0.5)
