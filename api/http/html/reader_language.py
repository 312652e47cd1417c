"""Pages for the household and for signing in, in the reader's language."""

from __future__ import annotations

from collections.abc import Callable

from fastapi.responses import HTMLResponse
from starlette.requests import Request

from fieldfare.analysis.plant.site import Site
from fieldfare.dashboards.text.language import preferred, speaking


def wishes(request: Request) -> str:
    """The reader's languages as an Accept-Language header: the one of their own settings, else the
    browser's."""
    return getattr(request.state, "language", "") or request.headers.get("accept-language", "")


def in_readers_language(
    request: Request, make: Callable[[], str], *, site: Site | None = None, status: int = 200
) -> HTMLResponse:
    """Render a page in the language of the reader's own settings, else of the browser, else of the home, else
    in English.

    make : renders the page. site : the home it is about
    """
    own = site.site.language if site is not None else None
    language = preferred(wishes(request), own)
    with speaking(language):
        page = make()
    return HTMLResponse(page, status, headers={"Vary": "Accept-Language", "Content-Language": language})
