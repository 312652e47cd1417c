"""Routers of the REST API and of pages, complete as they are defined.

An application takes their routes as they are. Including a router builds each of its routes again, for every
application and at its first request, which takes longer than all else at start.
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
