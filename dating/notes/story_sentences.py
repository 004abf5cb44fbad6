"""Where evidence clashes: the ways in which it can hang together, in the words of a language."""

from __future__ import annotations

from dating.estimates import Estimate
from dating.notes.languages import Language
from dating.notes.month_sets import month_set_words
from dating.notes.observations import name_words
from dating.stories import Fault, Story


def story_sentences(estimate: Estimate, language: Language) -> list[str]:
    """Tell the stories of an estimate; nothing where nothing clashes."""
    stories = [_story(story, estimate, language) for story in estimate.stories]
    return [language.texts["stories.head"], *stories] if stories else []


def _story(story: Story, estimate: Estimate, language: Language) -> str:
    faults = [fault_words(fault, estimate, language) for fault in story.faults]
    return language.say(
        "stories.one",
        chance=language.percent(story.probability),
        months=month_set_words(story.months, estimate.period, language),
        faults=language.listed(faults) if faults else language.texts["stories.none"],
    )


def fault_words(fault: Fault, estimate: Estimate, language: Language) -> str:
    """Say what a story supposes to be at fault."""
    kind = next((p.kind for p in estimate.pieces if p.name == fault.name), "component")
    if kind == "document":
        number = int(fault.name.rsplit(maxsplit=1)[-1])
        what = estimate.examination.documents[number - 1].what
        return language.say("stories.document", name=what)
    key = {"swapped": "swapped", "old stock": "old_stock", "replaced": "replaced"}.get(fault.kind)
    if fault.kind == "replaced" and kind == "mark":
        key = "later"
    words = {"mark": "not_of_the_build", "measurement": "slip_of_the_pen"}
    return language.say(
        f"stories.{key or words.get(kind, 'misread')}", name=name_words(fault.name, language)
    )
