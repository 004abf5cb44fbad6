"""Groups of instruments of known truth: built and examined by one draw of the judgements."""

import numpy as np

from dating.distributions import Certain
from dating.examination import Examination
from dating.tabulation import tables_of_draws, uncertain_numbers

LOOKED = 0.7
"""Share of the features that are looked at."""


def true_numbers(maker, generator):
    """Draw what the judgements leave open, as one draw of each number."""
    judged = uncertain_numbers(maker)
    assert not any(isinstance(number, Certain) for number in judged.values())
    return {name: number.quantile(generator.random(1)) for name, number in judged.items()}


def group_of(maker, numbers, count, generator, name="E"):
    """Build and examine some instruments; give the examinations and the months, (instrument,)."""
    tables = tables_of_draws(maker, numbers)
    months = [_pick(tables.prior[0].sum(axis=0), generator) for _ in range(count)]
    each = [
        _examined(maker, tables, month, generator, f"{name}-{number}")
        for number, month in enumerate(months, start=1)
    ]
    return each, np.array(months)


def _examined(maker, tables, month, generator, name):
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
    return Examination.model_validate({"instrument": name, "maker": "example", "seen": seen})


def _pick(weights, generator):
    return int(generator.choice(len(weights), p=weights / weights.sum()))
