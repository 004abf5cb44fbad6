"""The rules by which notes are worded, with the thresholds that are in force."""

from __future__ import annotations

import re
import textwrap
from collections.abc import Iterator

from dating.claims.strength import PROBABILITY_SCALE
from dating.disagreement import SURPRISING
from dating.notes.phrasing import APART, CIRCA, EACH, MONTHWISE
from dating.notes.sale import FEW, WIDE, WORTH
from dating.notes.sentences import APPARENT, DOUBTFUL, WORTH_A_LOOK

_RULES = """\
Everything in a note follows from one estimate by these rules; nothing is added by hand.

1. **Level.** The words of a date hold at least the chosen level of the posterior (0.9 unless chosen
   otherwise). The number printed is what they hold; the certainty word is that of the level, so
   that wider words never sound surer. The scale is that of {scale}.
2. **Forms.** There are words for one month; for up to {monthwise} consecutive months; for calendar
   years, one or several; for "circa" a year; for "in or before" and "in or after" a year, where
   years reach to an end of the maker's period; and for two stretches at least {apart} months apart,
   each with at least {each:.0%} of the probability and at most {each:.0%} of the period.
3. **Choice.** Of all forms that hold the level, the one that claims the fewest months is taken. Of
   equals: one stretch before two, a calendar year before other months, the more probable. Where
   that form's share of the maker's period is not below the level, the note says that the period
   is all that is known. So if any part of the posterior is given over to "any month alike", the
   words never claim fewer months.
4. **Circa** means within {circa} years of the year named on either side, as chosen. It takes the
   place of stretches of years that are longer than that number and not longer than twice that
   number and one. The note prints which is meant:
{sources}
5. **Parts.** A note is silent on a part whose probability of not being original is below
   {doubtful:.2f}; from there the question is called open; from {apparent:.2f} the part appears to
   come from another instrument: a later or earlier one where its own date lies whole on that side
   of the instrument's. What was replaced later is named from {doubtful:.2f}.
6. **Contradictions.** A piece of evidence, or a component, that is {surprise:.0f} times or more
   less probable together with the rest than apart is named, with what it clashes with most.
7. **What was not examined** is listed whole, and so is what was recorded but is not in the maker
   file.
8. **What would settle more.** At most two looks are named, each expected to settle {worth:.0%} or
   more of the doubt that is left, and how invasive each is.
9. **A second look.** A lot is flagged where its date claims {wide} months or more, or is two dates;
   a part may not be original; something contradicts; fewer than {few} things were seen; one look
   that is hardly invasive would settle {much:.0%} of the doubt; the draws have not settled;
   what was learned rests on draws that are not sound, which the note says below its date; or
   something that was recorded can hardly be meant so (an implausible measurement, a document that
   allows no month, and the like).
10. **Cautions** follow what the maker file says is in every instrument, what was seen on this one,
    and the looks that are named. Every note says that a date is an opinion.
"""


def rules_text(width: int | None = None) -> str:
    """Write the rules.

    Examples
    --------
    >>> "hold at least the chosen level" in rules_text()
    True
    """
    text = _RULES.format(
        scale=PROBABILITY_SCALE,
        monthwise=MONTHWISE,
        apart=APART,
        each=EACH,
        circa=" or ".join(map(str, CIRCA)),
        sources="\n".join(f"   - {known.years} years: {known.source}." for known in CIRCA.values()),
        doubtful=DOUBTFUL,
        apparent=APPARENT,
        surprise=2**SURPRISING,
        worth=WORTH_A_LOOK,
        wide=WIDE,
        few=FEW,
        much=WORTH,
    )
    return text if width is None else "".join(f"{item}\n" for item in _refilled(text, width))


def _refilled(text: str, width: int) -> Iterator[str]:
    """Fill each paragraph and each item of a list anew; its lines hang where they hung."""
    for item in re.split(r"\n(?=\n|[0-9]+\. | *- )", text.rstrip("\n")):
        mark = re.match(r"(?:\n?[0-9]+\. | *- )?", item)
        hang = " " * len(mark[0].lstrip("\n")) if mark else ""
        blank = "\n" * item.startswith("\n")
        words = item.lstrip("\n")
        yield blank + textwrap.fill(
            re.sub(r"\n *", " ", words), width, subsequent_indent=hang, break_on_hyphens=False
        )
