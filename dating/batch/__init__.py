"""Many instruments of one maker at once."""

from dating.batch.many import estimate_many, posteriors
from dating.batch.results import write_estimates

__all__ = ["estimate_many", "posteriors", "write_estimates"]
