"""Pages for the household and for signing in, in the reader's language."""

from __future__ import annotations

from collections.abc import Callable

from fastapi.responses import HTMLResponse
from starlette.requests import Request

from fieldfare.analysis.plant.site import Site
from fieldfare.dashboards.text.language import preferred, speaking


def in_readers_language(
    request: Request, make: Callable[[], str], *, site: Site | None = None, status: int = 200
) -> HTMLResponse:
    """Render a page in the language of the reader's browser, else the home's, else English.

    make : renders the page. site : the home it is about
    """
    own = site.site.language if site is not None else None
    language = preferred(request.headers.get("accept-language", ""), own)
    with speaking(language):
        page = make()
    return HTMLResponse(page, status, headers={"Vary": "Accept-Language", "Content-Language": language})
