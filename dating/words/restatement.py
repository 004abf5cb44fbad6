"""What a maker file that states what was learned is worth, as plain text."""

from __future__ import annotations

from dating.agreement import Agreement
from dating.learning.restatement import Restatement
from dating.words.plain import WIDTH, hanging


def after_restating(
    restatement: Restatement, file: str, agreement: Agreement | None, width: int = WIDTH
) -> str:
    """Say how far judgements and dates are from what was learned, and what is lost."""
    name, gap = restatement.widest
    lines = [f"{file}: a maker file that states what was learned."]
    if name:
        lines.append(
            f"No judgement in it differs from the learned distribution function by more than "
            f"{gap:.2f} ({name})."
        )
    if agreement is not None:
        lines.append(
            f"Dates from it and from the draws, for {len(agreement.distances)} instruments of the "
            f"corpus taken as undated: total variation {agreement.median:.3f} at the median, "
            f"{agreement.largest:.3f} at most."
        )
    lines.append(
        "What is lost is how the learned numbers go together, such as a first use with its overlap."
    )
    return hanging([*lines, *restatement.losses], width)
