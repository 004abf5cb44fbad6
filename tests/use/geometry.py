"""Where the text of a picture stands, and how far ink reaches on a page."""

from __future__ import annotations

import re
import shutil
import subprocess
from dataclasses import dataclass
from pathlib import Path
from xml.etree import ElementTree

import numpy as np
from PIL import Image

SVG, XLINK = "{http://www.w3.org/2000/svg}", "{http://www.w3.org/1999/xlink}"
NUMBER = re.compile(r"-?\d+(?:\.\d+)?(?:e-?\d+)?")


@dataclass(frozen=True)
class Box:
    """A rectangle, in the units of its picture."""

    left: float
    top: float
    right: float
    bottom: float

    @property
    def width(self) -> float:
        return self.right - self.left

    def holds(self, other: Box, slack: float = 0.0) -> bool:
        across = self.left - slack <= other.left and other.right <= self.right + slack
        return across and self.top - slack <= other.top and other.bottom <= self.bottom + slack

    def meets(self, other: Box) -> bool:
        apart = other.left >= self.right or self.left >= other.right
        return not (apart or other.top >= self.bottom or self.top >= other.bottom)


@dataclass(frozen=True)
class Drawing:
    """A picture: its frame, its axes, and the lines of text in it, drawn as outlines."""

    frame: Box
    axes: Box
    texts: dict[str, Box]


def drawing(path: Path) -> Drawing:
    """Measure a picture in SVG whose text is drawn as outlines of letters."""
    parser = ElementTree.XMLParser(target=ElementTree.TreeBuilder(insert_comments=True))
    root = ElementTree.parse(path, parser).getroot()
    left, top, width, height = map(float, root.get("viewBox").split())
    outlines = {node.get("id"): node for node in root.iter(f"{SVG}path") if node.get("id")}
    axes = root.find(f".//{SVG}g[@id='axes_1']/{SVG}g[@id='patch_2']/{SVG}path")
    texts = {}
    for group in root.iter(f"{SVG}g"):
        if not (group.get("id") or "").startswith("text_"):
            continue
        words = [node.text.strip() for node in group.iter(ElementTree.Comment)]
        corners = np.concatenate(_corners(group, np.eye(3), outlines) or [np.full((1, 2), np.nan)])
        if np.isfinite(corners).all():
            texts[" / ".join(words)] = _box(corners)
    frame = Box(left, top, left + width, top + height)
    return Drawing(frame, _box(_points(axes.get("d"))), texts)


def _corners(node, matrix, outlines) -> list[np.ndarray]:
    if not isinstance(node.tag, str) or node.tag == f"{SVG}defs":
        return []
    matrix = matrix @ _matrix(node.get("transform", ""))
    if node.tag == f"{SVG}use":
        shift = np.eye(3)
        shift[:2, 2] = float(node.get("x", 0)), float(node.get("y", 0))
        outline = outlines[node.get(f"{XLINK}href")[1:]]
        points = _points(outline.get("d") or "")
        shift = shift @ _matrix(outline.get("transform", ""))
        if not len(points):
            return []
        homogeneous = np.column_stack([points, np.ones(len(points))])
        return [(homogeneous @ (matrix @ shift).T)[:, :2]]
    return [found for child in node for found in _corners(child, matrix, outlines)]


def _matrix(transform: str) -> np.ndarray:
    result = np.eye(3)
    for name, inside in re.findall(r"(\w+)\(([^)]*)\)", transform):
        values = [float(text) for text in NUMBER.findall(inside)]
        step = np.eye(3)
        if name == "translate":
            step[:2, 2] = values[0], values[1] if len(values) > 1 else 0
        elif name == "scale":
            step[0, 0], step[1, 1] = values[0], values[-1]
        elif name == "rotate":
            angle = np.radians(values[0])
            step[:2, :2] = [[np.cos(angle), -np.sin(angle)], [np.sin(angle), np.cos(angle)]]
        else:
            raise AssertionError(f"{name} is not read here")
        result = result @ step
    return result


def _points(outline: str) -> np.ndarray:
    return np.array([float(text) for text in NUMBER.findall(outline)]).reshape(-1, 2)


def _box(points: np.ndarray) -> Box:
    return Box(*points.min(axis=0), *points.max(axis=0))


def page_of(path: Path, folder: Path) -> np.ndarray:
    """Turn the first page of a PDF into brightness, (row, column) from 0 to 255."""
    tool = shutil.which("pdftoppm")
    assert tool
    options = ["-r", "100", "-png", "-singlefile", "-f", "1", "-l", "1"]
    subprocess.run([tool, *options, str(path), str(folder / "page")], check=True)
    return brightness(folder / "page.png")


def brightness(path) -> np.ndarray:
    """Read a picture as brightness, (row, column) from 0 to 255, on white paper."""
    with Image.open(path) as image:
        rgba = image.convert("RGBA")
        paper = Image.new("RGBA", rgba.size, "white")
        return np.asarray(Image.alpha_composite(paper, rgba).convert("L"))


def longest_line(page: np.ndarray) -> tuple[int, int, int]:
    """Find the longest dark horizontal line: its row, its first column and the one after it."""
    best = (0, 0, 0)
    for row, dark in enumerate(page < 110):
        if dark.sum() <= best[2] - best[1]:
            continue
        edges = np.flatnonzero(np.diff(np.concatenate([[0], dark.astype(int), [0]])))
        starts, ends = edges[::2], edges[1::2]
        longest = int(np.argmax(ends - starts))
        if ends[longest] - starts[longest] > best[2] - best[1]:
            best = (row, int(starts[longest]), int(ends[longest]))
    return best


def ink(page: np.ndarray) -> Box:
    """Return the rectangle of all that is not paper."""
    rows, columns = np.nonzero(page < 245)
    return Box(columns.min(), rows.min(), columns.max() + 1, rows.max() + 1)
