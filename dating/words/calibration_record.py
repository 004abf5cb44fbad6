"""Whether stated probabilities may be trusted, as a record of plain data."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import asdict
from typing import Any

import numpy as np

from dating.calibration.groups import Coverage, ReferenceGroup
from dating.calibration.remedy import Remedy
from dating.calibration.uniformity import FALSE_ALARMS, MATTERS, QUESTIONS
from dating.calibration.verdict import Calibration, Miss
from dating.months import month_label
from dating.records.calibration import SCHEMA
from dating.words.levels import correction_record, latent_record
from dating.words.record import as_probability, own_version
from dating.words.remedy import remedy_record
from dating.words.soundness import soundness_record
from dating.words.trust import verdict_on


def calibration_record(
    calibration: Calibration, remedy: Remedy | None = None, commands: Sequence[str] = ()
) -> dict[str, Any]:
    """Turn the comparison into plain data, ready for JSON."""
    maker = calibration.corpus.maker
    verdict = verdict_on(calibration.groups.overall, calibration.uniformity)
    learned, passed = calibration.learned, calibration.dated.passed_over
    return {
        "schema": SCHEMA,
        "maker": maker.maker,
        "product": maker.product,
        "invented": maker.invented,
        "verdict": {"outcome": verdict.outcome, "sentence": verdict.sentence},
        "remedy": remedy_record(calibration, remedy, commands),
        "tests": {
            "false_alarms": FALSE_ALARMS,
            "least": MATTERS,
            "outermost": calibration.uniformity.outermost,
            **{name: asdict(getattr(calibration.uniformity, name)) for name in QUESTIONS},
        },
        "units": _UNITS,
        "overall": _group(calibration.groups.overall),
        "by_date": [_group(group) for group in calibration.groups.by_date],
        "by_width": [_group(group) for group in calibration.groups.by_width],
        "by_variant": [_group(group) for group in calibration.groups.by_variant],
        "by_seen": [_group(group) for group in calibration.groups.by_seen],
        "ranks": {
            "point": calibration.ranks.tolist(),
            "reached": calibration.reached.tolist(),
            "low": calibration.low.tolist(),
            "high": calibration.high.tolist(),
        },
        "passed_over": {
            "doubted": passed.doubted,
            "wide": passed.wide,
            "impossible": passed.impossible,
            "undated": passed.undated,
        },
        "shaky": int(calibration.dated.shaky.sum()),
        "draws": soundness_record(learned),
        "correction": correction_record(learned.correction if learned else None),
        "latent": latent_record(learned.latent if learned else None),
        "worst": [_misled(calibration, misled) for misled in calibration.worst],
        "instruments": list(_instruments(calibration)),
        "provenance": {
            "maker_file": {"file": maker.origin.file, "sha256": maker.origin.fingerprint},
            "corpus": {"file": calibration.corpus.file, "sha256": calibration.corpus.fingerprint},
            "learned": learned and {"draws": len(learned.values), "seed": learned.seed},
            "versions": {"instrument-dating": own_version(), "numpy": np.__version__},
        },
    }


_UNITS = {
    "level": "of the smallest highest-density set that holds the date, from 0 to 1",
    "rank": "posterior probability of earlier months, drawn within the month, from 0 to 1",
    "held": "share of instruments whose date lies in its set of the level",
    "low": "end of the 95 % band that chance allows",
    "high": "end of the 95 % band that chance allows",
    "crps": "months",
    "log_score": "natural logarithm of the probability given to the stated date",
    "width": "fewest months that hold 90 %, for groups their mean",
    "median_error": "median over a group of the months between posterior median and date",
    "error": "months between posterior median and date",
    "sides": "mean rank",
    "spread": "standard deviation of the normal scores of the ranks",
    "tails": "kurtosis of the normal scores of the ranks",
    "coverage": "mean normal score of the levels, above 0 where sets hold too few dates",
    "chance": "probability that calibrated posteriors lie as far off",
    "gain": "log likelihood gained by the one fault that the question asks for, in nats",
    "least": "departures that matter from this size on",
    "false_alarms": "probability of any alarm for calibrated posteriors, at most",
    "outermost": "dates in the outermost 0.1 % of their posteriors, half on either side",
    "log_score_gain": "mean over instruments that the correction was not learned from",
    "shaky": "instruments whose smoothed weights cannot be relied on",
}


def _group(group: ReferenceGroup) -> dict[str, Any]:
    return {
        "name": group.name,
        "instruments": group.instruments,
        "coverage": [_coverage(coverage) for coverage in group.coverage],
        "median_error": {**vars(group.error), "right": group.error.right},
        "crps": group.crps,
        "log_score": group.log_score,
        "width": group.width,
    }


def _coverage(coverage: Coverage) -> dict[str, Any]:
    return {
        "level": coverage.level,
        "held": coverage.share,
        "low": coverage.low,
        "high": coverage.high,
        "right": coverage.right,
    }


def _misled(calibration: Calibration, misled: Miss) -> dict[str, Any]:
    return {
        "instrument": misled.reference.examination.instrument,
        "line": misled.reference.line,
        "built": misled.reference.stated,
        "median": month_label(calibration.corpus.maker.period.first + misled.median),
        "level": as_probability(misled.level),
        "log_score": misled.log_score,
        "evidence": list(misled.evidence),
    }


def _instruments(calibration: Calibration) -> Iterator[dict[str, Any]]:
    scores = calibration.scores
    for place, reference in enumerate(calibration.dated.references):
        yield {
            "instrument": reference.examination.instrument,
            "line": reference.line,
            "built": reference.stated,
            "level": as_probability(float(scores.level[place])),
            "rank": as_probability(float(scores.rank[place])),
            "crps": float(scores.crps[place]),
            "log_score": float(scores.log_score[place]),
            "width": float(scores.width[place]),
            "error": float(scores.error[place]),
            "shaky": bool(calibration.dated.shaky[place]),
        }
