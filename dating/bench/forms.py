"""What the fields of a form hold, as a template asks for it."""

from __future__ import annotations

from dataclasses import dataclass

from dating.bench.answers import ONE_OF, OTHER, Fields, paper_numbers


@dataclass(frozen=True)
class Form:
    """The fields of a form.

    Parameters
    ----------
    fields : mapping of str to tuple of str
        As sent, or as they stand for a file.

    Examples
    --------
    >>> form = Form({"by": ("assessor A",), "seen:ring": ("=inlaid",)})
    >>> form("by"), form.chosen("ring"), form.chosen("nut"), form.papers
    ('assessor A', '=inlaid', '', (1,))
    """

    fields: Fields

    def __call__(self, name: str) -> str:
        """Give one field."""
        return self.fields.get(name, ("",))[-1]

    def chosen(self, name: str) -> str:
        """Give the answer to a question."""
        return self(f"seen:{name}")

    def ticked(self, name: str, state: str) -> bool:
        """Say whether a state is one of those that are possible."""
        return state in self.fields.get(f"one_of:{name}", ())

    def further(self, name: str) -> bool:
        """Say whether an answer holds more than a state."""
        more = any(self(f"{key}:{name}") for key in ("sure", "note"))
        return more or self.chosen(name) in {ONE_OF, OTHER}

    @property
    def papers(self) -> tuple[int, ...]:
        """Numbers of the documents, and of an empty one to fill in."""
        numbers = paper_numbers(self.fields)
        return (*numbers, max(numbers, default=0) + 1)
