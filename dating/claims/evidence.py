"""What claims are weighed by: joint draws before and after a corpus, and what was seen."""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from dating.arrays import Floats
from dating.claims.explanations import Explanation, explanation_of
from dating.claims.files import Manuscript
from dating.claims.instruments import joint_truth
from dating.claims.production import DRAWS as PRODUCTION_DRAWS
from dating.claims.production import Production, judged_production
from dating.claims.row_evidence import RowEvidence
from dating.claims.statements import Assertion, Built, instruments_of
from dating.claims.truth import all_true, needs_tables
from dating.engine import Weighing
from dating.estimates import estimate
from dating.evidence import swapped_chances
from dating.evidence_cache import EvidenceCache
from dating.examination import Examination
from dating.learning.corpus import Corpus, Reference
from dating.learning.learned import DRAWS, Learned
from dating.magnitudes import floats


@dataclass(frozen=True)
class Basis:
    """What a probability rests on, beside the assessors' judgements.

    Parameters
    ----------
    seen : tuple of str
        Instruments on which something was seen that says something.
    dated : int or None
        How many dated instruments were learned from, nought where that is not recorded; None where
        nothing was learned.
    """

    seen: tuple[str, ...] = ()
    dated: int | None = None

    @property
    def has_evidence(self) -> bool:
        """Whether there is anything but judgements."""
        return bool(self.seen) or self.dated is not None


