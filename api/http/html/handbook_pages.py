"""The handbook's pages."""

from __future__ import annotations

from typing import Annotated

from fastapi import HTTPException, Path, Request
from fastapi.responses import HTMLResponse, Response

from fieldfare.api.http.html.site_pages import reader, visitor
from fieldfare.api.http.routers import page_router
from fieldfare.dashboards import pages

router = page_router()


@router.get("/handbook")
def handbook(request: Request) -> Response:
    """List all entries, for everyone who may see a home."""
    reader(request, "site.read")
    return HTMLResponse(pages.handbook_page(visitor(request)))


@router.get("/handbook/{key}")
def handbook_entry(request: Request, key: Annotated[str, Path(max_length=60)]) -> Response:
    """Show one entry: how a finding or figure is computed."""
    reader(request, "site.read")
    try:
        return HTMLResponse(pages.handbook_entry_page(key, visitor(request)))
    except KeyError:
        raise HTTPException(404, f"the handbook has no entry {key!r}") from None
