"""What the form asks: the questions of a maker file by component, least invasive first."""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Literal

from dating.bench.answers import VARIANT
from dating.bench.forms import place_text
from dating.cautions import caution_text
from dating.maker import Maker
from dating.reading import KeyPath, Problem, key_text

type QuestionKind = Literal["feature", "variant", "mark", "measurement"]

_INVASIVE = ("none", "low", "moderate", "high")
_DOCUMENT = re.compile(r"documents\[([0-9]{1,6})\](?:\.(\w+))?")
_GROUPS = {"feature": "seen", "variant": "", "mark": "marks", "measurement": "measured"}


@dataclass(frozen=True)
class Question:
    """One question of the form.

    Parameters
    ----------
    id : str
        Where it stands on the page.
    name : str
        The feature, mark or measurement; "variant" for the variant.
    kind : {"feature", "variant", "mark", "measurement"}
        What it is.
    ask, how, caution : str
        What to ask, how to look, what to beware of; the last two may be empty.
    invasive : str
        none, low, moderate or high.
    states : mapping of str to str
        What the maker file calls each state; empty for marks and measurements.
    unit : str
        Of a measurement.
    example : str
        How a mark is written.
    """

    id: str
    name: str
    kind: QuestionKind
    ask: str
    how: str
    caution: str
    invasive: str
    states: Mapping[str, str]
    unit: str = ""
    example: str = ""

    @property
    def path(self) -> KeyPath:
        """Where its answer stands in an examination."""
        group = _GROUPS[self.kind]
        return (group, self.name) if group else (self.name,)

    @property
    def field(self) -> str:
        """The same as fields of the form are named."""
        return place_text(self.path)

    def field_of(self, key: str) -> str:
        """Name the field that a key of its answer stands in."""
        inner = key.removeprefix(key_text(self.path)).lstrip(".").partition("[")[0]
        alone = {"mark": "", "measurement": "value"}.get(self.kind, "state")
        return f"{self.field}.{inner or alone}".removesuffix(".")


@dataclass(frozen=True)
class QuestionGroup:
    """The questions of one component.

    Parameters
    ----------
    name : str
        The component; empty for the instrument as a whole.
    what : str
        What it comprises.
    questions : tuple of Question
        Least invasive first, else in the order of the maker file.
    """

    name: str
    what: str
    questions: tuple[Question, ...]

    @property
    def field(self) -> str:
        """The component as fields of the form are named."""
        return place_text((self.name,))


@dataclass(frozen=True)
class FormProblem:
    """One thing wrong with what was entered.

    Parameters
    ----------
    at : str
        The id of what it belongs to on the page; empty where it is the whole.
    label : str
        What that asks.
    words : str
        What is wrong, what was found, what is allowed, the nearest name.
    field : str
        Name of the field that it is about; empty where it is about no single one.
    """

    at: str
    label: str
    words: str
    field: str = ""


def groups_of(maker: Maker) -> tuple[QuestionGroup, ...]:
    """List the questions of a maker file.

    Examples
    --------
    >>> from dating.files import read_maker
    >>> groups = groups_of(read_maker("priors/marrowby.yaml"))
    >>> [group.name for group in groups]
    ['', 'neck', 'body', 'soundboard', 'hardware']
    >>> groups[0].questions[0].id, groups[1].questions[-1].invasive
    ('q1', 'low')
    """
    count = 0
    groups = []
    for name, what, questions in _questions_by_part(maker):
        ordered = sorted(questions, key=lambda q: _INVASIVE.index(q.invasive))
        numbered = tuple(
            replace(question, id=f"q{count + i}") for i, question in enumerate(ordered, start=1)
        )
        count += len(numbered)
        groups.append(QuestionGroup(name, what, numbered))
    return tuple(groups)


def places_of(groups: Sequence[QuestionGroup]) -> dict[str, str]:
    """Say where the question about each feature, mark and measurement stands."""
    return {question.name: question.id for group in groups for question in group.questions}


def troubles_of(
    problems: Sequence[Problem], groups: Sequence[QuestionGroup], papers: Sequence[int]
) -> list[FormProblem]:
    """Say of each problem to which question it belongs."""
    questions = [question for group in groups for question in group.questions]
    return [_trouble(problem, questions, papers) for problem in problems]


def _trouble(problem: Problem, questions: Sequence[Question], papers: Sequence[int]) -> FormProblem:
    details = {"found": problem.found, "allowed": problem.allowed, "nearest": problem.nearest}
    hints = "; ".join(f"{name} {text}" for name, text in details.items() if text)
    words = f"{problem.message}; {hints}" if hints else problem.message
    keys = [q for q in questions if f"{problem.key}.".startswith(f"{key_text(q.path)}.")]
    if keys:
        nearest = max(keys, key=lambda question: len(key_text(question.path)))
        return FormProblem(nearest.id, nearest.ask, words, nearest.field_of(problem.key))
    if document := _DOCUMENT.match(problem.key):
        position, key = int(document[1]) - 1, document[2]
        number = papers[position] if position < len(papers) else 0
        field = f"documents.{number}.{key}" if key else ""
        return FormProblem(f"document-{number + 1}", f"document {number + 1}", words, field)
    head = problem.key.partition(".")[0]
    known = {"instrument": "the instrument", "examined": "the date of examination"}
    field = head if head in {"instrument", "examined", "by", "owner", "note", "name"} else ""
    at = f"field-{field}" if field else ""
    return FormProblem(at, known.get(head, problem.key), words, field)


def _questions_by_part(maker: Maker) -> Iterator[tuple[str, str, list[Question]]]:
    if maker.variants is not None:
        variants = maker.variants
        states = variants.states
        yield "", "", [_question(maker, VARIANT, "variant", variants.ask, states)]
    for part, component in maker.components.items():
        questions = [
            _question(maker, name, "feature", feature.ask, feature.states)
            for name, feature in component.features.items()
        ]
        for name, mark in component.marks.items():
            example = (
                "a source-date code"
                if mark.format == "source-date"
                else ("1931-02-17, a month or a year, or one of several: [1928-05-17,1933-05-17]")
            )
            questions.append(_question(maker, name, "mark", mark.ask, {}, example=example))
        for name, measurement in component.measurements.items():
            ask = measurement.question(name)
            questions.append(_question(maker, name, "measurement", ask, {}, unit=measurement.unit))
        yield part, component.what, questions


def _question(
    maker: Maker,
    name: str,
    kind: QuestionKind,
    ask: str,
    states: Mapping[str, str],
    *,
    unit: str = "",
    example: str = "",
) -> Question:
    component, look = maker.looks()[name]
    caution = caution_text(maker.hazards_of(look, component), look.caution)
    return Question(
        "", name, kind, ask, look.instruction, caution, look.invasive, states, unit, example
    )
