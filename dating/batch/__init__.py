"""Many instruments of one maker at once."""

from dating.batch.evidence_cache import EvidenceCache, posteriors
from dating.batch.many import estimate_many
from dating.batch.results import write_estimates

__all__ = ["EvidenceCache", "estimate_many", "posteriors", "write_estimates"]