class Evidence:
    """What claims are weighed by: draws before and after a corpus, and examinations.

    Parameters
    ----------
    manuscript : Manuscript
        The claims with their maker file and examinations.
    learned : Learned or None
        All draws of what was learned from a corpus, if anything was.
    """

    def __init__(self, manuscript: Manuscript, learned: Learned | None = None) -> None:
        self.maker, self.learned = manuscript.maker, learned
        self.examinations = manuscript.examinations
        self._weighings: dict[tuple[bool, str], Weighing] = {}
        self._explanations: dict[tuple[int, tuple[str, ...]], Explanation] = {}
        self._rows: dict[tuple[str, int, bool, tuple[str, ...]], RowEvidence] = {}

    @cached_property
    def judged(self) -> Production:
        """Production by the judgements alone."""
        return judged_production(self.maker)

    @cached_property
    def known(self) -> Production:
        """Production by what was learned, or else by the judgements."""
        return self.judged if self.learned is None else Production(self.maker, self.learned)

    @cached_property
    def judged_few(self) -> Production:
        """As many draws of the judgements as month tables are made from."""
        return judged_production(self.maker, PRODUCTION_DRAWS)

    @cached_property
    def known_few(self) -> Production:
        """As many draws of what is known as month tables are made from."""
        return self.judged_few if self.learned is None else self.known.thinned()

    @cached_property
    def joint(self) -> Production:
        """The draws in which instruments and production are judged together."""
        return self.judged_joint if self.learned is None else self.known.thinned(DRAWS)

    @cached_property
    def judged_joint(self) -> Production:
        """The same before any corpus."""
        return judged_production(self.maker, DRAWS)

    def weighing_of(self, examination: Examination, sayings: Sequence[Assertion]) -> Weighing:
        """Combine what was seen on one instrument.

        Raises InputError when one instrument is claimed of, and no month allows what was seen on
        it.
        """
        names = instruments_of(sayings)
        alone = len(names) <= 1 and all(saying.instruments() for saying in sayings)
        key = (alone, examination.model_dump_json())
        if key not in self._weighings:
            if alone and self.learned is None:
                self._weighings[key] = estimate(self.maker, examination).weighing
            else:
                self._weighings[key] = self._stock.weighing(examination)
        return self._weighings[key]

    @cached_property
    def _stock(self) -> EvidenceCache:
        return EvidenceCache(self.maker, self.joint.tables)

    def truth(
        self, sayings: Sequence[Assertion], examinations: Mapping[str, Examination]
    ) -> tuple[Floats, Floats]:
        """Give P(claims, evidence) and P(evidence) in each draw, after the corpus.

        Shape: true, weight (draw,).
        """
        names = instruments_of(sayings)
        if not names:
            return _of_production(sayings, self.known, self.known_few)
        weighings = {name: self.weighing_of(examinations[name], sayings) for name in names}
        true, weight = _in_joint_draws(sayings, weighings, self.joint)
        return true * self._corrected(sayings, weighings), weight

    def truth_by_month(self, sayings: Sequence[Assertion], name: str) -> tuple[Floats, Floats]:
        """Give P(claims, evidence, month of one instrument) and P(evidence, its month).

        Shapes: (month,), both on one scale.
        """
        names = instruments_of(sayings)
        weighings = {each: self.weighing_of(self.examinations[each], sayings) for each in names}
        about = [saying for saying in sayings if saying.instruments()]
        others = [saying for saying in sayings if not saying.instruments()]
        true, _ = joint_truth(about, weighings, (name,))
        every, _ = joint_truth([], weighings, (name,))
        if others:
            true = true * all_true(others, self.joint)[:, None]
        yes, whole = floats(true.sum(axis=0), every.sum(axis=0))
        return yes, whole

    def rows(self, corpus: Corpus, features: Collection[str], *, known: bool) -> RowEvidence:
        """Give what the rows of a corpus say of features, by what is known or by the judgements."""
        names = tuple(sorted(set(features)))
        key = (corpus.fingerprint, len(corpus.references), known, names)
        if key not in self._rows:
            production = self.known_few if known else self.judged_few
            self._rows[key] = RowEvidence(corpus, production, names)
        return self._rows[key]

    def explanation(self, reference: Reference, features: Collection[str]) -> Explanation:
        """Say what may explain the record of a dated instrument, given all that is known."""
        key = (reference.line, tuple(sorted(features)))
        if key not in self._explanations:
            weighing = self._stock.weighing(reference.examination)
            self._explanations[key] = explanation_of(reference, weighing, features)
        return self._explanations[key]

    def basis(self, names: Sequence[str]) -> Basis:
        """Say what a claim about these instruments, or none, rests on."""
        silent = set(self.silent(names))
        seen = [name for name in names if self._speaks(self.examinations[name], silent)]
        return Basis(tuple(seen), None if self.learned is None else self.learned.instruments)

    def _speaks(self, examination: Examination, silent: set[str]) -> bool:
        """Say whether anything was recorded of an instrument that carries weight."""
        name, sights = examination.instrument, examination.seen
        seen = [f for f, sight in sights.items() if sight is not None and not sight.is_neutral]
        told = [f for f in seen if f"{f} of {name}" not in silent]
        others = (examination.marks, examination.measured, examination.parts)
        recorded = any(each is not None for group in others for each in group.values())
        return bool(told or recorded or examination.documents or examination.variant)

    def silent(self, names: Sequence[str]) -> tuple[str, ...]:
        """Name what was seen on instruments and says nothing, since nothing was learned."""
        if self.learned is not None:
            return ()
        left = [name for name, (_, feature) in self.maker.features().items() if feature.free_form]
        pairs = [(name, self.examinations[name].seen) for name in names]
        return tuple(f"{f} of {name}" for name, seen in pairs for f in left if seen.get(f))

    def dated(self, name: str) -> Floats:
        """Date one instrument by itself, its levels corrected where that is due.

        Shape: (month,).
        """
        weighing = self.weighing_of(self.examinations[name], ())
        posterior = weighing.by_month.sum(axis=0) / weighing.evidence
        return posterior if self.learned is None else self.learned.corrected(posterior)

    def _corrected(self, sayings: Sequence[Assertion], weighings: Mapping[str, Weighing]) -> float:
        """Give the factor by which corrected levels change the chance of one instrument's date."""
        correction = self.learned.correction if self.learned is not None else None
        built = [saying.content for saying in sayings if isinstance(saying.content, Built)]
        if correction is None or len(built) != len(sayings) or len(weighings) != 1:
            return 1.0
        (weighing,) = weighings.values()
        if not weighing.evidence:
            return 1.0
        raw = weighing.by_month.sum(axis=0) / weighing.evidence
        inside = np.all([self.maker.period.inside(claim.within) for claim in built], axis=0)
        stated = float(raw[inside].sum())
        return float(correction.apply(raw)[inside].sum()) / stated if stated > 0 else 1.0

    def before(self, sayings: Sequence[Assertion]) -> tuple[Floats, Floats]:
        """Give the same before the evidence: nothing learned, nothing seen on any instrument.

        Shape: true, weight (draw,).
        """
        names = instruments_of(sayings)
        if not names:
            return _of_production(sayings, self.judged, self.judged_few)
        blank = Weighing(self.judged_joint.tables, swapped_chances(self.maker), ())
        return _in_joint_draws(sayings, dict.fromkeys(names, blank), self.judged_joint)


def _in_joint_draws(
    sayings: Sequence[Assertion], weighings: Mapping[str, Weighing], production: Production
) -> tuple[Floats, Floats]:
    """Judge instruments, and production beside them, in the same draws."""
    true, weight = joint_truth([saying for saying in sayings if saying.instruments()], weighings)
    on_production = [saying for saying in sayings if not saying.instruments()]
    return (true * all_true(on_production, production) if on_production else true), weight


def _of_production(
    sayings: Sequence[Assertion], production: Production, few: Production
) -> tuple[Floats, Floats]:
    """Multiply within each draw what is claimed of production; draws weigh the same."""
    chosen = few if any(needs_tables(saying) for saying in sayings) else production
    true = all_true(sayings, chosen)
    return true, np.ones_like(true)
