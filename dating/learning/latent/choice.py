"""How many latent variants, and how smooth: chosen by the log score of instruments left out.

Doubling finds the number of variants; then each measure of smoothness is moved up and down as long
as the score of the months of instruments left out improves. Variants must earn their place: where
the best mixture is not better than none by two standard errors, none are used.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from dating.learning.latent.mixture import Settings, fitted, month_posterior
from dating.learning.latent.rows import Rows

type Floats = NDArray[np.float64]

MOST_VARIANTS = 64
LEAST_A_VARIANT = 15
"""Instruments that there must be for each latent variant."""
_FOLDS, _FITS = 2, 2
_GAIN = 0.001
_TOGETHER = 4
_KNOBS = ("bend", "drift", "steady", "pull")


@dataclass(frozen=True, eq=False)
class Choice:
    """What was chosen.

    Parameters
    ----------
    settings : tuple of Settings
        The choice: those that are not clearly worse than the best, best first, four at most; the
        fits take them in turn.
    gain : float
        How much better, in mean log score, the best mixture is than no variants.
    error : float
        Standard error of that gain, from instrument to instrument.
    """

    settings: tuple[Settings, ...]
    gain: float
    error: float


def chosen(rows: Rows, seed: int = 1, report: Callable[[str], None] = lambda _: None) -> Choice:
    """Choose the settings for a corpus.

    Parameters
    ----------
    rows : Rows
        Securely dated instruments.
    seed : int
        Seed of folds and fits.
    report : callable
        Told in words what is being tried.

    Returns
    -------
    Choice
        The settings with the best score among instruments left out.
    """
    return _Search(rows, seed, report).choice()


def left_out(rows: Rows, settings: Sequence[Settings], folds: int, fits: int, seed: int) -> Floats:
    """Date every instrument with itself and others left out of the fit.

    Parameters
    ----------
    rows : Rows
        Securely dated instruments.
    settings : sequence of Settings
        Taken in turn, fit by fit.
    folds : int
        Into how many parts the corpus is cut; each is dated with the others.
    fits : int
        Bootstrap fits for each.
    seed : int
        Seed of folds and fits.

    Returns
    -------
    ndarray of float64, shape (row, cell)
        Posterior probabilities.
    """
    fold = fold_of(len(rows), folds, seed)
    made = np.empty((len(rows), rows.cells))
    for part in range(folds):
        mixtures = fitted(rows.chosen(fold != part), settings, seed + part, fits)
        made[fold == part] = month_posterior(mixtures, rows.chosen(fold == part))
    return made


def fold_of(rows: int, folds: int, seed: int) -> NDArray[np.int64]:
    """Deal instruments into folds at random.

    Parameters
    ----------
    rows, folds : int
        How many of each.
    seed : int
        Seed of the deal.

    Returns
    -------
    ndarray of int64, shape (row,)
        The fold of each instrument; sizes differ by one at most.
    """
    return np.asarray(np.random.default_rng(seed).permutation(rows) % folds)


def log_scores(posterior: Floats, rows: Rows) -> Floats:
    """Give the log probability of what is stated of each instrument's date.

    Parameters
    ----------
    posterior : ndarray of float64, shape (row, cell)
        Posterior probabilities.
    rows : Rows
        Instruments with their stated dates.

    Returns
    -------
    ndarray of float64, shape (row,)
        Natural logarithms.
    """
    each = posterior[rows.pair_row, rows.pair_cell] * rows.pair_stated
    total = np.bincount(rows.pair_row, weights=each, minlength=len(rows))
    return np.asarray(np.log(np.maximum(total, 1e-300)))


class _Search:
    """Tries settings, each once."""

    def __init__(self, rows: Rows, seed: int, report: Callable[[str], None]) -> None:
        self.rows, self.seed, self.report = rows, seed, report
        self.scores: dict[Settings, Floats] = {}
        self.most = min(MOST_VARIANTS, max(1, len(rows) // LEAST_A_VARIANT))

    def choice(self) -> Choice:
        best = Settings()
        while best.variants * 2 <= self.most:
            more = replace(best, variants=best.variants * 2)
            again = replace(best, variants=best.variants * 4)
            if self._score(more) > self._score(best):
                best = more
            elif again.variants <= self.most and self._score(again) > self._score(best):
                best = again
            else:
                break
        best = self._tuned(self._tuned(best, 2.0), 1.5)
        return self._earned(best)

    def _tuned(
        self, best: Settings, factor: float, knobs: tuple[str, ...] = (*_KNOBS, "variants")
    ) -> Settings:
        for knob in knobs:
            for step in (factor, 1 / factor):
                while (moved := self._moved(best, knob, step)) is not None:
                    if self._score(moved) <= self._score(best) + _GAIN:
                        break
                    best = moved
        return best

    def _moved(self, settings: Settings, knob: str, step: float) -> Settings | None:
        if knob == "variants":
            variants = round(settings.variants * step)
            inside = 1 <= variants <= self.most and variants != settings.variants
            return replace(settings, variants=variants) if inside else None
        value = getattr(settings, knob) * step
        return replace(settings, **{knob: value}) if 1e-3 < value < 1e3 else None

    def _earned(self, best: Settings) -> Choice:
        """Keep variants only where they are better than none by two standard errors."""
        one = replace(Settings(), variants=1)
        self._score(one)
        alone = self._tuned(one, 2.0, _KNOBS) if best.variants > 1 else best
        difference = self.scores[best] - self.scores[alone]
        gain, error = float(difference.mean()), float(difference.std() / np.sqrt(len(self.rows)))
        chosen = self._near(best if gain > 2 * error else alone)
        return Choice(chosen, gain, error)

    def _near(self, best: Settings) -> tuple[Settings, ...]:
        """Name the best and up to three more that are within a standard error of it."""
        near = []
        for settings, score in self.scores.items():
            short = self.scores[best] - score
            close = short.mean() <= short.std() / np.sqrt(len(short))
            if close and settings.variants == best.variants and settings != best:
                near.append((float(short.mean()), settings))
        others = [settings for _, settings in sorted(near, key=lambda pair: pair[0])]
        return (best, *others[: _TOGETHER - 1])

    def _score(self, settings: Settings) -> float:
        if settings not in self.scores:
            posterior = left_out(self.rows, (settings,), _FOLDS, _FITS, self.seed)
            self.scores[settings] = log_scores(posterior, self.rows)
            mean = self.scores[settings].mean()
            self.report(f"{settings.variants} latent variants: log score {mean:.3f}")
        return float(self.scores[settings].mean())
