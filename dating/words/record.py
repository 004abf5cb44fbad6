"""An estimate as a record of plain data: every number with its unit and where it came from."""

from __future__ import annotations

import platform
from collections import Counter
from collections.abc import Mapping
from importlib.metadata import PackageNotFoundError, version
from math import isfinite
from typing import Any

import numpy as np

from dating.advice import Advice
from dating.disagreement import Finding
from dating.estimates import Estimate
from dating.months import month_label
from dating.plan import Operation
from dating.reading import KeyPath, Problem, Source, key_text
from dating.records.estimate import SCHEMA
from dating.stories import SecondLook, Story
from dating.summaries import MonthSet, entropy_bits, highest_density, mass_by_year
from dating.tabulation import TOLERATED_ERROR
from dating.words.belonging import originality_bits
from dating.words.levels import correction_record, latent_record
from dating.words.phrases import OPINION
from dating.words.soundness import is_bare_draft, soundness_record
from dating.words.stories import story_words

_PLACES = {"feature": "features", "mark": "marks", "measurement": "measurements"}


def as_record(estimate: Estimate) -> dict[str, Any]:
    """Turn an estimate into plain data, ready for JSON or YAML.

    Examples
    --------
    >>> from dating import estimate, read_examination, read_maker
    >>> maker = read_maker("priors/marrowby.yaml")
    >>> record = as_record(estimate(maker, read_examination("demo_data/examinations/M-001.yaml")))
    >>> record["instrument"], record["units"]["entropy"]
    ('M-001', 'bits')
    """
    return {
        "schema": SCHEMA,
        "instrument": estimate.examination.instrument,
        "maker": estimate.maker.maker,
        "product": estimate.maker.product,
        "invented": estimate.maker.invented or estimate.examination.invented,
        "opinion": OPINION,
        "units": _UNITS,
        "built": _built(estimate),
        "draft": is_bare_draft(estimate.maker, estimate.learned),
        "draws": soundness_record(estimate.learned),
        "correction": correction_record(estimate.correction),
        "latent": latent_record(estimate.learned.latent if estimate.learned else None),
        "components": _components(estimate),
        "all_original": as_probability(estimate.all_original),
        "nothing_replaced": as_probability(estimate.nothing_replaced),
        "variant": _probabilities(estimate.variant_chances) or None,
        "evidence": [_evidence(estimate, finding) for finding in estimate.findings],
        "not_weighed": [
            {"name": item.name, "component": item.component, "seen": item.observation}
            for item in estimate.neutral
        ],
        "conflict": _conflict(estimate),
        "stories": [_story(story, estimate) for story in estimate.stories],
        "look_again": [_second_look(look) for look in estimate.second_looks],
        "warnings": [_warning(problem) for problem in estimate.warnings],
        "look_next": [_look(advice) for advice in estimate.advice],
        "plan": [_operation(operation) for operation in estimate.plan],
        "not_today": list(estimate.not_today),
        "provenance": _provenance(estimate),
    }


_UNITS = {
    "month": "calendar month, YYYY-MM",
    "probability": "from 0 to 1",
    "standard_error": "probability",
    "entropy": "bits",
    "shift": "months, later positive",
    "weight": "bits added to the odds of the reported set",
    "surprise": "bits, log2 P(piece) / P(piece given the rest)",
    "conflict": "bits, log2 prod P(piece) / P(all pieces)",
    "gain": "expected bits about the build month, or about the component's originality",
    "log_score_gain": "mean log score of instruments left out, with latent variants less without",
}


def _built(estimate: Estimate) -> dict[str, Any]:
    period, worst = estimate.period, float(estimate.errors.max())
    masses = mass_by_year(estimate.probabilities, period).tolist()
    return {
        "level": estimate.level,
        "highest_density": [
            set_record(estimate.highest_density(level)) for level in sorted({0.5, estimate.level})
        ],
        "equal_tailed": set_record(estimate.equal_tailed(estimate.level)),
        "median": month_label(estimate.median),
        "most_probable": month_label(estimate.mode),
        "entropy": estimate.entropy,
        "entropy_before": entropy_bits(estimate.tables.output),
        "edtf": estimate.edtf(estimate.level),
        "by_year": _probabilities(dict(zip(map(str, period.years()), masses, strict=True))),
        "by_month": [
            {"month": label, "probability": as_probability(chance), "standard_error": error}
            for label, chance, error in zip(
                period.labels(),
                estimate.probabilities.tolist(),
                estimate.errors.tolist(),
                strict=True,
            )
        ],
        "standard_error": worst,
        "standard_error_aimed_at": TOLERATED_ERROR,
        "converged": estimate.converged,
    }


def _components(estimate: Estimate) -> list[dict[str, Any]]:
    seen = Counter(piece.component for piece in estimate.pieces)
    return [
        {
            "component": name,
            "original": as_probability(chance),
            "swapped_before": estimate.weighing.parts[name].swapped,
            "seen": seen[name],
            "weight": _finite(originality_bits(chance, 1 - estimate.weighing.parts[name].swapped)),
            "own_month": set_record(
                highest_density(estimate.own_month(name), estimate.period, estimate.level)
            ),
            "sources": list(_component_sources(estimate, name)),
        }
        for name, chance in estimate.originality.items()
    ]


def _component_sources(estimate: Estimate, name: str) -> tuple[str, ...]:
    component = estimate.maker.components[name]
    return (*component.source, *component.swapped.source)


