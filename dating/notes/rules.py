"""The rules by which notes are worded, with the thresholds that are in force."""

from __future__ import annotations

import re
from collections.abc import Iterator

from dating.claims.strength import PROBABILITY_SCALE
from dating.disagreement import SURPRISING
from dating.notes.neighbours import SURE
from dating.notes.phrasing import APART, CIRCA, EACH, MONTHWISE
from dating.notes.sale import FEW, WIDE, WORTH
from dating.notes.sentences import APPARENT, DOUBTFUL, WORTH_A_LOOK
from dating.words.plain import wrapped

_RULES = """\
Every note follows by these rules from one estimate, and by the last of them from one comparison of
lots; nothing is added by hand.

1. **Level.** The stated date holds at least the chosen level of the posterior (0.9 by default).
   The printed percentage is the probability that it holds. The certainty word is that of the
   level, so that a wider date never sounds surer. The scale is that of {scale}.
2. **Forms.** A date may be one month; up to {monthwise} consecutive months; one or several calendar
   years; "circa" a year; "in or before" or "in or after" a year, where the years reach an end of
   the maker's period; or two stretches at least {apart} months apart, each with at least {each:.0%}
   of the probability and at most {each:.0%} of the period.
3. **Choice.** The note uses the form that claims the fewest months and still holds the level.
   Between equals, it prefers one stretch to two, then a calendar year to other months, then the
   more probable. If that form covers at least the level's share of the maker's period, the note
   says that only the period is known. So if part of the posterior is spread evenly over all
   months, the note never claims fewer months.
4. **Circa** means within {circa} years either side of the year named, as chosen. It stands only for
   those very years, where they are the stretch that rule 3 chooses, so that it never claims more
   than was found. The note prints which is meant:
{sources}
5. **Parts.** The note does not mention a part if the probability that it is not original is below
   {doubtful:.2f}. From there it calls the question open. From {apparent:.2f} it says that the part
   apparently came from another instrument; it calls that instrument later or earlier if the
   part's own date lies entirely on that side of the instrument's. It mentions a later replacement
   from {doubtful:.2f}.
6. **Contradictions.** The note names a component or a piece of evidence that is at least
   {surprise:.0f} times less probable together with the rest than apart, and names its strongest
   contradiction.
   Where evidence clashes, the ways in which it can hang together stand below the date, each with
   its probability and its own months; if one of them supposes a part from another instrument, the
   note leaves it to them whether the parts belong together.
7. **What was not examined** is listed in full, as is anything recorded that is not in the maker
   file.
8. **What to look at next.** The note names at most two looks and says how invasive each is. Each is
   expected to remove at least {worth:.0%} of the remaining uncertainty.
9. **A second look.** A lot is flagged if its date claims {wide} months or more, or is two dates; if
   a part may not be original; if observations contradict each other; if fewer than {few} things
   were seen; if one look that is hardly invasive would remove {much:.0%} of the uncertainty; if the
   estimate has not converged; if what was learned rests on draws that are not sound (the note says
   so below its date); or if something recorded looks like a mistake, such as an implausible
   measurement or a document that allows no month.
10. **Cautions** cover what the maker file says is in every instrument, what was seen on this one,
    and the looks that are named. Every note says that a date is an opinion.
11. **The table of evidence** gives the most probable months that hold at least the level, for each
    piece of evidence on its own and for the rest without it, and the probability that they hold.
    "Until" and "from ... on" count the month that is named; they are used where the months reach an
    end of the maker's period. "Any time" is the whole period.
12. **Lots side by side.** With `--side-by-side`, the lots of a sale are put in a row, oldest first.
    The note names the nearest lot in that row of which it is at least {sure:.0%} probable that it
    was built in an earlier month, or in a later one; of the nearest on both sides, the surer. Where
    there is none it says nothing. The certainty word is that of this probability.
"""


def rules_text(width: int | None = None) -> str:
    """Write the rules.

    Examples
    --------
    >>> "holds at least the chosen level" in rules_text()
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
        sure=SURE,
    )
    return text if width is None else "".join(f"{item}\n" for item in _refilled(text, width))


def _refilled(text: str, width: int) -> Iterator[str]:
    """Fill each paragraph and each item of a list anew; its lines hang where they hung."""
    for item in re.split(r"\n(?=\n|[0-9]+\. | *- )", text.rstrip("\n")):
        mark = re.match(r"(?:\n?[0-9]+\. | *- )?", item)
        hang = " " * len(mark[0].lstrip("\n")) if mark else ""
        blank = "\n" * item.startswith("\n")
        words = item.lstrip("\n")
        yield blank + wrapped(re.sub(r"\n *", " ", words), width, hang)
