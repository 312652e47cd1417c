"""Keys of the site file with kind and choices, from its pydantic models."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import date, time
from functools import cache
from itertools import combinations
from types import NoneType, UnionType
from typing import Annotated, Any, Literal, NamedTuple, Union, get_args, get_origin

from pydantic import BaseModel

from fieldfare.analysis.plant.site import Site

JOIN = ", "
"""Between the words of a list in one field."""
_KINDS: dict[Any, str] = {float: "number", int: "number", date: "date", time: "time", str: "text"}


class Key(NamedTuple):
    """A key of the site file. key : dotted; `#` stands for a place in a list
    kind : text, number, date, time, choice, words (a list of words in one field) or table
    choices : options; the first is the default, empty: not given"""

    key: str
    kind: str
    choices: tuple[str, ...] = ()
    needed: bool = False


@cache
def keys() -> dict[str, Key]:
    """Keys by dotted name, in the order of the models."""
    return {k.key: k for k in _of_model(Site, "", given=True)}


def _of_model(model: type[BaseModel], path: str, *, given: bool) -> Iterator[Key]:
    """given : the section exists even if the file has none of its keys"""
    for name, field in model.model_fields.items():
        key, kind = f"{path}{field.alias or name}", _bare(field.annotation)
        default = None if field.is_required() else field.default
        if isinstance(kind, type) and issubclass(kind, BaseModel):
            yield from _of_model(kind, f"{key}.", given=field.is_required() or default is not None)
        elif get_origin(kind) is tuple and get_args(kind)[-1] is Ellipsis:
            yield from _of_list(_bare(get_args(kind)[0]), key)
        else:
            yield _plain(key, kind, default if given else None, needed=given and field.is_required())


def _of_list(kind: Any, key: str) -> Iterator[Key]:
    if isinstance(kind, type) and issubclass(kind, BaseModel):
        yield from _of_model(kind, f"{key}.#.", given=False)
    elif get_origin(kind) is tuple:
        for n, part in enumerate(get_args(kind)):
            yield _plain(f"{key}.#.{n}", _bare(part), None)
    else:
        words = [str(c) for c in get_args(kind)] if get_origin(kind) is Literal else []
        sets = (c for n in range(1, len(words) + 1) for c in combinations(words, n))
        yield Key(key, "words", ("", *map(JOIN.join, sets)) if words else ())


def _plain(key: str, kind: Any, default: Any, *, needed: bool = False) -> Key:
    if get_origin(kind) is dict:
        return Key(key, "table")
    if kind is bool:
        return Key(key, "choice", ("false", "true") if default is not None else ("", "false", "true"))
    if get_origin(kind) is Literal:
        words = [str(c) for c in get_args(kind)]
        first = "" if default is None else str(default)
        return Key(key, "choice", (first, *(w for w in words if w != first)), needed)
    return Key(key, _KINDS[kind], (), needed)


def _bare(kind: Any) -> Any:
    """A type without constraints and None."""
    while True:
        if get_origin(kind) is Annotated:
            kind = get_args(kind)[0]
        elif get_origin(kind) in (Union, UnionType):
            (kind,) = (a for a in get_args(kind) if a is not NoneType)
        else:
            return kind
