"""Parse site files: TOML text to a Site, or to all problems with key and line."""

from __future__ import annotations

import re
import tomllib
from collections.abc import Mapping
from typing import Any, get_args

from pydantic import BaseModel, ValidationError

from fieldfare.analysis.errors import Problem, SiteError
from fieldfare.analysis.plant.admission import not_admitted
from fieldfare.analysis.plant.fields import IS_NEW
from fieldfare.analysis.plant.refusals import did_you_mean, nearest, refusal, shortened
from fieldfare.analysis.plant.site import Site

LARGEST_FILE = 500_000
"""Characters of a site file; one with hundreds of points has some 50,000."""
MOST_PROBLEMS = 50
"""Maximum of reported problems per file."""


def parse_site(text: str, file: str = "site file") -> Site:
    """Parse the text of a new site file.

    text : str, TOML by the contract's section 1. file : str, the name shown in messages
    Returns Site. Raises SiteError with the problems: key, line, what is wrong and what would be right.
    """
    site = _sized(text, file, IS_NEW)
    if found := list(not_admitted(site)):
        problems = [
            Problem(_dotted(path), said, _line_of(path, text)) for path, said in found[:MOST_PROBLEMS]
        ]
        raise SiteError(file, problems)
    return site


def parse_kept_site(text: str, file: str = "site file") -> Site:
    """Parse the text of a stored site file, possibly of an earlier release.

    Like `parse_site`, without the rules of `fieldfare.analysis.plant.admission` and of new values.
    """
    return _sized(text, file, {})


def _sized(text: str, file: str, context: Mapping[str, bool]) -> Site:
    if len(text) > LARGEST_FILE:
        raise SiteError(
            file, [Problem("TOML", f"the file has {len(text)} characters; at most {LARGEST_FILE} are read")]
        )
    try:
        return _parsed(text, file, context)
    except RecursionError:
        raise SiteError(
            file, [Problem("TOML", "tables or arrays are nested too deeply; a site file has two levels")]
        ) from None


def _parsed(text: str, file: str, context: Mapping[str, bool]) -> Site:
    try:
        data = tomllib.loads(text)
    except ValueError as error:  # TOMLDecodeError, or a number or a date that Python can't hold
        raise SiteError(file, [_syntax(error, text)]) from None
    try:
        site = Site.model_validate(data, context=context)
    except ValidationError as error:
        first_errors = error.errors()[:MOST_PROBLEMS]
        raise SiteError(file, [_problem(e, data, text) for e in first_errors]) from None
    if unknown := _unknown_limits(site, text):
        raise SiteError(file, unknown)
    return site


def _unknown_limits(site: Site, text: str) -> list[Problem]:
    from fieldfare.analysis.findings.limits import LIMITS, RETIRED

    return [
        Problem(
            f"limits.{name}", f"unknown limit{_near(name, list(LIMITS))}", _line_of(("limits", name), text)
        )
        for name in site.limits
        if name not in LIMITS and name not in RETIRED
    ]


def _syntax(error: ValueError, text: str) -> Problem:
    found = re.search(r"\(at line (\d+), column (\d+)\)", str(error))
    if not isinstance(error, tomllib.TOMLDecodeError):
        return Problem("TOML", "a number or a date is too large to be read")
    message = re.sub(r"\s*\(at line .*\)", "", str(error)).replace(
        "(at end of document)", "at the end of the file"
    )
    message, number = message[:200], int(found.group(1)) if found else None
    lines = text.splitlines()
    slip = _slip(lines[number - 1]) if number is not None and number <= len(lines) else ""
    return Problem("TOML", f"{message[:1].lower()}{message[1:]}{slip}", number)


_LOOKALIKES = {
    **dict.fromkeys("\u201c\u201d\u201e\u00ab\u00bb", ("a printer's quotation mark", 'a plain "')),
    **dict.fromkeys("\u2212\u2013\u2014", ("a long dash", "a plain -")),
    "\u00a0": ("a no-break space", "a plain space"),
}
"""Signs that word processors put for those of TOML."""


def _slip(line: str) -> str:
    """What is probably wrong in a line that is no TOML, and what would be right; empty where nothing is
    known."""
    line = re.sub(r"\s#.*", "", line)
    given = re.fullmatch(r"\s*([\w.-]+)\s*=\s*(.*?)\s*", line)
    if given is None:
        named = re.fullmatch(r"\s*([\w.-]+)\s*:\s*(.*?)\s*", line)
        return f"; {named[1]}: an equals sign is wanted: {named[1]} = {named[2]}"[:200] if named else ""
    key, value = given.groups()
    for sign, (name, plain) in _LOOKALIKES.items():
        if sign in value:
            return f"; {key}: {sign} is {name}; write {plain}"
    if re.fullmatch(r"[+-]?\d+,\d+", value):
        return f"; {key}: a decimal point is wanted: {value.replace(',', '.')}"
    if day := re.fullmatch(r"(\d{1,2})[./-](\d{1,2})[./-](\d{4})", value):
        return f"; {key}: a day is written year-month-day: {day[3]}-{int(day[2]):02}-{int(day[1]):02}"
    if value.count('"') == 1:
        return f"; {key}: one of two quotation marks is missing"
    if value.lower() in ("yes", "no", "on", "off"):
        return f"; {key}: write true or false"
    if re.fullmatch(r"[^\W\d][\w/ .-]*", value):
        return f'; {key}: text stands in quotation marks: "{value}"'
    if re.fullmatch(r"[+-]?[\d.]+\s*[^\W\d].*", value):
        return f"; {key}: a number stands without its unit"
    return ""


def _problem(error: Any, data: dict[str, Any], text: str) -> Problem:
    path = tuple(p for p in error["loc"])
    key = _dotted(path)
    message = refusal(error)
    if error["type"] == "extra_forbidden":
        message += _near(str(path[-1]), _siblings(path))
    return Problem(shortened(key) or "site file", message, _line_of(path, text))


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
    near = did_you_mean(nearest(word, known))
    return near or (f"; known here: {', '.join(known)}" if known else "")


def _line_of(path: tuple[Any, ...], text: str) -> int | None:
    """Line of a key: a simple scan over headers and keys, sufficient for messages."""
    header, remaining, index = "", path, 0
    names = [p for p in path if isinstance(p, str)]
    count = next((p for p in path if isinstance(p, int)), None)
    if not names:
        return None
    best: int | None = None
    for number, line in enumerate(text.splitlines(), start=1):
        stripped = line.strip()
        if head := re.match(r"^\[\[?\s*([^\]]+?)\s*\]\]?", stripped):
            header = head.group(1)
            if stripped.startswith("[[") and header.split(".")[-1] == _last_table(remaining):
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
