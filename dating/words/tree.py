"""An estimate as an xarray tree: every number by month, level, observation, component and look."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from dating.escapes import escaped
from dating.estimates import Estimate
from dating.months import month_words
from dating.summaries import MonthSet, entropy_bits, quantile_month
from dating.words.phrases import OPINION
from dating.words.record import own_version
from dating.words.soundness import on_grounds

if TYPE_CHECKING:
    import xarray as xr

type Labelled = tuple[str | tuple[str, ...], NDArray[Any], dict[str, str]]

_EPOCH = 1970 * 12
_CHANCE = "probability"


def as_tree(estimate: Estimate) -> xr.DataTree:
    """Turn an estimate into groups of labelled arrays, ready for netCDF.

    Examples
    --------
    >>> from dating import estimate, read_examination, read_maker
    >>> maker = read_maker("priors/marrowby.yaml")
    >>> made = estimate(maker, read_examination("demo_data/examinations/M-001.yaml"))
    >>> sorted(as_tree(made).children)
    ['advice', 'findings', 'originality', 'plan', 'posterior', 'summaries', 'variant']
    """
    import xarray as xr  # noqa: PLC0415

    groups = {
        "posterior": _posterior(estimate),
        "summaries": _summaries(estimate),
        "findings": _findings(estimate),
        "originality": _originality(estimate),
        "advice": _advice(estimate),
        "plan": _plan(estimate),
    }
    if estimate.variant_chances:
        groups["variant"] = _variant(estimate)
    tree = xr.DataTree.from_dict(groups)
    tree.attrs.update(_attributes(estimate))
    return tree


def _posterior(estimate: Estimate) -> xr.Dataset:
    return _dataset(
        {
            "probability": _numbers(
                "month", estimate.probabilities, "build month, given everything seen", _CHANCE
            ),
            "standard_error": _numbers(
                "month", estimate.errors, "standard error that the draws leave", _CHANCE
            ),
            "before": _numbers(
                "month", estimate.tables.output, "build month, before anything was seen", _CHANCE
            ),
        },
        _month_axis(estimate),
    )


def _summaries(estimate: Estimate) -> xr.Dataset:
    levels = sorted({0.5, estimate.level})
    sets = [estimate.highest_density(level) for level in levels]
    inside = [[month in each for month in _months(estimate)] for each in sets]
    years = estimate.period.years()
    return _dataset(
        {
            "median": _first_day((), estimate.median, "median month"),
            "mode": _first_day((), estimate.mode, "most probable month, the earliest of equals"),
            "entropy": _numbers((), estimate.entropy, "doubt that is left", "bits"),
            "entropy_before": _numbers(
                (), entropy_bits(estimate.tables.output), "doubt before anything was seen", "bits"
            ),
            "all_original": _numbers(
                (), estimate.all_original, "every component is original", _CHANCE
            ),
            "conflict": _numbers(
                (),
                estimate.conflict.bits,
                "log2 of the product of P(piece) over P(all pieces); above zero pieces clash",
                "bits",
            ),
            **_sets("level", sets, "highest-density set"),
            "inside": (
                ("level", "month"),
                np.array(inside, dtype=bool),
                {"description": "whether the month is in the highest-density set"},
            ),
            "year_probability": _numbers(
                "year", estimate.years().values, "built in the calendar year", _CHANCE
            ),
        },
        {
            "level": _numbers("level", levels, "probability that the set holds at least", _CHANCE),
            "year": ("year", np.array(years), {"description": "calendar year"}),
            **_month_axis(estimate),
        },
    )


def _findings(estimate: Estimate) -> xr.Dataset:
    found, at = estimate.findings, "observation"
    pieces = [finding.piece for finding in found]
    alone = [estimate.likelihood_alone(piece.name) for piece in pieces]
    months = len(estimate.period)
    return _dataset(
        {
            "kind": _words(at, [piece.kind for piece in pieces], "kind of evidence"),
            "component": _words(
                at, [piece.component or "" for piece in pieces], "component; empty for the whole"
            ),
            "seen": _words(at, [piece.observation for piece in pieces], "what was recorded"),
            "likelihood": (
                (at, "month"),
                np.array(alone, dtype=float).reshape(len(pieces), months),
                {"units": "1", "description": "P(piece | month), up to the piece's own scale"},
            ),
            **_sets(at, [finding.alone for finding in found], "what it says alone", "alone_"),
            "alone_median": _first_day(
                at, [finding.alone_median for finding in found], "median of what it says alone"
            ),
            **_sets(at, [finding.without for finding in found], "the rest without it", "without_"),
            "without_median": _first_day(
                at, [finding.without_median for finding in found], "median of the rest without it"
            ),
            "shift": _numbers(
                at,
                [finding.shift for finding in found],
                "by how much it moves the median, later positive",
                "months",
            ),
            "weight": _numbers(
                at,
                [finding.weight for finding in found],
                "what it adds to the log2 odds of the reported set; infinite where it decides",
                "bits",
            ),
            "surprise": _numbers(
                at,
                [finding.surprise for finding in found],
                "log2 of P(piece) over P(piece given the rest)",
                "bits",
            ),
            "replaced": _numbers(
                at,
                [np.nan if f.replaced is None else f.replaced for f in found],
                "the part was replaced later; missing where that cannot be",
                _CHANCE,
            ),
        },
        {
            at: _words(
                at, [piece.name for piece in pieces], "feature, mark, measurement, document"
            ),
            **_month_axis(estimate),
        },
    )


def _originality(estimate: Estimate) -> xr.Dataset:
    names, at = list(estimate.originality), "component"
    own = np.array([estimate.own_month(name) for name in names])
    first = estimate.period.first
    return _dataset(
        {
            "original": _numbers(
                at, list(estimate.originality.values()), "original to the instrument", _CHANCE
            ),
            "swapped_before": _numbers(
                at,
                [estimate.weighing.parts[name].swapped for name in names],
                "came from another instrument, before anything was seen",
                _CHANCE,
            ),
            "own_month": _numbers((at, "month"), own, "the component's own build month", _CHANCE),
            "own_median": _first_day(
                at, [first + quantile_month(each, 0.5) for each in own], "median of its own month"
            ),
        },
        {at: _words(at, names, "component"), **_month_axis(estimate)},
    )


def _advice(estimate: Estimate) -> xr.Dataset:
    looks, at = estimate.advice, "look"
    told = {
        "kind": "what it is",
        "ask": "what to ask",
        "how": "how to look",
        "operation": "what has to be done first; empty where that is nothing",
        "invasive": "none, low, moderate or high",
        "caution": "what to beware of",
    }
    return _dataset(
        {
            **{
                name: _words(at, [getattr(look, name) for look in looks], description)
                for name, description in told.items()
            },
            "component": _words(
                at, [look.component or "" for look in looks], "component; empty for the whole"
            ),
            "gain": _numbers(
                at, [look.bits for look in looks], "expected gain about the build month", "bits"
            ),
            "gain_originality": _numbers(
                at,
                [np.nan if (b := look.originality_bits) is None else b for look in looks],
                "expected gain about the component's originality; missing where there is none",
                "bits",
            ),
        },
        {at: _words(at, [look.name for look in looks], "looks not taken, most informative first")},
    )


def _plan(estimate: Estimate) -> xr.Dataset:
    operations, at = estimate.plan, "operation"
    return _dataset(
        {
            "invasive": _words(
                at, [each.invasive for each in operations], "none, low, moderate or high"
            ),
            "caution": _words(
                at, ["; ".join(each.cautions) for each in operations], "what to beware of"
            ),
            "gain": _numbers(
                at,
                [each.bits for each in operations],
                "expected gain about the build month of the looks that are counted, together",
                "bits",
            ),
            "looks": _counts(at, [len(each.looks) for each in operations], "looks"),
            "counted": _counts(at, [each.counted for each in operations], "looks that are counted"),
        },
        {at: _words(at, [each.name for each in operations], "what has to be done first, in order")},
    )


def _variant(estimate: Estimate) -> xr.Dataset:
    chances = estimate.variant_chances
    return _dataset(
        {"probability": _numbers("variant", list(chances.values()), "of the variant", _CHANCE)},
        {"variant": _words("variant", list(chances), "variant")},
    )


def _attributes(estimate: Estimate) -> dict[str, Any]:
    """Say what the tree is of, what it rests on, and that it is an opinion."""
    maker, examination, learned = estimate.maker, estimate.examination, estimate.learned
    told = {
        "title": f"{examination.instrument}, from the {maker.product} of {maker.maker}",
        "instrument": examination.instrument,
        "maker": maker.maker,
        "product": maker.product,
        "opinion": OPINION,
        "grounds": " ".join(on_grounds(maker, learned)),
        "median_in_words": month_words(estimate.median),
        "edtf": estimate.edtf(estimate.level),
        "maker_file": maker.origin.file,
        "maker_fingerprint": maker.origin.fingerprint,
        "examination_file": examination.origin.file,
        "examination_fingerprint": examination.origin.fingerprint,
        "corpus_fingerprint": learned.corpus_fingerprint if learned is not None else "",
        "version": own_version(),
    }
    return {
        **{name: escaped(text) for name, text in told.items()},
        "invented": int(maker.invented or examination.invented),
        "level": estimate.level,
        "seed": estimate.tables.seed,
        "draws": estimate.tables.draws,
        "converged": int(estimate.converged),
    }


def _sets(at: str, sets: Sequence[MonthSet], what: str, before: str = "") -> dict[str, Labelled]:
    """Give first and last month, stretches, mass and EDTF of several sets."""
    lists = [each.stretches for each in sets]
    firsts, lasts = ([each[end] for each in lists] for end in (0, -1))
    return {
        f"{before}first": _first_day(at, [s.first for s in firsts], f"first month: {what}"),
        f"{before}last": _first_day(at, [s.last for s in lasts], f"last month: {what}"),
        f"{before}stretches": _counts(
            at, [len(each) for each in lists], f"stretches without a gap: {what}"
        ),
        f"{before}mass": _numbers(
            at, [each.mass for each in sets], f"probability held: {what}", _CHANCE
        ),
        f"{before}edtf": _words(at, [each.edtf for each in sets], f"in EDTF: {what}"),
    }


def _dataset(arrays: dict[str, Labelled], coordinates: dict[str, Labelled]) -> xr.Dataset:
    import xarray as xr  # noqa: PLC0415

    return xr.Dataset(arrays, coordinates)


def _months(estimate: Estimate) -> range:
    return range(estimate.period.first, estimate.period.last + 1)


def _month_axis(estimate: Estimate) -> dict[str, Labelled]:
    return {"month": _first_day("month", _months(estimate), "calendar month, its first day")}


def _first_day(at: str | tuple[str, ...], numbers: int | Iterable[int], what: str) -> Labelled:
    """Turn month numbers into the first days of the months.

    Shape: that of the numbers.
    """
    values = np.array(numbers if isinstance(numbers, int) else list(numbers), dtype=np.int64)
    days = (values - _EPOCH).astype("datetime64[M]").astype("datetime64[s]")
    return at, days, {"description": what}


def _numbers(at: str | tuple[str, ...], values: Any, what: str, units: str) -> Labelled:
    return at, np.array(values, dtype=float), {"units": units, "description": what}


def _counts(at: str, counts: Sequence[int], what: str) -> Labelled:
    return at, np.array(counts, dtype=int), {"units": "1", "description": what}


def _words(at: str, words: Sequence[str], what: str) -> Labelled:
    shown = np.array([escaped(each) for each in words], dtype=str)
    return at, shown, {"description": what}
