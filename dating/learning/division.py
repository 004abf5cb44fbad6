"""Courses that several variants share, stated for each variant, since each learns its own."""

from __future__ import annotations

import re
from collections.abc import Iterator
from typing import Any

import yaml

from dating.maker import Maker
from dating.reading import KeyPath
from dating.yaml_text import (
    Edit,
    apply_edits,
    as_yaml,
    end_of,
    line_end_of,
    line_stop,
    node_at,
    nodes_of,
)

_COURSES = ("history", "shares_at")


def divide_courses(maker: Maker, text: str) -> str:
    """State for each variant what several share, so that each can be rewritten by itself."""
    mark, body = text[: text.startswith("\ufeff")], text.removeprefix("\ufeff")
    root, edits = nodes_of(body), list[Edit]()
    for name, (part, _) in maker.features().items():
        variants = sharing_variants(maker, name)
        if len(variants) > 1:
            node = node_at(root, ("components", part, "features", name))
            if isinstance(node, yaml.MappingNode):
                stated = maker.origin.data["components"][part]["features"][name]
                edits += _Division(body, node, stated, variants).edits()
    return mark + apply_edits(body, edits)


def sharing_variants(maker: Maker, feature: str) -> list[str]:
    """Name the variants that follow the course at a feature itself, where others may differ."""
    if not maker.depends_on_variant(feature):
        return []
    own = maker.features()[feature][1]
    return [name for name in maker.variant_names() if maker.course_of(feature, name) is own]


def course_path(maker: Maker, feature: str, variant: str | None) -> KeyPath:
    """Say where the course of a feature for one variant is stated.

    Examples
    --------
    >>> from dating.files import read_maker
    >>> course_path(read_maker("priors/marrowby.yaml"), "ring", "recital")
    ('components', 'soundboard', 'by_variant', 'recital', 'ring')
    """
    part, stated = maker.features()[feature]
    if feature in maker.components[part].by_variant.get(variant or "", {}):
        return "components", part, "by_variant", variant or "", feature
    here = ("components", part, "features", feature)
    return (*here, "by_variant", variant) if variant in stated.by_variant else here


class _Division:
    """The course of one feature, to be stated for each of several variants."""

    def __init__(
        self, text: str, node: yaml.MappingNode, stated: dict[str, Any], variants: list[str]
    ) -> None:
        self.text, self.node, self.stated, self.variants = text, node, stated, variants
        self.pairs = {key.value: (key, value) for key, value in node.value}
        self.key, self.course = next(self.pairs[name] for name in _COURSES if name in self.pairs)
        self.line_end = line_end_of(text)

    def edits(self) -> Iterator[Edit]:
        """Give the course its first variant, and the others courses of their own."""
        first, *others = self.variants
        yield from self._own_shares(first)
        if "by_variant" in self.pairs:
            yield from self._beside(self.pairs["by_variant"][1], others)
        elif self.node.flow_style:
            copies = ", ".join(self._in_flow(name) for name in others)
            yield self._stop(self.course), self._stop(self.course), f", by_variant: {{{copies}}}"
        else:
            column = self.key.start_mark.column
            head = f"{self.line_end}{' ' * column}by_variant:"
            lines = head + "".join(self._in_lines(name, column + 2) for name in others)
            yield self._line_stop(self.course), self._line_stop(self.course), lines

    def _beside(self, stated: yaml.Node, others: list[str]) -> Iterator[Edit]:
        """Add courses to those that are stated by variant already."""
        if getattr(stated, "flow_style", True):
            stop = end_of(self.text, stated) - 1
            yield stop, stop, "".join(f", {self._in_flow(name)}" for name in others)
        else:
            stop, column = self._line_stop(stated), stated.value[0][0].start_mark.column
            yield stop, stop, "".join(self._in_lines(name, column) for name in others)

    def _in_lines(self, variant: str, column: int) -> str:
        """Copy the course as it is written, further to the right."""
        begin = self.key.start_mark.index
        own = [(a - begin, b - begin, words) for a, b, words in self._own_shares(variant)]
        copy = apply_edits(self.text[begin : self._line_stop(self.course)], own)
        further = " " * (column + 2 - self.key.start_mark.column)
        copy = re.sub(r"\n(?=[^\r\n])", f"\n{further}", copy)
        start = f"{self.line_end}{' ' * column}{as_yaml(variant)}:"
        return f"{start}{self.line_end}{' ' * (column + 2)}{copy}"

    def _in_flow(self, variant: str) -> str:
        """Write the course anew, in one line."""
        course = self.stated[self.key.value]
        if self.key.value == "history":
            course = [_of_variant(regime, variant) for regime in course]
        return as_yaml({variant: {self.key.value: course}})[1:-1]

    def _own_shares(self, variant: str) -> Iterator[Edit]:
        """Replace the shares by variant of each regime by those of one."""
        regimes = self.course.value if self.key.value == "history" else []
        for node, regime in zip(regimes, self.stated.get("history", ()), strict=True):
            for key, value in node.value:
                if key.value == "by_variant":
                    shares = as_yaml(_of_variant(regime, variant)["shares"])
                    yield key.start_mark.index, self._stop(value), f"shares: {shares}"

    def _stop(self, node: yaml.Node) -> int:
        return end_of(self.text, node)

    def _line_stop(self, node: yaml.Node) -> int:
        return line_stop(self.text, self._stop(node))


def _of_variant(regime: dict[str, Any], variant: str) -> dict[str, Any]:
    """Give what a regime states, with the shares of one variant in place of those by variant."""
    return {
        ("shares" if key == "by_variant" else key): value[variant] if key == "by_variant" else value
        for key, value in regime.items()
    }
