"""A claims file weighed: the page at once, then each claim as it has been weighed."""

from __future__ import annotations

import posixpath
import threading
from contextlib import AbstractContextManager
from dataclasses import dataclass, replace
from importlib.util import find_spec
from pathlib import Path

from starlette.responses import Response

from dating.bench.file_cache import FileCache
from dating.bench.requests import BadRequestError, PageRequest, filled
from dating.bench.workspace import NotThereError
from dating.claims.evidence import Evidence
from dating.claims.files import Manuscript, manuscript_of
from dating.claims.statements import Claim, Claims
from dating.claims.weighing import MOST_DRAWS, weighed
from dating.learning.corpus import Corpus
from dating.learning.storage import is_learned_of
from dating.reading import InputError, Problem
from dating.words.claim_clauses import clause
from dating.words.claims import ClaimWords, claim_words
from dating.words.claims_text import scale_words
from dating.words.page import PagePicture
from dating.words.soundness import on_soundness

JUDGED_HERE = (
    "No evidence about production is weighed: what is said of it is what the assessors believe, "
    "and nothing to print. Choose dated instruments, and what was learned from them."
)


@dataclass(frozen=True)
class ChosenFiles:
    """Files that claims are weighed with, by name; empty where there is none.

    Parameters
    ----------
    file : str
        The claims.
    maker : str
        The maker file.
    learned : str
        What was learned.
    corpus : str
        Dated instruments.
    """

    file: str
    maker: str
    learned: str
    corpus: str


@dataclass(frozen=True)
class ClaimRow:
    """One claim as the page shows it, before and after it is weighed.

    Parameters
    ----------
    number : int
        Its place in the file, from 1.
    name, sentence, place, source : str
        As the file has them.
    says : tuple of str
        What is claimed, in our words.
    verdict : ClaimWords or None
        What was found; None before it is weighed.
    picture : PagePicture or None
        Where it is about one changeover alone, and weighed.
    unsound : tuple of str
        That what was learned is not to be relied on, where it is not.
    """

    number: int
    name: str
    sentence: str
    place: str
    source: str
    says: tuple[str, ...]
    verdict: ClaimWords | None = None
    picture: PagePicture | None = None
    unsound: tuple[str, ...] = ()


class Scales:
    """Claims with what they are weighed by; each is weighed once.

    Parameters
    ----------
    manuscript : Manuscript
        The claims with their maker file and examinations.
    evidence : Evidence
        What they are weighed by.
    corpus : Corpus or None
        Dated instruments to be named as examples.
    drawing : context manager
        Held while a picture is drawn.
    """

    def __init__(
        self,
        manuscript: Manuscript,
        evidence: Evidence,
        corpus: Corpus | None,
        drawing: AbstractContextManager[object],
    ) -> None:
        self.manuscript, self.evidence, self.corpus = manuscript, evidence, corpus
        self._drawing = drawing
        self._verdicts: dict[str, tuple[ClaimWords, PagePicture | None]] = {}
        self._lock = threading.Lock()

    def weigh(self, claim: Claim) -> tuple[ClaimWords, PagePicture | None]:
        """Weigh one claim, or give what was found before.

        Raises InputError when no month allows what was seen on an instrument.
        """
        with self._lock:
            if claim.claim not in self._verdicts:
                first = self.manuscript.maker.period.first
                result = weighed(claim, self.evidence, self.corpus)
                self._verdicts[claim.claim] = claim_words(result, first), self._picture(claim)
            return self._verdicts[claim.claim]

    def _picture(self, claim: Claim) -> PagePicture | None:
        if any(find_spec(name) is None for name in ("matplotlib", "arviz_stats")):
            return None
        from dating.figures.claims import drawings_of  # noqa: PLC0415
        from dating.figures.pages import picture_of  # noqa: PLC0415

        with self._drawing:
            drawings = drawings_of((claim,), self.evidence, self.corpus)
            return next((picture_of(figure) for _, figure in drawings), None)


