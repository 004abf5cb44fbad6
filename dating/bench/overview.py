"""The first page: what lies in the folder, and what can be done with it."""

from __future__ import annotations

from starlette.responses import Response

from dating.bench.asking import Asked, filled


def overview(asked: Asked) -> Response:
    """List the files of the folder by kind.

    Parameters
    ----------
    asked : Asked
        The request.

    Returns
    -------
    Response
        A page.
    """
    files = asked.shelf.workspace.files()
    kinds = ("maker", "examination", "claims", "lots", "corpus", "learned")
    by_kind = {kind: [file.name for file in files if file.kind == kind] for kind in kinds}
    passing = asked.shelf.workspace.passing
    return filled("overview.html.j2", by_kind=by_kind, passing=passing)
