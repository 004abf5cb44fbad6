"""Everything that can be said of one result, worked out once for text, page and pictures."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING

from dating.arrays import Floats
from dating.learning.assessors import Assessor, assessors_of
from dating.learning.comparison import Shift, judged_values, shifts_of
from dating.learning.contradictions import CorpusContradiction, contradictions_of
from dating.learning.health import Health
from dating.learning.learned import Learned, learned_from
from dating.learning.number_draws import number_draws, summary_of
from dating.learning.sampling import Plan
from dating.learning.sensitivity import Sensitivity, sensitivities_of
from dating.learning.thresholds import Observed, observed_of

if TYPE_CHECKING:
    import pandas as pd
    import xarray as xr


@dataclass(frozen=True, eq=False)
class Outcome:
    """A result beside the judgements and the corpus that it was learned from.

    Parameters
    ----------
    plan : Plan
        What was to be learned.
    tree : DataTree
        All draws, by chain, with their attributes.
    health : Health
        Their diagnostics.
    learned : Learned
        The draws that an estimate uses.
    judged : ndarray of float64, shape (draw, number)
        Independent draws of all numbers from their judgements, in months.
    shifts : tuple of Shift
        Every changeover before and after learning.
    sensitivities : tuple of Sensitivity
        What the first use and the overlap of each changeover rest on.
    assessors : tuple of Assessor
        Every assessor against what was learned.
    contradictions : tuple of CorpusContradiction
        Recorded states that a judgement did not expect, strongest first.
    observed : tuple of Observed or None
        What the dated instruments alone say of each changeover.
    """

    plan: Plan
    tree: xr.DataTree
    health: Health
    learned: Learned
    judged: Floats
    shifts: tuple[Shift, ...]
    sensitivities: tuple[Sensitivity, ...]
    assessors: tuple[Assessor, ...]
    contradictions: tuple[CorpusContradiction, ...]
    observed: tuple[Observed | None, ...]

    @cached_property
    def draws(self) -> xr.DataArray:
        """All numbers that vary between draws, dims (chain, draw, number)."""
        return number_draws(self.plan.layout, self.tree)

    @cached_property
    def summary(self) -> pd.DataFrame:
        """Mean, spread and diagnostics of each of these numbers."""
        return summary_of(self.draws)

    def rests_on(self, changeover: str, what: str) -> str:
        """Say what one quantity of a changeover rests on."""
        matches = (s for s in self.sensitivities if (s.name, s.what) == (changeover, what))
        return next((sensitivity.rests_on for sensitivity in matches), "")


def outcome_of(plan: Plan, tree: xr.DataTree, health: Health) -> Outcome:
    """Work out everything that can be said of a result."""
    learned = learned_from(tree)
    maker, corpus, layout = plan.maker, plan.corpus, plan.layout
    return Outcome(
        plan=plan,
        tree=tree,
        health=health,
        learned=learned,
        judged=judged_values(layout),
        shifts=shifts_of(layout, learned),
        sensitivities=sensitivities_of(layout, tree),
        assessors=assessors_of(layout, learned),
        contradictions=contradictions_of(maker, corpus, layout, learned),
        observed=observed_of(corpus, layout, plan.tables.output),
    )
