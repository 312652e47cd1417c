"""Collect what each finding uses from its rule's code: needs, limits, causes, severities, cautions.

The names stand in the code as string constants, so a rule and everything it calls are searched for them. This
keeps the handbook equal to the code without a second table.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from functools import cache
from types import CodeType, FunctionType, ModuleType
from typing import Any, NamedTuple

from fieldfare.analysis.findings.catalogue_cautions import cautions_of
from fieldfare.analysis.findings.context import Need
from fieldfare.analysis.findings.judge import RULES
from fieldfare.analysis.findings.limits import LIMITS
from fieldfare.analysis.findings.model import SEVERITIES, Severity

_SEARCHED = ("fieldfare.analysis.findings.", "fieldfare.analysis.expectation.")
# Shared machinery: it runs every rule, or names every limit.
_SKIPPED = frozenset(
    f"fieldfare.analysis.findings.{name}"
    for name in (
        "catalogue",
        "catalogue_cautions",
        "context",
        "judge",
        "limits",
        "exclusions",
        "excuses",
        "model",
    )
)


class Catalogued(NamedTuple):
    """One finding's own names.

    needs : what must be measured. reads : quantities that it rests on
    limits : names in `LIMITS`. severities : that it can have, mildest first
    strings : every string constant of its code, for a caller who looks for names of another table
    cautions : sentences that its caution can be made of
    """

    code: str
    needs: tuple[Need, ...]
    reads: frozenset[str]
    limits: tuple[str, ...]
    severities: tuple[Severity, ...]
    strings: frozenset[str]
    cautions: tuple[str, ...]


@cache
def codes() -> frozenset[str]:
    """Every finding code that a rule can give."""
    return frozenset(rule.code for rule in RULES)


@cache
def limits_of_no_finding() -> tuple[str, ...]:
    """Limits that no finding's code names: those of the facts, the verdict and the answers to questions."""
    used = {name for code in codes() for name in catalogued(code).limits}
    return tuple(name for name in LIMITS if name not in used)


@cache
def catalogued(code: str) -> Catalogued:
    """A finding's own names; a code with two rules has those of both. Raises KeyError for an unknown code."""
    rules = [rule for rule in RULES if rule.code == code]
    if not rules:
        raise KeyError(code)
    strings: set[str] = set()
    cautions: dict[str, None] = {}
    for rule in rules:
        for function in _reached(rule.check):
            strings |= _strings(function)
            cautions |= dict.fromkeys(cautions_of(function))
    return Catalogued(
        code,
        tuple(need for rule in rules for need in rule.needs),
        frozenset().union(*(rule.reads for rule in rules)),
        tuple(name for name in LIMITS if name in strings),
        tuple(s for s in SEVERITIES if s in strings),
        frozenset(strings),
        tuple(cautions),
    )


def _reached(start: Callable[..., Any]) -> list[FunctionType]:
    """A rule's function and every function of the findings and expectations that it calls."""
    waiting, reached = [start], dict[int, FunctionType]()
    while waiting:
        function = waiting.pop()
        if not isinstance(function, FunctionType) or id(function) in reached or not _is_searched(function):
            continue
        reached[id(function)] = function
        waiting += _called(function)
    return list(reached.values())


def _is_searched(function: FunctionType) -> bool:
    module = function.__module__
    return module.startswith(_SEARCHED) and module not in _SKIPPED


def _called(function: FunctionType) -> Iterator[Any]:
    names = _names(function.__code__)
    for name in names:
        thing = function.__globals__.get(name)
        if isinstance(thing, ModuleType):
            yield from (vars(thing)[n] for n in names if n in vars(thing))
        elif isinstance(thing, type):
            yield from vars(thing).values()
        else:
            yield thing
    for cell in function.__closure__ or ():
        yield cell.cell_contents


def _codes(code: CodeType) -> Iterator[CodeType]:
    """A function's code and that of the functions and comprehensions inside it."""
    yield code
    for constant in code.co_consts:
        if isinstance(constant, CodeType):
            yield from _codes(constant)


def _names(code: CodeType) -> set[str]:
    return {name for part in _codes(code) for name in part.co_names}


def _strings(function: FunctionType) -> set[str]:
    """String constants of a function, and of the module's tables that it names."""
    found: set[str] = set()
    for part in _codes(function.__code__):
        found |= set(_texts(part.co_consts))
    for name in _names(function.__code__):
        value = function.__globals__.get(name)
        if isinstance(value, str | tuple | list | dict | frozenset | set) and value is not LIMITS:
            found |= set(_texts(value))
    found |= set(_texts(function.__defaults__ or ()))
    return found


def _texts(value: Any) -> Iterator[str]:
    if isinstance(value, str):
        yield value
    elif isinstance(value, dict):
        for key, held in value.items():
            yield from _texts(key)
            yield from _texts(held)
    elif isinstance(value, tuple | list | frozenset | set):
        for held in value:
            yield from _texts(held)
