"""Groups of instruments of known truth: built and examined by one draw of the judgements."""

import numpy as np

from dating.distributions import Certain
from dating.examination import Examination
from dating.months import month_label
from dating.tabulation import tables_of_draws, uncertain_numbers

LOOKED = 0.7
"""Share of the features that are looked at."""


def true_numbers(maker, generator):
    """Draw what the judgements leave open, as one draw of each number."""
    judged = uncertain_numbers(maker)
    assert not any(isinstance(number, Certain) for number in judged.values())
    return {name: number.quantile(generator.random(1)) for name, number in judged.items()}


def group_of(maker, numbers, count, generator, within=None):
    """Build and examine some instruments; give the examinations and the months, (instrument,).

    Where they were all built within a stretch of months, papers say so.
    """
    tables = tables_of_draws(maker, numbers)
    output, papers = tables.prior[0].sum(axis=0), []
    if within is not None:
        output = output * maker.period.inside(within)
        ends = {"not_before": month_label(within.first), "not_after": month_label(within.last)}
        papers = [{"what": "a receipt", **ends, "trust": 1}]
    months = [_pick(output, generator) for _ in range(count)]
    each = [
        _record(maker, tables, month, generator)
        | {"instrument": f"E-{number}", "maker": "example", "documents": papers}
        for number, month in enumerate(months, start=1)
    ]
    return [Examination.model_validate(record) for record in each], np.array(months)


def _record(maker, tables, month, generator):
    variant = _pick(tables.prior[0, :, month], generator)
    seen = {}
    for part, component in maker.components.items():
        where = (variant, month)
        if generator.random() < component.swapped.value:
            donor = tables.donors[part][0]
            where = np.unravel_index(_pick(donor.ravel(), generator), donor.shape)
        for feature in component.features:
            recorded = tables.features[feature].recorded_states()[:, 0]
            shape = (len(recorded), *tables.prior.shape[1:])
            state = _pick(np.broadcast_to(recorded, shape)[:, *where], generator)
            if generator.random() < LOOKED:
                seen[feature] = tables.features[feature].states[state]
    return {"seen": seen}


def _pick(weights, generator):
    return int(generator.choice(len(weights), p=weights / weights.sum()))
