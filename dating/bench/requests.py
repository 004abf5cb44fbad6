"""What a page is asked, and how it answers: plain data in, a template filled, errors in words."""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any
from urllib.parse import parse_qsl

from starlette.concurrency import run_in_threadpool
from starlette.responses import HTMLResponse, Response

from dating.bench.file_cache import FileCache
from dating.bench.workspace import ChangedError, NotThereError
from dating.reading import InputError, Problem
from dating.words.page import TEMPLATES, templates_in
from dating.words.spacing import keep_per_cent

if TYPE_CHECKING:
    from starlette.requests import Request

_TEMPLATES = Path(__file__).parent / "templates"
MOST_FIELDS = 2_000


class BadRequestError(Exception):
    """The request lacks something, or says what no page of ours would send."""


@dataclass(frozen=True)
class PageRequest:
    """One request as a page sees it.

    Parameters
    ----------
    shelf : FileCache
        The folder, and what has been read from it.
    query : mapping of str to str
        What stands behind the question mark; the last of equal names.
    fields : mapping of str to str
        The fields of the form that was sent, the last of equal names; empty for a page that is
        looked at.
    """

    shelf: FileCache
    query: Mapping[str, str]
    fields: Mapping[str, str]

    def field(self, name: str) -> str:
        """Give one field of the form."""
        return self.fields.get(name, "").strip()

    def require(self, name: str) -> str:
        """Give what stands behind the question mark, which must be there.

        Raises BadRequestError when it is missing or empty.
        """
        value = self.query.get(name, "")
        if not value:
            raise BadRequestError(f"the address lacks {name}")
        return value


def check_folder(request: PageRequest) -> None:
    """Make sure that a form is saved in the folder that it was opened from.

    Raises InputError when another folder is served under the same address by now.
    """
    if request.field("folder") not in {"", request.shelf.workspace.identity}:
        message = "a different folder is now being served here; nothing was saved"
        allowed = "serve the folder that the form was opened from, then save"
        raise InputError([Problem("the form", None, "", message, "", allowed)])


type Page = Callable[[PageRequest], Response]


def filled(template: str, status: int = 200, **content: Any) -> Response:
    """Answer with a template."""
    page = templates_in(_TEMPLATES, TEMPLATES).get_template(template).render(**content)
    return HTMLResponse(_keeping_per_cent(page).encode("utf-8", "replace"), status)


_AS_IT_IS = re.compile(r"(<textarea\b.*?</textarea>|<pre\b.*?</pre>|<[^>]*>)", re.DOTALL)


def _keeping_per_cent(page: str) -> str:
    """Keep per cent to its number, but change nothing that a form sends back or a file says."""
    parts = _AS_IT_IS.split(page)
    parts[::2] = map(keep_per_cent, parts[::2])
    return "".join(parts)


def answering(page: Page) -> Callable[[Request], Any]:
    """Turn a page into an endpoint: the form is read, and errors are told in words."""

    async def endpoint(request: Request) -> Response:
        try:
            fields = _fields(await request.body())
            page_request = PageRequest(request.app.state.shelf, dict(request.query_params), fields)
            return await run_in_threadpool(page, page_request)
        except BadRequestError as error:
            return trouble(400, {str(error): ""})
        except NotThereError as error:
            return trouble(404, {f"There is no file of that name here: {error}.": ""})
        except ChangedError as error:
            return trouble(409, {str(error): ""})
        except InputError as error:
            without_root = request.app.state.shelf.workspace.without_root
            shown = {without_root(str(each)): each.key for each in error.problems[:50]}
            return trouble(422, shown)

    return endpoint


def trouble(status: int, problems: Mapping[str, str]) -> Response:
    """Answer with what is wrong, and with the key that it is about."""
    fields = {words: key.rpartition(", ")[2] for words, key in problems.items()}
    return filled("trouble.html.j2", status, problems=fields)


def _fields(body: bytes) -> dict[str, str]:
    """Read the fields of a form."""
    try:
        pairs = parse_qsl(
            body.decode("utf-8", "replace"),
            keep_blank_values=True,
            max_num_fields=MOST_FIELDS,
            errors="replace",
        )
    except ValueError:
        raise BadRequestError(f"a form has at most {MOST_FIELDS:,} fields") from None
    return dict(pairs)
