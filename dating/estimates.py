"""The estimate: a posterior over the build month, with everything derived from it."""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cached_property
from importlib import import_module
from typing import TYPE_CHECKING, Any

import numpy as np

from dating.advice import Advice, advise
from dating.arrays import Floats
from dating.disagreement import (
    Conflict,
    Disagreement,
    Finding,
    disagreement,
    impossible_pieces,
    impossible_words,
)
from dating.engine import Weighing
from dating.escapes import escaped
from dating.evidence import Neutral, Piece, pieces_of, swapped_chances
from dating.examination import Examination
from dating.files import check_against
from dating.learning.learned import Learned, draws_of, rounds_of
from dating.learning.levels import Correction
from dating.libraries import check_libraries
from dating.magnitudes import log2
from dating.maker import Maker
from dating.months import Period, month_label
from dating.plan import Operation, plan_of
from dating.plausibility.examination import estimate_warnings
from dating.reading import InputError, Problem
from dating.stories import SecondLook, Story, second_looks, stories_of
from dating.summaries import (
    MonthSet,
    entropy_bits,
    equal_tailed,
    highest_density,
    mass_between,
    mass_by_year,
    quantile_month,
)
from dating.tables import MonthTables
from dating.tabulation import LEVEL, SEED, TOLERATED_ERROR

if TYPE_CHECKING:
    import xarray as xr
    from matplotlib.figure import Figure


