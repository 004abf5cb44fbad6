"""How many latent variants, and how smooth: chosen by the log score of instruments left out.

Doubling finds the number of variants; then each measure of smoothness is moved up and down as long
as the score of the months of instruments left out improves. Variants must earn their place: where
the best mixture is not better than none by two standard errors, none are used.

Several settings are often about as good. So each bootstrap fit takes, of all that were tried, those
that score best when instruments weigh what they weigh in that fit: the choice is uncertain as the
shares are, and is averaged over with them.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from dating.arrays import Floats
from dating.learning.latent.fitting import FITS, bootstrap_weights, fitted
from dating.learning.latent.mixture import Settings, month_posterior
from dating.learning.latent.rows import SightingRows

MOST_VARIANTS = 32
LEAST_A_VARIANT = 15
"""Instruments that there must be for each latent variant."""
_FOLDS, _FITS = 5, 2
_GAIN = 0.002
_REACHES = ("drift", "bend")
_SMOOTHNESS = (*_REACHES, "steady")
_KNOBS = (*_SMOOTHNESS, "pull")
_KNOBS_ALONE = ("bend", "steady")


@dataclass(frozen=True, eq=False)
class Choice:
    """What was chosen.

    Parameters
    ----------
    settings : tuple of Settings
        The choice for each fit.
    gain : float
        How much better, in mean log score, the best mixture is than no variants.
    error : float
        Standard error of that gain, from instrument to instrument.
    """

    settings: tuple[Settings, ...]
    gain: float
    error: float


def chosen(
    rows: SightingRows,
    seed: int = 1,
    report: Callable[[str], None] = lambda _: None,
    plain_fits: int = FITS,
) -> Choice:
    """Choose the settings for a corpus."""
    return _Search(rows, seed, report, plain_fits).choice()


def left_out(
    rows: SightingRows, settings: Sequence[Settings], folds: int, fits: int, seed: int
) -> Floats:
    """Date every instrument with itself and others left out of the fit.

    Shape: (row, cell).
    """
    fold = fold_of(len(rows), folds, seed)
    posterior = np.empty((len(rows), rows.cells))
    for part in range(folds):
        mixtures = fitted(rows.chosen(fold != part), settings, seed + part, fits)
        posterior[fold == part] = month_posterior(mixtures, rows.chosen(fold == part), rows.prior)
    return posterior


def fold_of(rows: int, folds: int, seed: int) -> NDArray[np.int64]:
    """Deal instruments into folds at random.

    Shape: (row,).
    """
    return np.asarray(np.random.default_rng(seed).permutation(rows) % folds)


def log_scores(posterior: Floats, rows: SightingRows) -> Floats:
    """Give the log probability of what is stated of each instrument's date.

    Shapes: posterior (row, cell); gives (row,).
    """
    each = posterior[rows.pair_row, rows.pair_cell] * rows.pair_stated
    total = np.bincount(rows.pair_row, weights=each, minlength=len(rows))
    return np.asarray(np.log(np.maximum(total, 1e-300)))


class _Search:
    """Tries settings, each once."""

    def __init__(
        self, rows: SightingRows, seed: int, report: Callable[[str], None], plain_fits: int
    ) -> None:
        self.rows, self.seed, self.report, self.fits = rows, seed, report, plain_fits
        self.scores: dict[Settings, Floats] = {}
        self.most = min(MOST_VARIANTS, max(1, len(rows) // LEAST_A_VARIANT))

    def choice(self) -> Choice:
        alone = self._tuned(self._tuned(Settings(), 2.0), 1.5)
        best = self._doubled(alone)
        if best.variants > 1:
            best = self._tuned(self._tuned(best, 2.0), 1.5, _REACHES)
        return self._earned(best, alone)

    def _doubled(self, best: Settings) -> Settings:
        """Double the variants, once or twice at a time, as long as the score improves."""
        while best.variants * 2 <= self.most:
            more = self._tuned(replace(best, variants=best.variants * 2), 2.0, _SMOOTHNESS)
            again = replace(best, variants=best.variants * 4)
            if self._score(more) > self._score(best) + _GAIN:
                best = more
            elif again.variants <= self.most and self._score(again) > self._score(best) + _GAIN:
                best = self._tuned(again, 2.0, _SMOOTHNESS)
            else:
                break
        return best

    def _tuned(self, best: Settings, factor: float, knobs: tuple[str, ...] = _KNOBS) -> Settings:
        """Move each measure down and up as long as that helps; one variant alone has no drift."""
        for knob in knobs if best.variants > 1 else _KNOBS_ALONE:
            for step in (1 / factor, factor):
                while (moved := self._moved(best, knob, step)) is not None:
                    if self._score(moved) <= self._score(best) + _GAIN:
                        break
                    best = moved
        return best

    def _moved(self, settings: Settings, knob: str, step: float) -> Settings | None:
        value = getattr(settings, knob) * step
        return replace(settings, **{knob: value}) if 1e-3 < value < 1e3 else None

    def _earned(self, best: Settings, alone: Settings) -> Choice:
        """Keep variants only where they are better than none by two standard errors."""
        difference = self.scores[best] - self.scores[alone]
        gain, error = float(difference.mean()), float(difference.std() / np.sqrt(len(self.rows)))
        most = self.most if gain > 2 * error else 1
        fits = self.fits if most == 1 else FITS
        return Choice(tuple(self._best_in(fit, most) for fit in range(fits)), gain, error)

    def _best_in(self, fit: int, most: int) -> Settings:
        """Name the settings with at most so many variants that score best as a fit weighs."""
        weights = bootstrap_weights(len(self.rows), self.seed, fit)
        tried = [settings for settings in self.scores if settings.variants <= most]
        return max(tried, key=lambda settings: float(weights @ self.scores[settings]))

    def _score(self, settings: Settings) -> float:
        if settings not in self.scores:
            posterior = left_out(self.rows, (settings,), _FOLDS, _FITS, self.seed)
            self.scores[settings] = log_scores(posterior, self.rows)
            mean = self.scores[settings].mean()
            self.report(f"{settings.variants} latent variants: log score {mean:.3f}")
        return float(self.scores[settings].mean())
