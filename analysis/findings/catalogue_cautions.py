"""Collect the cautions that a rule's code can show, from its `caution=` arguments.

A caution is put together from sentences, constants and small functions. Every sentence that can be part of it
is listed; what depends on the home stands in angle marks by its name in the code.
"""

from __future__ import annotations

import ast
import inspect
import textwrap
from collections.abc import Iterator
from functools import cache
from types import FunctionType, ModuleType
from typing import Any

_SHORTEST = 20
"""Shorter strings in a caution's code are keys and words to compare with."""


def cautions_of(function: FunctionType) -> tuple[str, ...]:
    """Sentences of the `caution=` arguments of a function, in their order, each once."""
    found: dict[str, None] = {}
    for node in ast.walk(_tree(function)):
        if isinstance(node, ast.keyword) and node.arg == "caution":
            found |= dict.fromkeys(_texts(node.value, function.__globals__))
    return tuple(found)


@cache
def _tree(function: FunctionType) -> ast.Module:
    try:
        return ast.parse(textwrap.dedent(inspect.getsource(function)))
    except OSError:  # a method that dataclasses made has no source
        return ast.Module([], [])


def _texts(node: ast.AST, known: dict[str, Any]) -> Iterator[str]:
    if isinstance(node, ast.Constant):
        yield from _kept(node.value)
    elif isinstance(node, ast.JoinedStr):
        words = ""
        for part in node.values:
            if isinstance(part, ast.Constant):
                words += str(part.value)
                continue
            inner = part.value if isinstance(part, ast.FormattedValue) else part
            whole = tuple(_texts(inner, known))
            yield from whole
            words += "" if whole else f"‹{ast.unparse(inner).split('.')[-1].replace('_', ' ')}›"
        yield from _kept(words)
    elif isinstance(node, ast.Name | ast.Attribute):
        yield from _of_value(_value(node, known))
    elif isinstance(node, ast.Call):
        yield from _of_value(_value(node.func, known))
    else:
        for child in ast.iter_child_nodes(node):
            yield from _texts(child, known)


def _value(node: ast.AST, known: dict[str, Any]) -> Any:
    if isinstance(node, ast.Name):
        return known.get(node.id)
    if isinstance(node, ast.Attribute):
        owner = _value(node.value, known)
        return getattr(owner, node.attr, None) if isinstance(owner, ModuleType) else None
    return None


def _of_value(value: Any) -> Iterator[str]:
    if isinstance(value, FunctionType) and value.__module__.startswith("fieldfare."):
        for definition in _tree(value).body:
            if isinstance(definition, ast.FunctionDef):
                for statement in definition.body[1 if ast.get_docstring(definition) else 0 :]:
                    yield from _texts(statement, value.__globals__)
    else:
        yield from _kept(value)


def _kept(value: Any) -> Iterator[str]:
    if isinstance(value, str) and len(value.strip()) >= _SHORTEST:
        yield value.strip()
