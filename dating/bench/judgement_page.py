"""The page of one judgement: dragged, typed, drawn, said back in words, and saved."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from functools import partial
from typing import Any

import numpy as np
from starlette.responses import Response

from dating.bench.file_cache import FileCache
from dating.bench.forms import place_text
from dating.bench.judgement_form import (
    JudgementFields,
    assessors_at,
    entry_at,
    entry_of,
    judged_with,
    opinion_data,
    opinion_of,
    pool,
)
from dating.bench.judgement_pictures import (
    WIDTHS,
    JudgementPicture,
    RampPicture,
    Window,
    density_picture,
    happened,
    ramp_of,
    ramp_picture,
    window_of,
)
from dating.bench.judgement_places import OPINIONS, JudgementPlace, spots_of
from dating.bench.judgement_words import in_words, pooled_words, value_words
from dating.bench.requests import BadRequestError, PageRequest, check_folder, filled
from dating.bench.workspace import ChangedError
from dating.distributions import Pool
from dating.maker import Maker
from dating.reading import InputError, KeyPath
from dating.splicing import rewritten, stated_at
from dating.statements import Judged, Opinion
from dating.words.phrases import percent
from dating.yaml_text import as_yaml


@dataclass(frozen=True)
class Case:
    """One assessor's judgement in one maker file.

    Parameters
    ----------
    file : str
        Name of the maker file.
    maker : Maker
        As it is on disk.
    spot : JudgementPlace
        The judgement.
    index : int or None
        Position of the assessor; None where there is no list of assessors.
    count : int
        How many assessors there are.
    """

    file: str
    maker: Maker
    spot: JudgementPlace
    index: int | None
    count: int

    @property
    def path(self) -> KeyPath:
        """Keys down to what this assessor says."""
        return self.spot.path if self.index is None else (*self.spot.path, self.index)

    @property
    def place(self) -> str:
        """The same as the address has it."""
        return place_text(self.path)

    def entry(self) -> JudgementFields:
        """Take what the file states into fields."""
        return entry_at(self.maker.origin.data, self.spot, self.index)


@dataclass(frozen=True)
class JudgementView:
    """What the page says of a judgement.

    Parameters
    ----------
    window : Window
        The stretch of the axis.
    densities : tuple of JudgementPicture
        One a width.
    ramps : tuple of JudgementPicture
        One a width; empty where nothing follows, as for a mark.
    words : tuple of str
        The judgement in words.
    together : str
        All assessors in words; empty for one.
    ramp_words : str
        The ramp in words.
    months : tuple of (str, str)
        The ramp month by month, where it is neither none nor all.
    """

    window: Window
    densities: tuple[JudgementPicture, ...]
    ramps: tuple[JudgementPicture, ...]
    words: tuple[str, ...]
    together: str
    ramp_words: str
    months: tuple[tuple[str, str], ...]


def judge(request: PageRequest) -> Response:
    """Show one judgement of a maker file."""
    case = case_of(request.shelf, request.require("file"), request.require("place"))
    return _page(request, case, case.entry(), ("", ""))


def redraw_judgement(request: PageRequest) -> Response:
    """Draw a judgement as the form has it, and say it back."""
    case = _case_sent(request)
    entry = entry_of(request.fields, case.spot.kind)
    ends = (request.field("from"), request.field("to"))
    return _page(request, case, entry, ends, version=request.field("version"))


def save_judgement(request: PageRequest) -> Response:
    """Write a judgement into the maker file; nothing else of the file changes."""
    check_folder(request)
    file, place = request.field("file"), request.field("place")
    text, now = request.shelf.workspace.read(file)
    version = request.field("version")
    if version != now:
        return _conflict(request, text, file, place)
    case = case_of(request.shelf, file, place)
    entry = entry_of(request.fields, case.spot.kind)
    opinion_of(entry, case.spot, case.maker, file)
    new_text = rewritten(
        text, case.path, opinion_data(entry, case.spot, case.index), case.maker, file
    )
    if new_text != text:
        try:
            request.shelf.workspace.save(file, new_text, now)
        except ChangedError as error:
            return _conflict(request, error.text, file, place)
    case = case_of(request.shelf, file, place)
    ends = (request.field("from"), request.field("to"))
    message = "Saved." if new_text != text else "No changes to save."
    return _page(request, case, case.entry(), ends, message=message)


def case_of(shelf: FileCache, file: str, place: str) -> Case:
    """Find a judgement by its place.

    Raises BadRequestError when the maker file has no such judgement.
    """
    maker = shelf.maker(file)
    spots, assessor = spots_of(maker), 0
    spot = spots.get(place)
    if spot is None:
        above, _, last = place.rpartition(".")
        spot = spots.get(above)
        if spot is None or not last.isdecimal() or len(last) > 4:
            raise BadRequestError(f"{file} has no judgement at {place[:200]!r}")
        assessor = int(last)
    count = assessors_at(maker.origin.data, spot)
    if (count is None and spot.place != place) or assessor >= (count or 1):
        raise BadRequestError(f"{file} has no such assessor at {place[:200]!r}")
    return Case(file, maker, spot, None if count is None else assessor, count or 1)


def shown_of(case: Case, opinion: Opinion, ends: tuple[str, str]) -> JudgementView:
    """Draw and say a judgement."""
    spot, mine = case.spot, opinion.distribution()
    judged = judged_with(spot, case.index, opinion)
    together = pool(judged)
    points = np.array(opinion.triple())
    window = window_of(spot.kind, opinion.triple(), ends)
    ramp = _ramp(case, judged)
    return JudgementView(
        window=window,
        densities=tuple(density_picture(window, w, mine, together, points) for w in WIDTHS),
        ramps=() if ramp is None else tuple(ramp_picture(ramp, width) for width in WIDTHS),
        words=tuple(in_words(mine, opinion.coverage, spot)),
        together=pooled_words(together, spot) if isinstance(together, Pool) else "",
        ramp_words="" if ramp is None else _ramp_words(ramp, spot),
        months=() if ramp is None else tuple(_by_month(ramp)),
    )


def _page(
    request: PageRequest,
    case: Case,
    entry: JudgementFields,
    ends: tuple[str, str],
    *,
    version: str = "",
    message: str = "",
) -> Response:
    opinion = opinion_of(entry, case.spot, case.maker, case.file)
    keys = OPINIONS[case.spot.kind].keys
    by = [opinion.by for opinion in case.spot.judged.opinions]
    others = [
        (place_text((*case.spot.path, i)), by[i] or f"assessor {i + 1}") for i in range(case.count)
    ]
    return filled(
        "judge.html.j2",
        identity=request.shelf.workspace.identity,
        file=case.file,
        case=case,
        entry=entry,
        fields=list(zip(keys, entry.values, strict=True)),
        line=as_yaml(opinion_data(entry, case.spot, case.index)),
        others=others if case.index is not None else [],
        shown=shown_of(case, opinion, ends),
        version=version or case.maker.origin.fingerprint,
        row=(case.maker.origin.places.get(case.path) or case.maker.origin.places[case.spot.path])[
            0
        ],
        message=message,
        with_it=_with_it(case),
    )


def _case_sent(request: PageRequest) -> Case:
    file, place = request.field("file"), request.field("place")
    if not file or not place:
        raise BadRequestError("the form lacks file or place")
    return case_of(request.shelf, file, place)


def _conflict(request: PageRequest, text: str, file: str, place: str) -> Response:
    """Show what the file says now beside what was to be saved."""
    path, kind = _path_of(request.shelf, file, place)
    mine = ""
    if kind is not None:
        entry = entry_of(request.fields, kind.spot.kind)
        mine = as_yaml(opinion_data(entry, kind.spot, kind.index))
    theirs = stated_at(text, path) if path else None
    return filled(
        "judge_conflict.html.j2",
        409,
        file=file,
        place=place,
        theirs=theirs or "There is no such judgement in the file now.",
        mine=mine or ", ".join(request.field(key) for key in ("earliest", "likely", "latest")),
        text=text,
    )


def _path_of(shelf: FileCache, file: str, place: str) -> tuple[KeyPath, Case | None]:
    try:
        case = case_of(shelf, file, place)
    except (BadRequestError, InputError):
        return (), None
    return case.path, case


def _ramp(case: Case, judged: Judged[Any]) -> RampPicture | None:
    regime, maker = case.spot.regime, case.maker
    if regime is not None:
        key = str(case.spot.path[-1])
        return ramp_of(maker, regime, regime.model_copy(update={key: judged}))
    if case.spot.kind == "date":
        return happened(case.spot.judged.distribution(), pool(judged))
    return None


def _ramp_words(ramp: RampPicture, spot: JudgementPlace) -> str:
    month = partial(value_words, kind="date")
    levels = {level: ramp.passes(level) for level in (0.1, 0.5, 0.9)}
    low, half, high = (None if at is None else month(float(at)) for at in levels.values())
    if low is None or half is None or high is None:
        return "The chance does not reach nine in ten in the months shown."
    if spot.regime is None:
        return (
            f"The chance that it has happened passes one in ten in {low}, one in two in {half} and "
            f"nine in ten in {high}."
        )
    return (
        f"Averaged over the uncertainty, one instrument in ten has the new form in {low}, half "
        f"in {half} and nine in ten in {high}."
    )


def _by_month(ramp: RampPicture) -> Iterator[tuple[str, str]]:
    for position_, share in enumerate(ramp.shares):
        if 0.005 <= share <= 0.995:
            yield value_words(float(ramp.first + position_), "date"), percent(float(share))


def _with_it(case: Case) -> list[str]:
    """Name the changeovers that come with an event."""
    if case.spot.regime is not None or case.spot.kind != "date":
        return []
    name = case.spot.about
    return list(
        dict.fromkeys(
            f"{spot.about}, {spot.what}"
            for spot in spots_of(case.maker).values()
            if spot.regime is not None and spot.regime.event == name and spot.path[-1] == "lag"
        )
    )
