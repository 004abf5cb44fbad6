"""Stories in words: what each supposes, and when the instrument was then built."""

from __future__ import annotations

from typing import Literal

from dating.estimates import Estimate
from dating.evidence import PieceKind
from dating.statements import plain_name
from dating.stories import Fault, Story, clashes
from dating.summaries import highest_density
from dating.words.later_parts import part_date
from dating.words.phrases import percent, set_words
from dating.words.set_forms import FEW

type FaultForm = Literal[
    "swapped",
    "old_stock",
    "replaced",
    "later",
    "misread",
    "not_of_the_build",
    "slip_of_the_pen",
    "document",
]

CLASH = "What was seen contradicts itself. It hangs together if:"
CLASH_WITHOUT_STORIES = (
    "What was seen contradicts itself, and nothing that may be at fault explains it: see the "
    "contradictions below."
)
ALL_OF_THE_BUILD = "all that was seen is of the build"
_SLIPS: dict[PieceKind, FaultForm] = {
    "mark": "not_of_the_build",
    "measurement": "slip_of_the_pen",
    "document": "document",
}
"""How a slip is worded, by the kind of thing that was seen; any other was misread."""


def story_words(story: Story, estimate: Estimate) -> str:
    """Say in words what a story supposes.

    Examples
    --------
    >>> from dating import estimate, read_examination, read_maker
    >>> maker = read_maker("priors/marrowby.yaml")
    >>> result = estimate(maker, read_examination("demo_data/examinations/M-007.yaml"))
    >>> [story_words(story, result) for story in result.stories]
    ['end block misread', 'lining misread']
    """
    if not story.faults:
        return ALL_OF_THE_BUILD
    words = [fault_words(fault, estimate) for fault in story.faults]
    return " and ".join([", ".join(words[:-1]), words[-1]] if len(words) > 1 else words)


_WORDS: dict[FaultForm, str] = {
    "swapped": "{name} from another instrument ({date})",
    "old_stock": "{name} from old stock",
    "replaced": "{name} replaced later",
    "later": "the part with the {name} fitted later ({date})",
    "misread": "{name} misread",
    "not_of_the_build": "{name} not of the build",
    "slip_of_the_pen": "{name} a slip of the pen",
    "document": "{name} wrong",
}


def fault_form(fault: Fault, estimate: Estimate) -> FaultForm:
    """Say which form of words a fault is given."""
    if fault.kind == "swapped":
        return "swapped"
    if fault.kind == "old stock":
        return "old_stock"
    kind = next(piece.kind for piece in estimate.pieces if piece.name == fault.name)
    if fault.kind == "replaced":
        return "later" if kind == "mark" else "replaced"
    return _SLIPS.get(kind, "misread")


def fault_words(fault: Fault, estimate: Estimate) -> str:
    """Say in words what is at fault."""
    form = fault_form(fault, estimate)
    dates = {"swapped": _swapped_date, "later": part_date}
    return _WORDS[form].format(
        name=fault_name(fault, estimate) or plain_name(fault.name),
        date=dates[form](fault.name, estimate) if form in dates else "",
    )


def fault_name(fault: Fault, estimate: Estimate) -> str:
    """Say what a document at fault is; empty for anything else."""
    is_document = fault_form(fault, estimate) == "document"
    return estimate.examination.paper(fault.name).what if is_document else ""


def _swapped_date(component: str, estimate: Estimate) -> str:
    """Say when a component was made, if it is from another instrument."""
    own = estimate.weighing.months_elsewhere(component)
    months = highest_density(own / own.sum(), estimate.period, estimate.level)
    return set_words(months, estimate.period, FEW)


def stories_text(estimate: Estimate) -> list[tuple[str, str, str]]:
    """Give probability, date and words of each story, and of whatever else may be."""
    rows = [
        (
            percent(story.probability),
            set_words(story.months, estimate.period, FEW),
            story_words(story, estimate),
        )
        for story in estimate.stories
    ]
    rest = 1 - sum(story.probability for story in estimate.stories)
    if rows and rest >= 0.005:
        rows.append((percent(rest), "", "in another way"))
    return rows


def clash_words(estimate: Estimate) -> str:
    """Say that what was seen clashes, above the stories where there are any; else nothing."""
    if not clashes(estimate.disagreement):
        return ""
    return CLASH if estimate.stories else CLASH_WITHOUT_STORIES
