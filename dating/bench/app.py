"""The application: every address of the pages in one place."""

from __future__ import annotations

from pathlib import Path

from starlette.applications import Starlette
from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import Response
from starlette.routing import Mount, Route
from starlette.staticfiles import StaticFiles
from starlette.types import ASGIApp

from dating.bench import claims_page, guide_page, note_page
from dating.bench.comparison_page import progress, side_by_side
from dating.bench.examination_page import change, examine, explain, redraw, save
from dating.bench.file_cache import FileCache
from dating.bench.guard import Guard, GuardedApplication
from dating.bench.guide_markup import PICTURES as PICTURES_ADDRESS
from dating.bench.judgement_page import judge, redraw_judgement, save_judgement
from dating.bench.known_page import add_known
from dating.bench.maker_page import maker_page
from dating.bench.overview import overview
from dating.bench.requests import Page, answering, trouble
from dating.bench.workspace import Workspace
from dating.words.guide import PICTURES

_STATIC = Path(__file__).parent / "static"

LOOKED_AT: dict[str, Page] = {
    "/": overview,
    "/maker": maker_page,
    "/maker/judge": judge,
    "/claims": claims_page.claims,
    "/compare": side_by_side,
    "/note": note_page.note,
    "/examine": examine,
    "/guide": guide_page.guide,
    "/guide/keys": guide_page.keys,
    guide_page.RULES: guide_page.rules,
}
"""Pages that are looked at, by address."""
SENT: dict[str, Page] = {
    "/maker/judge/redraw": redraw_judgement,
    "/maker/judge/save": save_judgement,
    "/claims/weigh": claims_page.weigh,
    "/compare/known": add_known,
    "/compare/progress": progress,
    "/note/preview": note_page.preview,
    "/note/file": note_page.file,
    "/examine/redraw": redraw,
    "/examine/save": save,
    "/examine/explain": explain,
    "/examine/what-if": change,
}
"""Pages that a form is sent to, by address."""


def make_app(workspace: Workspace, guard: Guard) -> ASGIApp:
    """Make the pages of a folder."""
    routes = [
        *(Route(path, answering(page), methods=["GET"]) for path, page in LOOKED_AT.items()),
        *(Route(path, answering(page), methods=["POST"]) for path, page in SENT.items()),
        Mount("/static", StaticFiles(directory=_STATIC)),
        Mount(PICTURES_ADDRESS, StaticFiles(directory=PICTURES)),
    ]
    app = Starlette(routes=routes, exception_handlers={HTTPException: _refused})
    app.state.shelf = FileCache(workspace)
    return GuardedApplication(app, guard)


async def _refused(request: Request, error: Exception) -> Response:  # noqa: ARG001
    status = error.status_code if isinstance(error, HTTPException) else 500
    words = {404: "There is no such page.", 405: "That page does not accept this kind of request."}
    return trouble(status, {words.get(status, "The request cannot be answered."): ""})
