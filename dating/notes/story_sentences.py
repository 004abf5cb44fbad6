"""Where evidence clashes: the ways in which it can hang together, in the words of a language."""

from __future__ import annotations

from dating.estimates import Estimate
from dating.notes.languages import Language
from dating.notes.month_sets import month_set_words
from dating.notes.observations import name_words
from dating.stories import Fault, Story
from dating.words.stories import fault_form, fault_name


def story_sentences(estimate: Estimate, language: Language) -> list[str]:
    """Tell the stories of an estimate; nothing where nothing clashes."""
    stories = [_story(story, estimate, language) for story in estimate.stories]
    return [language.texts["stories.head"], *stories] if stories else []


def _story(story: Story, estimate: Estimate, language: Language) -> str:
    faults = [_fault(fault, estimate, language) for fault in story.faults]
    return language.say(
        "stories.one",
        chance=language.percent(story.probability),
        months=month_set_words(story.months, estimate.period, language),
        faults=language.listed(faults) if faults else language.texts["stories.none"],
    )


def _fault(fault: Fault, estimate: Estimate, language: Language) -> str:
    name = fault_name(fault, estimate) or name_words(fault.name, language)
    return language.say(f"stories.{fault_form(fault, estimate)}", name=name)