def claims(request: PageRequest) -> Response:
    """Show a claims file; each claim is weighed when the page asks for it."""
    shelf = request.shelf
    read = shelf.claims(request.require("file"))
    maker = request.query.get("maker", "") or shelf.maker_named(read.maker)
    chosen = ChosenFiles(
        request.query["file"],
        maker,
        request.query.get("learned", ""),
        request.query.get("corpus", ""),
    )
    chosen = with_learned(shelf, chosen)
    scales = scales_of(shelf, chosen)
    files = shelf.workspace.files()
    choices = {
        kind: [file.name for file in files if file.kind == kind]
        for kind in ("maker", "learned", "corpus")
    }
    return filled(
        "claims.html.j2",
        chosen=chosen,
        choices=choices,
        read=read,
        about=scales.manuscript.maker,
        rows=[row_of(read, number) for number in range(len(read.claims))],
        judged=JUDGED_HERE,
        scales=scale_words(bool(chosen.learned) or any(c.instruments() for c in read.claims)),
    )


def weigh(request: PageRequest) -> Response:
    """Weigh one claim."""
    name = request.require("claim")
    file, maker = request.field("file"), request.field("maker")
    if not file or not maker:
        raise BadRequestError("the form lacks the claims file or the maker file")
    chosen = ChosenFiles(file, maker, request.field("learned"), request.field("corpus"))
    chosen = with_learned(request.shelf, chosen)
    scales = scales_of(request.shelf, chosen)
    read = scales.manuscript.claims
    names = [claim.claim for claim in read.claims]
    if name not in names:
        raise BadRequestError("there is no claim of that name in the file")
    number = names.index(name)
    if missing := [library for library in ("scipy", "h5netcdf") if find_spec(library) is None]:
        words = f"weighing claims needs {', '.join(missing)}; install instrument-dating[learn]"
        raise InputError([Problem(file, None, "", words)])
    verdict, picture = scales.weigh(read.claims[number])
    unsound = tuple(on_soundness(scales.evidence.learned))
    row = replace(row_of(read, number), verdict=verdict, picture=picture, unsound=unsound)
    return filled("claims_weighed.html.j2", chosen=chosen, row=row)


def with_learned(shelf: FileCache, chosen: ChosenFiles) -> ChosenFiles:
    """Choose what was learned from the dated instruments, where a file of the folder has it.

    Raises NotThereError when one of the files is not there; InputError when one has problems.
    """
    if chosen.learned or not chosen.corpus:
        return chosen
    corpus = shelf.corpus(chosen.corpus, shelf.maker(chosen.maker))
    for file in shelf.workspace.files("learned"):
        states = tuple(map(shelf.state_of, (file.name, chosen.corpus, chosen.maker)))
        path = shelf.workspace.path_of(file.name)

        def fits(path: Path = path) -> bool:
            return is_learned_of(path, corpus)

        if shelf.make_once(("learned of", *states), fits, most=24):
            return replace(chosen, learned=file.name)
    return chosen


def scales_of(shelf: FileCache, chosen: ChosenFiles) -> Scales:
    """Make what claims are weighed by, or give it again while none of its files has changed.

    Raises NotThereError when one of the files is not there; InputError when one of them has
    problems, or names an examination outside the folder.
    """
    read = shelf.claims(chosen.file)
    seen = examinations_of(shelf, read, chosen.file)
    files = [chosen.file, chosen.maker, *seen, *filter(None, (chosen.learned, chosen.corpus))]
    states = tuple(shelf.state_of(name) for name in files)

    def make() -> Scales:
        maker = shelf.maker(chosen.maker)
        learned = shelf.learned(chosen.learned, maker, MOST_DRAWS) if chosen.learned else None
        corpus = shelf.corpus(chosen.corpus, maker) if chosen.corpus else None
        manuscript = manuscript_of(read, maker)
        return Scales(manuscript, Evidence(manuscript, learned), corpus, shelf.drawing)

    return shelf.make_once(("scales", chosen, states), make)


def examinations_of(shelf: FileCache, read: Claims, file: str) -> tuple[str, ...]:
    """Name the examinations of a claims file, as seen from the folder.

    Raises InputError when one is not in the folder.
    """
    names, problems = [], []
    for position, name in enumerate(read.examinations):
        inside = posixpath.normpath(posixpath.join(posixpath.dirname(file), name))
        try:
            shelf.state_of(inside)
        except NotThereError:
            words = "there is no such examination in the folder that is served"
            problems.append(read.origin.problem(("examinations", position), words, found=name))
        names.append(inside)
    if problems:
        raise InputError(problems)
    return tuple(names)


def row_of(read: Claims, number: int) -> ClaimRow:
    """Make the row of a claim."""
    claim = read.claims[number]
    says = tuple(clause(saying) for saying in claim.sayings())
    return ClaimRow(number + 1, claim.claim, claim.sentence, claim.place, claim.source, says)
