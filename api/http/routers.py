"""Routers of the REST API and of pages, which build their routes on definition.

The application reuses these routes. FastAPI's `include_router` would rebuild each one, which takes longer
than the rest of the start.
"""

from __future__ import annotations

from fastapi import APIRouter
from fastapi.routing import APIRoute

from fieldfare.api.http.problems import PROBLEMS

PREFIX = "/api/v1"


def rest_router(tag: str, prefix: str = PREFIX) -> APIRouter:
    """Routes of the REST API. tag : the heading they have in the description; prefix : begins each path"""
    return APIRouter(prefix=prefix, tags=[tag], responses=PROBLEMS, generate_unique_id_function=_operation_id)


def page_router() -> APIRouter:
    """Routes of pages and forms, which the API's description leaves out."""
    return APIRouter(include_in_schema=False)


def _operation_id(route: APIRoute) -> str:
    return route.name