@dataclass(frozen=True, eq=False)
class Estimate:
    """What the evidence says about one instrument's build month.

    An estimate is an opinion with a probability, not a certificate.

    Parameters
    ----------
    maker : Maker
        The maker file it rests on.
    examination : Examination
        What was seen.
    weighing : Weighing
        The evidence, combined.
    neutral : tuple of Neutral
        What was recorded and cannot bear on the date.
    level : float
        The level of the set that is reported.
    learned : Learned or None
        What was learned from a corpus, where that took the place of the judgements.
    not_today : tuple of str
        Operations that the plan leaves out.

    Examples
    --------
    >>> from dating import estimate, read_examination, read_maker
    >>> maker = read_maker("priors/marrowby.yaml")
    >>> result = estimate(maker, read_examination("demo_data/examinations/M-001.yaml"))
    >>> float(result.posterior.sum().round(9))
    1.0
    """

    maker: Maker
    examination: Examination
    weighing: Weighing
    neutral: tuple[Neutral, ...]
    level: float
    learned: Learned | None = None
    not_today: tuple[str, ...] = ()

    @property
    def period(self) -> Period:
        """The months over which the estimate runs."""
        return self.weighing.tables.period

    @property
    def tables(self) -> MonthTables:
        """The month tables, with the seed and the number of draws."""
        return self.weighing.tables

    def __repr__(self) -> str:
        """Name the instrument and its maker, the median, and the 90 % set with what it holds."""
        known = f"{self.examination.instrument}, {self.maker.maker}"
        months = self.highest_density(LEVEL)
        median = month_label(self.median)
        held = f"{100 * LEVEL:g} % {months} (holds {100 * months.mass:.0f} %)"
        return escaped(f"Estimate({known}, median {median}, {held})")

    def _repr_html_(self) -> str:
        """Give the date in words with its probability, a small table, and that it is an opinion."""
        shown: str = _shown_by("dating.notes.display", "as_display", self)
        return shown

    @property
    def pieces(self) -> tuple[Piece, ...]:
        """The pieces of evidence."""
        return self.weighing.pieces

    @cached_property
    def probabilities(self) -> Floats:
        """The posterior as a bare array, shape (month,); its levels corrected where that is due."""
        stated = self.weighing.by_month.sum(axis=0) / self.weighing.evidence
        return stated if self.learned is None else self.learned.corrected(stated)

    @property
    def correction(self) -> Correction | None:
        """How levels are corrected by what instruments left out of learning held, if they are."""
        return self.learned.correction if self.learned is not None else None

    @cached_property
    def errors(self) -> Floats:
        """Standard error that the draws leave on each month, as a bare array, shape (month,)."""
        return self.weighing.standard_error()

    @property
    def converged(self) -> bool:
        """Whether that standard error is at most 0.002 in every month."""
        return bool(self.errors.max() <= TOLERATED_ERROR)

    @cached_property
    def posterior(self) -> xr.DataArray:
        """P(build month | everything seen), dimension ``month``."""
        return self._by_month(self.probabilities, "posterior", "probability")

    @cached_property
    def standard_error(self) -> xr.DataArray:
        """Standard error that the draws leave on the posterior, dimension ``month``."""
        return self._by_month(self.errors, "standard error", "probability")

    @cached_property
    def original(self) -> xr.DataArray:
        """P(component is original | everything seen), dimension ``component``."""
        return _labelled(self.originality, "component", "original")

    @cached_property
    def originality(self) -> dict[str, float]:
        """P(component is original | everything seen) by component, as plain numbers."""
        chances = {}
        for name, part in self.weighing.parts.items():
            here = self.weighing.respond(name, part.fixed)
            chances[name] = float(here.original.sum() / here.total.sum())
        return chances

    @cached_property
    def all_original(self) -> float:
        """P(every component is original | everything seen)."""
        return float(self.weighing.all_original() / self.weighing.evidence)

    @cached_property
    def component_months(self) -> xr.DataArray:
        """P(the component's own build month), dimensions ``component`` and ``month``."""
        import xarray as xr  # noqa: PLC0415

        names = list(self.weighing.parts)
        own = [self.own_month(name) for name in names]
        return xr.concat(
            [self._by_month(p, "component month", "probability") for p in own],
            xr.DataArray(names, dims="component", name="component"),
        )

    def likelihood_alone(self, piece: str) -> Floats:
        """Give P(piece | build month), its component's chance of a swap included.

        Parameters
        ----------
        piece : str
            Name of the piece of evidence.

        Returns
        -------
        ndarray of float64, shape (month,)
            Up to the scale of the piece; zero in months in which nothing was made.
        """
        return self.weighing.likelihood_alone(next(p for p in self.pieces if p.name == piece))

    def own_month(self, component: str) -> Floats:
        """Give the posterior of a component's own build month as a bare array.

        Parameters
        ----------
        component : str
            Name of the component.

        Returns
        -------
        ndarray of float64, shape (month,)
            Sums to one.
        """
        own = self.weighing.own_months(component)
        return own / own.sum()

    @cached_property
    def variant(self) -> xr.DataArray | None:
        """P(variant | everything seen), dimension ``variant``; None without variants."""
        return (
            _labelled(self.variant_chances, "variant", "variant") if self.variant_chances else None
        )

    @cached_property
    def variant_chances(self) -> dict[str, float]:
        """P(variant | everything seen) as plain numbers; empty without variants."""
        chances = self.weighing.by_month.sum(axis=1) / self.weighing.evidence
        chances = chances.reshape(-1, self.tables.latent).sum(axis=1)
        return dict(zip(self.tables.variants, chances.tolist(), strict=False))

    @cached_property
    def replaced(self) -> xr.DataArray:
        """P(a feature's or mark's part was replaced later), dimension ``feature``."""
        known = {f.piece.name: f.replaced for f in self.findings if f.replaced is not None}
        return _labelled(known, "feature", "replaced")

    @cached_property
    def disagreement(self) -> Disagreement:
        """What each piece says alone, what leaving it out changes, what contradicts what."""
        return disagreement(self.weighing, self.highest_density(self.level))

    @property
    def findings(self) -> tuple[Finding, ...]:
        """What each piece says alone, and what leaving it out would change."""
        return self.disagreement.findings

    @property
    def conflict(self) -> Conflict:
        """Whether the evidence hangs together, and what contradicts what."""
        return self.disagreement.conflict

    @cached_property
    def stories(self) -> tuple[Story, ...]:
        """The ways in which evidence that clashes can hang together; empty where nothing does."""
        return stories_of(self.weighing, self.disagreement, self.level)

    @cached_property
    def second_looks(self) -> tuple[SecondLook, ...]:
        """What to look at again where evidence clashes, most informative first."""
        return second_looks(self.weighing, self.stories, self.disagreement, self.level)

    @cached_property
    def nothing_replaced(self) -> float:
        """P(no component swapped, and no part that was seen replaced | everything seen)."""
        built = [
            replace(piece, likelihood=piece.built + piece.slipped) if piece.later.any() else piece
            for piece in self.pieces
        ]
        none = self.weighing.emptied(built).all_original()
        return float(2 ** (log2(none) - log2(self.weighing.evidence))) if none else 0.0

    @cached_property
    def warnings(self) -> tuple[Problem, ...]:
        """What is valid and hardly meant in the examination and the maker file."""
        return estimate_warnings(self.examination, self.maker)

    @cached_property
    def advice(self) -> tuple[Advice, ...]:
        """What to look at next, most informative first."""
        return advise(self.weighing, self.maker, self.examination)

    @cached_property
    def plan(self) -> tuple[Operation, ...]:
        """The same looks by what has to be done first: what is free and safe, then by worth."""
        return plan_of(self.weighing, self.maker, self.advice, self.not_today)

    def skip(self, *operations: str) -> Estimate:
        """Leave operations out of the plan.

        Parameters
        ----------
        *operations : str
            What cannot be done today, as the maker file names it.

        Returns
        -------
        Estimate
            The same estimate, with the rest of the plan.

        Raises
        ------
        InputError
            When the maker file names no such operation.

        Examples
        --------
        >>> from dating import read_examination, read_maker
        >>> maker = read_maker("priors/marrowby.yaml")
        >>> made = estimate(maker, read_examination("demo_data/examinations/M-001.yaml"))
        >>> [operation.name for operation in made.skip("strings slackened").plan]
        ['', 'tuner plate loose', 'tailpiece cover off']
        """
        known = self.maker.operations()
        problems = [
            replace(
                self.maker.origin.problem((), "no such operation", found=name, allowed=known),
                line=None,
            )
            for name in operations
            if name not in known
        ]
        if problems:
            raise InputError(problems)
        return replace(self, not_today=tuple(dict.fromkeys((*self.not_today, *operations))))

    def highest_density(self, level: float = LEVEL) -> MonthSet:
        """Give the most probable months that hold at least the level.

        Months that are nearly as probable as the last one needed are taken with it; see
        :func:`dating.summaries.highest_density`.

        Parameters
        ----------
        level : float
            Between 0 and 1, both excluded.

        Returns
        -------
        MonthSet
            One or several stretches.
        """
        return highest_density(self.probabilities, self.period, level)

    def equal_tailed(self, level: float = LEVEL) -> MonthSet:
        """Give the interval that leaves the same probability on either side.

        Parameters
        ----------
        level : float
            Between 0 and 1, both excluded.

        Returns
        -------
        MonthSet
            One stretch.
        """
        return equal_tailed(self.probabilities, self.period, level)

    @property
    def median(self) -> int:
        """Month number of the median month."""
        return self.period.first + quantile_month(self.probabilities, 0.5)

    @property
    def mode(self) -> int:
        """Month number of the most probable month, the earliest of equals."""
        return self.period.first + int(self.probabilities.argmax())

    @property
    def entropy(self) -> float:
        """Entropy of the posterior in bits."""
        return entropy_bits(self.probabilities)

    def years(self) -> xr.DataArray:
        """Give the probability of each calendar year.

        Returns
        -------
        DataArray of float64, dimension (year,)
            Sums to one.
        """
        years = [str(year) for year in self.period.years()]
        masses = mass_by_year(self.probabilities, self.period).tolist()
        labelled = _labelled(dict(zip(years, masses, strict=True)), "year", "years")
        return labelled.assign_coords(year=self.period.years())

    def between(self, stretch: str) -> float:
        """Give the probability of a stretch of months.

        Parameters
        ----------
        stretch : str
            EDTF months or years, such as ``1931-02/1931-09``; both ends included.

        Returns
        -------
        float
            From 0 to 1.
        """
        return mass_between(self.probabilities, self.period, Period.parse(stretch))

    def edtf(self, level: float = LEVEL) -> str:
        """Write the highest-density set as the shortest honest EDTF expression.

        Parameters
        ----------
        level : float
            Between 0 and 1, both excluded.

        Returns
        -------
        str
            EDTF, ISO 8601-2:2019.
        """
        return self.highest_density(level).edtf

    def to_datatree(self) -> xr.DataTree:
        """Give everything as one tree of labelled arrays, which netCDF can hold.

        Months are ``datetime64``, each its first day; every array says its units and what it is in
        its attributes.

        Returns
        -------
        DataTree
            Groups ``posterior`` (dimension month), ``summaries`` (level, month, year), ``findings``
            (observation, month), ``originality`` (component, month), ``advice`` (look), ``plan``
            (operation) and, where there are variants, ``variant`` (variant); attributes say what it
            rests on, and that it is an opinion.

        Examples
        --------
        >>> from dating import read_examination, read_maker
        >>> maker = read_maker("priors/marrowby.yaml")
        >>> made = estimate(maker, read_examination("demo_data/examinations/M-001.yaml"))
        >>> dict(made.to_datatree()["posterior"].sizes)
        {'month': 225}
        """
        tree: xr.DataTree = _shown_by("dating.words.tree", "as_tree", self)
        return tree

    def plot(self) -> Figure:
        """Draw the posterior, what each observation says alone, and the parts.

        Returns
        -------
        Figure
            The picture that ``dating estimate --picture`` draws, as a figure of matplotlib.

        Raises
        ------
        ModuleNotFoundError
            When matplotlib is missing.

        Examples
        --------
        >>> from dating import read_examination, read_maker
        >>> maker = read_maker("priors/marrowby.yaml")
        >>> made = estimate(maker, read_examination("demo_data/examinations/M-001.yaml"))
        >>> len(made.plot().axes)
        3
        """
        check_libraries("a picture", ["matplotlib"], "picture")
        figure: Figure = _shown_by("dating.figures.estimate", "draw_estimate", self)
        return figure

    def _by_month(self, values: Floats, name: str, units: str) -> xr.DataArray:
        import xarray as xr  # noqa: PLC0415

        month = self.period.axis().astype("datetime64[s]")
        return xr.DataArray(
            values, dims="month", coords={"month": month}, name=name, attrs={"units": units}
        )


