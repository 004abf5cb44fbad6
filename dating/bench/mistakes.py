"""What may be a mistake, as the pages show it: each warning with a link to its question."""

from __future__ import annotations

from collections.abc import Mapping

from dating.bench.questions import FormProblem
from dating.estimates import Estimate
from dating.maker import Maker
from dating.plausibility.maker import maker_warnings
from dating.reading import Problem
from dating.words.phrases import warning_words

_GROUPS = ("seen", "marks", "measured")


def estimate_mistakes(estimate: Estimate, places: Mapping[str, str]) -> tuple[FormProblem, ...]:
    """Say what may be a mistake in what an estimate rests on."""
    own = estimate.examination.origin.file
    return tuple(
        _in_form(problem, places) if problem.file == own else _in_file(problem)
        for problem in estimate.warnings
    )


def maker_mistakes(maker: Maker) -> tuple[FormProblem, ...]:
    """Say what may be a mistake in a maker file."""
    return tuple(map(_in_file, maker_warnings(maker)))


def _in_form(problem: Problem, places: Mapping[str, str]) -> FormProblem:
    group, _, rest = problem.key.partition(".")
    if group in _GROUPS:
        named = [name for name in places if f"{rest}.".startswith((f"{name}.", f"{name}["))]
        name = max(named, key=len, default=rest)
        return FormProblem(places.get(name, ""), name, warning_words(problem))
    if group.startswith("documents["):
        number = group.removeprefix("documents[").rstrip("]")
        return FormProblem(f"document-{number}", f"document {number}", warning_words(problem))
    at = "field-examined" if group == "examined" else places.get(group, "")
    return FormProblem(at, group, warning_words(problem))


def _in_file(problem: Problem) -> FormProblem:
    line = f", line {problem.line}" if problem.line else ""
    return FormProblem("", f"maker file{line}, {problem.key}", warning_words(problem))
