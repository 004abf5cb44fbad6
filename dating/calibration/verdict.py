"""May a reader trust the stated probabilities? Coverage, ranks, groups, and the worst."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from dating.arrays import Floats
from dating.calibration.cross_validation import DatedReferences, dated_without
from dating.calibration.groups import BAND, ReferenceGroups, groups_of
from dating.calibration.scores import Scores, medians_of, scores_of
from dating.calibration.uniformity import Uniformity, uniformity_of
from dating.evidence_cache import EvidenceCache
from dating.learning.corpus import Corpus, Reference
from dating.learning.files import draws_from
from dating.learning.learned import DRAWS, IN_MEMORY, Learned, TreeState, tables_for
from dating.libraries import check_libraries
from dating.reading import InputError, Problem
from dating.tabulation import LEVEL

if TYPE_CHECKING:
    import xarray as xr

LIBRARIES = ("arviz_stats", "scipy")
_SIMULATIONS = 1000
_WORST = 10
_NAMED = 3
_LEAST = 10


@dataclass(frozen=True)
class Miss:
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
    dated : DatedReferences
        Their posteriors.
    scores : Scores
        Their scores.
    groups : ReferenceGroups
        How well they were dated, together and by group.
    worst : tuple of Miss
        Those dated worst.
    uniformity : Uniformity
        Whether sides, spread, tails and coverage are as they should be.
    ranks, reached, low, high : ndarray of float64, shape (point,)
        The ranks' distribution function with its simultaneous 95 % band, to be drawn.
    """

    corpus: Corpus
    learned: Learned | None
    dated: DatedReferences
    scores: Scores
    groups: ReferenceGroups
    worst: tuple[Miss, ...]
    uniformity: Uniformity
    ranks: Floats
    reached: Floats
    low: Floats
    high: Floats

    def __repr__(self) -> str:
        """Count the instruments, and say how often their 90 % sets held the date."""
        overall = self.groups.overall
        held = next(c.share for c in overall.coverage if c.level == LEVEL)
        sets = f"{100 * LEVEL:g} % sets held {100 * held:.1f} %"
        return f"Calibration({overall.instruments} instruments, {sets})"


def calibrate(corpus: Corpus, learned: Learned | xr.DataTree | None = None) -> Calibration:
    """Date reference instruments as if they were undated, and compare with the known dates.

    Each is dated with itself left out of what was learned.

    Parameters
    ----------
    corpus : Corpus
        Dated instruments, read against the maker file.
    learned : DataTree or Learned, optional
        What was learned from this very corpus; the judgements alone unless given.

    Returns
    -------
    Calibration
        Coverage, ranks and scores, overall and by group, and the instruments dated worst.

    Raises
    ------
    InputError
        When fewer than ten instruments have a trusted date that is no wider than a year, or what
        was learned comes from another state of the corpus or of the maker file.
    ModuleNotFoundError
        When a library for calibration is missing.

    Examples
    --------
    >>> from dating import read_corpus, read_maker
    >>> maker = read_maker("priors/marrowby.yaml")
    >>> made = calibrate(read_corpus("demo_data/marrowby_corpus.csv", maker))
    >>> made.groups.overall.instruments >= 10
    True
    """
    check_libraries("calibration", LIBRARIES)
    if learned is not None and not isinstance(learned, Learned):
        learned = draws_from(TreeState(learned).tree, corpus, IN_MEMORY, DRAWS)
    return compared(corpus, learned, dated_without(corpus, learned))


def compared(corpus: Corpus, learned: Learned | None, dated: DatedReferences) -> Calibration:
    """Compare posteriors with the stated dates.

    Parameters
    ----------
    corpus : Corpus
        Securely dated instruments.
    learned : Learned or None
        What was learned from them; None for the judgements alone.
    dated : DatedReferences
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
        groups=groups_of(corpus.maker, dated, scores),
        worst=tuple(_worst(corpus, learned, dated, scores)),
        uniformity=uniformity_of(scores.rank, scores.level),
        ranks=ranks,
        reached=reached,
        low=low,
        high=high,
    )


def _worst(
    corpus: Corpus, learned: Learned | None, dated: DatedReferences, scores: Scores
) -> Iterator[Miss]:
    stock = EvidenceCache(corpus.maker, tables_for(corpus.maker, learned))
    medians = medians_of(dated.posterior)
    for place in np.argsort(scores.log_score)[:_WORST].tolist():
        reference = dated.references[place]
        median = int(medians[place])
        level, score = float(scores.level[place]), float(scores.log_score[place])
        evidence = tuple(_misleading(stock, reference))
        yield Miss(reference, level, score, median, evidence)


def _misleading(stock: EvidenceCache, reference: Reference) -> Iterator[str]:
    """Name the sightings that by themselves at least halve the stated date, worst first."""
    weighing = stock.weighing(reference.examination)
    against = []
    for piece in weighing.pieces:
        alone = weighing.likelihood_alone(piece)
        share = float((alone * reference.window).max()) / max(float(alone.max()), 1e-300)
        against.append((share, f"{piece.name}: {piece.observation}"))
    yield from (words for share, words in sorted(against)[:_NAMED] if share < 0.5)