def _evidence(estimate: Estimate, finding: Finding) -> dict[str, Any]:
    piece = finding.piece
    return {
        "name": piece.name,
        "kind": piece.kind,
        "component": piece.component,
        "seen": piece.observation,
        "alone": {**set_record(finding.alone), "median": month_label(finding.alone_median)},
        "without": {**set_record(finding.without), "median": month_label(finding.without_median)},
        "shift": finding.shift,
        "weight": _finite(finding.weight),
        "decides": not isfinite(finding.weight),
        "surprise": _finite(finding.surprise),
        "replaced": None if finding.replaced is None else as_probability(finding.replaced),
        "moves_with": list(piece.events),
        "from": _origin(estimate, finding),
    }


def _origin(estimate: Estimate, finding: Finding) -> dict[str, Any]:
    """Say where in the two files the numbers behind a piece of evidence stand."""
    piece, maker, examination = finding.piece, estimate.maker, estimate.examination
    in_maker: KeyPath = ()
    if piece.kind in _PLACES and piece.component is not None:
        in_maker = ("components", piece.component, _PLACES[piece.kind], piece.name)
    elif piece.kind == "variant":
        in_maker = ("variants",)
    return {
        "maker_file": _place(maker.origin, in_maker),
        "examination": _place(examination.origin, piece.place),
        "sources": {
            name: maker.sources[name].title for name in piece.sources if name in maker.sources
        },
    }


def _place(origin: Source, path: KeyPath) -> dict[str, Any] | None:
    if not path:
        return None
    line = origin.places.get(path, (None, None))[0]
    return {"key": key_text(path), "line": line}


def _conflict(estimate: Estimate) -> dict[str, Any]:
    conflict = estimate.conflict
    return {
        "bits": _finite(conflict.bits),
        "by_component": {name: _finite(bits) for name, bits in conflict.by_component.items()},
        "against_rest": {name: _finite(bits) for name, bits in conflict.against_rest.items()},
        "contradictions": [
            {"between": [clash.piece.name, clash.other.name], "bits": _finite(clash.bits)}
            for clash in conflict.contradictions
        ],
    }


def _story(story: Story, estimate: Estimate) -> dict[str, Any]:
    return {
        "probability": as_probability(story.probability),
        "supposes": story_words(story, estimate),
        "faults": [{"name": fault.name, "kind": fault.kind} for fault in story.faults],
        "built": set_record(story.months),
    }


def _second_look(look: SecondLook) -> dict[str, Any]:
    return {
        "name": look.name,
        "gain": look.bits,
        "at_fault": as_probability(look.at_fault),
        "built_if_at_fault": set_record(look.wrong),
        "built_if_not": set_record(look.right),
    }


def _warning(problem: Problem) -> dict[str, Any]:
    names = ("file", "line", "key", "message", "found", "expected", "nearest")
    return {name: getattr(problem, name) for name in names}


def _look(advice: Advice) -> dict[str, Any]:
    return {
        "name": advice.name,
        "kind": advice.kind,
        "component": advice.component,
        "ask": advice.ask,
        "how": advice.how,
        "operation": advice.operation,
        "invasive": advice.invasive,
        "caution": advice.caution,
        "gain": advice.bits,
        "gain_originality": advice.originality_bits,
        "answers": _probabilities(advice.answers),
    }


def _operation(operation: Operation) -> dict[str, Any]:
    return {
        "operation": operation.name,
        "invasive": operation.invasive,
        "cautions": list(operation.cautions),
        "gain": operation.bits,
        "looks": [look.name for look in operation.looks],
        "counted": operation.counted,
    }


def _provenance(estimate: Estimate) -> dict[str, Any]:
    maker, examination, tables = estimate.maker, estimate.examination, estimate.tables
    return {
        "maker_file": {"file": maker.origin.file, "sha256": maker.origin.fingerprint},
        "examination": {"file": examination.origin.file, "sha256": examination.origin.fingerprint},
        "learned": estimate.learned
        and {
            "corpus_sha256": estimate.learned.corpus_fingerprint,
            "maker_file_sha256": estimate.learned.maker_fingerprint,
        },
        "seed": tables.seed,
        "draws": tables.draws,
        "replicates": tables.replicates,
        "drawn_jointly": "all numbers" if estimate.learned else list(tables.shared),
        "versions": versions(),
        "sources": {
            name: note.model_dump(exclude_defaults=True) for name, note in maker.sources.items()
        },
    }


def versions() -> dict[str, str]:
    """Give the versions of this project and of what its numbers rest on."""
    return {
        "instrument-dating": own_version(),
        "numpy": np.__version__,
        "python": platform.python_version(),
    }


def own_version() -> str:
    """Give the version of this project as installed."""
    try:
        return version("instrument-dating")
    except PackageNotFoundError:
        return "not installed"


def set_record(months: MonthSet) -> dict[str, Any]:
    """Turn a set of months into plain data."""
    return {
        "level": months.level,
        "probability": as_probability(months.mass),
        "months": months.months,
        "stretches": [
            {
                "first": month_label(stretch.first),
                "last": month_label(stretch.last),
                "probability": as_probability(stretch.mass),
            }
            for stretch in months.stretches
        ],
        "edtf": months.edtf,
    }


def as_probability(value: float) -> float:
    """Keep a sum of probabilities from 0 to 1, which rounding may have left by its last digit.

    Examples
    --------
    >>> as_probability(1.0000000000000002), as_probability(0.25)
    (1.0, 0.25)
    """
    return min(max(value, 0.0), 1.0)


def _probabilities(values: Mapping[str, float]) -> dict[str, float]:
    return {name: as_probability(value) for name, value in values.items()}


def _finite(value: float) -> float | None:
    return value if isfinite(value) else None
