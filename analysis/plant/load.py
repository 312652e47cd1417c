"""Site files: from TOML text to a Site, or to every problem in it with its key and line."""

from __future__ import annotations

import re
import tomllib
from difflib import get_close_matches
from typing import Any, get_args

from pydantic import BaseModel, ValidationError

from analysis.errors import Problem, SiteError
from analysis.plant.site import Site


def parse_site(text: str, file: str = "site file") -> Site:
    """Read a site file's text.

    text : str, TOML by the contract's section 1. file : str, the name shown in messages
    Returns Site. Raises SiteError with every problem: key, line, what is wrong and what would be right.
    """
    try:
        data = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        raise SiteError(file, [_syntax(error)]) from None
    try:
        site = Site.model_validate(data)
    except ValidationError as error:
        raise SiteError(file, [_problem(e, data, text) for e in error.errors()]) from None
    if unknown := _unknown_limits(site, text):
        raise SiteError(file, unknown)
    return site


def _unknown_limits(site: Site, text: str) -> list[Problem]:
    from analysis.findings.limits import LIMITS

    return [
        Problem(
            f"limits.{name}", f"unknown limit{_near(name, list(LIMITS))}", _line_of(("limits", name), text)
        )
        for name in site.limits
        if name not in LIMITS
    ]


def _syntax(error: tomllib.TOMLDecodeError) -> Problem:
    found = re.search(r"\(at line (\d+), column (\d+)\)", str(error))
    message = re.sub(r"\s*\(at .*\)", "", str(error))
    return Problem("TOML", f"{message[:1].lower()}{message[1:]}", int(found.group(1)) if found else None)


def _problem(error: Any, data: dict[str, Any], text: str) -> Problem:
    path = tuple(p for p in error["loc"])
    key = _dotted(path)
    kind, given = error["type"], error.get("input")
    if kind == "extra_forbidden":
        message = f"unknown key{_near(str(path[-1]), _siblings(path))}"
    elif kind == "missing":
        message = "is missing; it must be given"
    elif kind == "value_error":
        message = str(error["ctx"]["error"])
    elif kind == "string_pattern_mismatch":
        message = f"{given!r} has the wrong form; it must match {error['ctx']['pattern']}"
    else:
        said = error["msg"].replace("Input should", "must")
        shown = f", got {given!r}" if not isinstance(given, (dict, list, tuple)) else ""
        message = f"{said}{shown}"
    return Problem(key or "site file", message, _line_of(path, text))


def _dotted(path: tuple[Any, ...]) -> str:
    out = ""
    for part in path:
        out += f"[{part + 1}]" if isinstance(part, int) else f".{part}" if out else str(part)
    return out


def _siblings(path: tuple[Any, ...]) -> list[str]:
    model: Any = Site
    for part in path[:-1]:
        if isinstance(part, int):
            continue
        field = next((f for n, f in model.model_fields.items() if part in (n, f.alias)), None)
        model = _model_in(field.annotation) if field else None
        if model is None:
            return []
    return [f.alias or n for n, f in model.model_fields.items()]


def _model_in(annotation: Any) -> type[BaseModel] | None:
    if isinstance(annotation, type) and issubclass(annotation, BaseModel):
        return annotation
    return next((m for a in get_args(annotation) if (m := _model_in(a))), None)


def _near(word: str, known: list[str]) -> str:
    near = get_close_matches(word, known, n=1, cutoff=0.5)
    if near:
        return f"; did you mean {near[0]}?"
    return f"; known here: {', '.join(known)}" if known else ""


def _line_of(path: tuple[Any, ...], text: str) -> int | None:
    """The line on which a key stands: a plain walk over headers and keys, enough for a message."""
    header, wanted, index = "", path, 0
    names = [p for p in path if isinstance(p, str)]
    count = next((p for p in path if isinstance(p, int)), None)
    if not names:
        return None
    best: int | None = None
    for number, line in enumerate(text.splitlines(), start=1):
        stripped = line.strip()
        if head := re.match(r"^\[\[?\s*([^\]]+?)\s*\]\]?", stripped):
            header = head.group(1)
            if stripped.startswith("[[") and header.split(".")[-1] == _last_table(wanted):
                index += 1
            if header == ".".join(names[:-1]) or header == ".".join(names):
                best = number if count is None or index == count + 1 else best
            continue
        inside = header == ".".join(names[:-1]) or (len(names) == 1 and header == "")
        if (
            inside
            and (count is None or index == count + 1)
            and re.match(rf'^"?{re.escape(names[-1])}"?\s*=', stripped)
        ):
            return number
    return best


def _last_table(path: tuple[Any, ...]) -> str:
    for i, part in enumerate(path):
        if isinstance(part, int) and i:
            return str(path[i - 1])
    return ""