def estimate(
    maker: Maker,
    examination: Examination,
    *,
    level: float = LEVEL,
    seed: int = SEED,
    learned: Learned | xr.DataTree | None = None,
) -> Estimate:
    """Date one instrument.

    Parameters
    ----------
    maker : Maker
        The maker file.
    examination : Examination
        What was seen.
    level : float
        Level of the set that is reported, between 0 and 1.
    seed : int
        Seed of the draws; the same seed gives the same estimate, bit for bit.
    learned : DataTree or Learned, optional
        What was learned from a corpus, as :func:`dating.learn` and :func:`dating.read_learned` give
        it; its joint draws then take the place of the judgements.

    Returns
    -------
    Estimate
        The posterior and everything derived from it.

    Raises
    ------
    InputError
        When the examination names what the maker file does not know, when no month of the period
        allows everything that was seen, or when what was learned is of another maker file or
        rests on draws that were set aside.
    ValueError
        When the level is not between 0 and 1.
    TypeError
        When what was learned is something else.

    Examples
    --------
    >>> from dating import read_examination, read_maker
    >>> maker = read_maker("priors/marrowby.yaml")
    >>> result = estimate(maker, read_examination("demo_data/examinations/M-001.yaml"))
    >>> result.highest_density(0.9).mass >= 0.9
    True
    """
    if not 0 < level < 1:
        raise ValueError(f"a level lies between 0 and 1, both excluded; found {level:g}")
    check_against(examination, maker)
    learned = draws_of(learned, maker)
    swapped = swapped_chances(maker, examination)
    for tables in rounds_of(maker, learned, seed):
        pieces, neutral = pieces_of(examination, maker, tables)
        weighing = Weighing.of(tables, swapped, pieces)
        if not weighing.evidence:
            raise InputError([impossible_problem(weighing, examination)])
        result = Estimate(maker, examination, weighing, neutral, level, learned)
        if result.converged:
            break
    return result


def _shown_by(module: str, name: str, made: Estimate) -> Any:
    """Have a layer above show an estimate: it is named, never imported, and loaded when asked."""
    return getattr(import_module(module), name)(made)


def _labelled(values: dict[str, float], dimension: str, name: str) -> xr.DataArray:
    import xarray as xr  # noqa: PLC0415

    return xr.DataArray(
        np.array(list(values.values()), dtype=float),
        dims=dimension,
        coords={dimension: list(values)},
        name=name,
        attrs={"units": "probability"},
    )


def impossible_problem(weighing: Weighing, examination: Examination) -> Problem:
    """Say what no month of the period allows, and what would mend it."""
    pieces = impossible_pieces(weighing)
    return examination.origin.problem(
        pieces[0].place,
        f"{impossible_words(weighing, pieces)}. "
        "Give the feature a slip or a chance of replacement, the component a chance of being "
        "swapped, or the document less trust, if any of these may be",
    )
