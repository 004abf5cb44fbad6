"""Stories in words: what each supposes, and when the instrument was then built."""

from __future__ import annotations

from dating.estimates import Estimate
from dating.statements import plain_name
from dating.stories import Fault, Story
from dating.summaries import highest_density
from dating.words.later_parts import part_date
from dating.words.phrases import percent, set_words
from dating.words.set_forms import FEW

ALL_OF_THE_BUILD = "all that was seen is of the build"


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


def fault_words(fault: Fault, estimate: Estimate) -> str:
    """Say in words what is at fault."""
    name, kind = plain_name(fault.name), _kind(fault, estimate)
    if fault.kind == "swapped":
        own = estimate.weighing.months_elsewhere(fault.name)
        months = highest_density(own / own.sum(), estimate.period, estimate.level)
        return f"{name} from another instrument ({set_words(months, estimate.period, FEW)})"
    if fault.kind == "old stock":
        return f"{name} from old stock"
    if fault.kind == "replaced":
        if kind == "mark":
            return f"the part with the {name} fitted later ({part_date(fault.name, estimate)})"
        return f"{name} replaced later"
    if kind == "document":
        number = int(fault.name.rsplit(maxsplit=1)[-1])
        return f"{estimate.examination.documents[number - 1].what} wrong"
    words = {"mark": "not of the build", "measurement": "a slip of the pen"}
    return f"{name} {words.get(kind, 'misread')}"


def _kind(fault: Fault, estimate: Estimate) -> str:
    kinds = {piece.name: piece.kind for piece in estimate.pieces}
    return kinds.get(fault.name, "component")


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


CLASH = "What was seen contradicts itself. It hangs together if:"
CLASH_WITHOUT_STORIES = (
    "What was seen contradicts itself, and nothing that may be at fault explains it: see the "
    "contradictions below."
)
