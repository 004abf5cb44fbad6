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
    lines = [f"Wrote {file}, a maker file that states what was learned."]
    if name:
        lines.append(
            f"Its judgements differ from the learned distribution functions by at most "
            f"{gap:.2f} ({name})."
        )
    if agreement is not None:
        lines.append(
            f"Dates from it compared with dates from the draws, for {len(agreement.distances)} "
            f"instruments of the corpus treated as undated: total variation "
            f"{agreement.median:.3f} (median), {agreement.largest:.3f} (largest)."
        )
    lines.append(
        "The file loses the links between the learned numbers, such as a first use and its overlap."
    )
    return hanging([*lines, *restatement.losses], width)
