"""Corrected levels, latent variants and what draws leave open, in words and as records."""

from __future__ import annotations

from typing import Any

from dating.estimates import Estimate
from dating.learning.latent.variants import Latent
from dating.learning.levels import Correction
from dating.tabulation import TOLERATED_ERROR
from dating.words.phrases import percent


def on_correction(correction: Correction) -> str:
    """Say that levels are corrected, by what, and by how much.

    Parameters
    ----------
    correction : Correction
        The correction.

    Returns
    -------
    str
        One sentence.

    Examples
    --------
    >>> import numpy as np
    >>> on_correction(Correction(np.linspace(0, 1, 501), 320))
    'Levels were recalibrated on 320 dated instruments left out of learning: before that, 90 % \
sets held 90 % of the dates.'
    """
    return (
        f"Levels were recalibrated on {correction.instruments} dated instruments left out of "
        f"learning: before that, 90 % sets held {percent(correction.at(0.9))} of the dates."
    )


def on_latent(latent: Latent) -> str:
    """Say what stands behind the free-form features."""
    count = len(latent.features)
    features = "free-form feature" if count == 1 else "free-form features"
    numbers = sorted({mixture.settings.variants for mixture in latent.mixtures})
    if numbers == [1]:
        return f"The corpus supports no latent variants behind the {count} {features}."
    among = f"{numbers[0]} to {numbers[-1]}" if len(numbers) > 1 else f"{numbers[0]}"
    return (
        f"{among} latent variants explain the {count} {features}: with them, instruments "
        f"left out gain {latent.gain:.2f} in mean log score (standard error {latent.error:.2f})."
    )


def on_error(estimate: Estimate) -> str:
    """Say that draws leave more open than is aimed at, and which draws these are."""
    latent = estimate.learned.latent if estimate.learned is not None else None
    draws = f"{latent.fits} fits of the free-form shares" if latent is not None else "draws"
    return (
        f"Not converged: the {draws} leave a standard error of up to "
        f"{estimate.errors.max():.4f} in the probability of a month, above the target of "
        f"{TOLERATED_ERROR:g}. Do not rely on the last digits."
    )


def correction_record(correction: Correction | None) -> dict[str, Any] | None:
    """Turn a correction of levels into plain data.

    Examples
    --------
    >>> import numpy as np
    >>> correction_record(Correction(np.linspace(0, 1, 501), 320))["held"]
    {'0.5': 0.5, '0.8': 0.8, '0.9': 0.9}
    """
    if correction is None:
        return None
    return {
        "instruments": correction.instruments,
        "held": {f"{level:g}": round(correction.at(level), 9) for level in (0.5, 0.8, 0.9)},
    }


def latent_record(latent: Latent | None) -> dict[str, Any] | None:
    """Turn what stands behind free-form features into plain data."""
    if latent is None:
        return None
    return {
        "features": list(latent.features),
        "variants": latent.variants,
        "fits": latent.fits,
        "log_score_gain": latent.gain,
        "standard_error": latent.error,
    }
