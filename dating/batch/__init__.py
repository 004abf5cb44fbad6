"""Many instruments of one maker at once."""

from dating.batch.many import estimate_many
from dating.batch.results import write_estimates
from dating.batch.stock import Stock, posteriors

__all__ = ["Stock", "estimate_many", "posteriors", "write_estimates"]
