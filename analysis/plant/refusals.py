"""What is wrong with a value that a model refuses, in plain words: one wording for files, forms, commands."""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping
from difflib import SequenceMatcher, get_close_matches
from typing import Any, TypeGuard

LONGEST_SHOWN = 80
"""Characters of a refused value that a message repeats."""
PATTERNS = {
    r"^[a-z0-9-]{2,40}$": "use 2 to 40 of a to z, 0 to 9 and hyphens, such as alder-row",
    r"^[a-z]{2,3}(-[A-Z]{2})?$": "use a language's code, such as en or de-AT",
    r"^[A-Za-z0-9_][A-Za-z0-9_.:-]{0,79}$": "use up to 80 letters, digits and _ . : -, such as hp_elec",
    r"^[A-Z]{3}$": "use three capital letters, such as GBP",
    r"^[A-Z]{2}$": "use two capital letters, such as GB",
    r"^[a-z][a-z0-9_]{0,30}$": "use up to 31 of a to z, digits and _, such as strainer",
    r"^[^\x00-\x1f\x7f]*\S[^\x00-\x1f\x7f]*$": "use one line of text",
}
"""Pattern of a field -> what fits it."""
_FORMS = (
    (
        ("float_parsing", "float_type", "finite_number"),
        "is no number; write one such as 6.5",
    ),
    (
        ("int_parsing", "int_type", "int_from_float", "int_parsing_size"),
        "is no whole number; write one such as 12",
    ),
    (
        ("date_parsing", "date_type", "date_from_datetime_parsing", "date_from_datetime_inexact"),
        "is no day; write it as 2026-01-31",
    ),
    (("time_parsing", "time_type"), "is no time of day; write it as 06:30"),
    (("bool_parsing", "bool_type"), "is neither true nor false"),
    (("string_type", "string_unicode"), "is no text; write it between quotation marks"),
    (("model_type", "model_attributes_type", "dict_type"), "is no table of keys and values"),
    (("tuple_type", "list_type"), "is no list"),
)
_SAYS = {kind: says for kinds, says in _FORMS for kind in kinds}


def refusal(error: Mapping[str, Any]) -> str:
    """What is wrong, and what would be right, in one line without a full stop.

    error : one of pydantic's `ValidationError.errors()`, or of a request's
    """
    kind, given, more = error["type"], error.get("input"), error.get("ctx") or {}
    if kind == "extra_forbidden":
        return "unknown key"
    if kind == "missing":
        return "is missing; it must be given"
    if kind in ("value_error", "assertion_error"):
        return _on_one_line(str(more.get("error") or error["msg"]).removeprefix("Value error, "))
    return _on_one_line(_of_value(kind, given, more) or _remaining(str(error["msg"])))


def _of_value(kind: str, given: Any, more: Mapping[str, Any]) -> str:
    value = value_text(given)
    if kind in _SAYS:
        return f"{value} {_SAYS[kind]}"
    if kind in ("greater_than_equal", "greater_than"):
        bound = more.get("ge", more.get("gt"))
        if not _is_number(bound):
            return f"{value} is too early; it must be {bound} or later"
        return f"{value} is too low; it must be {'at least' if 'ge' in more else 'above'} {bound:g}"
    if kind in ("less_than_equal", "less_than"):
        bound = more.get("le", more.get("lt"))
        if not _is_number(bound):
            return f"{value} is too late; it must be {bound} or earlier"
        return f"{value} is too high; it must be {'at most' if 'le' in more else 'below'} {bound:g}"
    if kind in ("literal_error", "enum"):
        return f"{value} is none of {str(more['expected']).replace(chr(39), '').replace(' or ', ', ')}"
    if kind == "string_pattern_mismatch":
        return f"{value} has the wrong form; {PATTERNS.get(more['pattern'], 'use other signs')}"
    return _of_length(kind, given, more)


def _is_number(bound: Any) -> TypeGuard[float]:
    """Whether a limit is a number; that of a day or a time comes as a date, or as its text."""
    return isinstance(bound, int | float)


def _of_length(kind: str, given: Any, more: Mapping[str, Any]) -> str:
    count = more.get("actual_length") or (len(given) if isinstance(given, str | list | tuple | dict) else 0)
    thing = "characters" if kind.startswith("string") else "entries"
    if kind in ("string_too_long", "too_long"):
        return f"has {count} {thing}; at most {more['max_length']} are read"
    if kind in ("string_too_short", "too_short"):
        return f"has {count} {thing}; give at least {more['min_length']}" if count else "must not be empty"
    return ""


def _remaining(message: str) -> str:
    """A message of pydantic's own that no case above words."""
    return message.replace("Input should", "must")


def value_text(given: Any) -> str:
    """A value for a message, truncated if long."""
    if isinstance(given, dict):
        return "a table"
    if isinstance(given, list | tuple):
        return "a list"
    if isinstance(given, bool):
        return str(given).lower()
    if isinstance(given, int) and abs(given) > 1 << 62:
        return "a whole number of many digits"
    if isinstance(given, float):
        return f"{given:g}"
    return shortened(repr(shortened(given)) if isinstance(given, str) else repr(given), LONGEST_SHOWN + 8)


def shortened(text: str, most: int = LONGEST_SHOWN) -> str:
    return text if len(text) <= most else f"{text[:most]}..."


def _on_one_line(text: str) -> str:
    return " ".join(text.split())


LIKE, ALIKE = 0.5, 0.8
"""Likeness, 0 to 1, of a word that may be meant, and of one that is a slip of the pen."""
MOST_NEAR = 3


def nearest(word: str, known: Iterable[str], about: Mapping[str, str] | None = None) -> list[str]:
    """Names that may be meant, the likeliest first; at most three, of the same likelihood.

    A slip of the pen comes first, then names and descriptions that share the most parts of the word, then any
    like spelling. about : name -> what it is, in words
    """
    word, known = re.sub(r"\W", "_", word.lower())[:LONGEST_SHOWN], list(known)
    if slips := get_close_matches(word, known, n=1, cutoff=ALIKE):
        return slips
    parts = _parts(word)
    shared = {name: len(parts & _parts(f"{name} {(about or {}).get(name, '')}")) for name in known}
    most = max(shared.values(), default=0)
    if not most or (len(parts) < 2 and not about):
        return get_close_matches(word, known, n=1, cutoff=LIKE)
    found = [name for name in known if shared[name] == most and (parts & _parts(name))]
    return sorted(found, key=lambda name: -SequenceMatcher(None, word, name).ratio())[:MOST_NEAR]


def did_you_mean(near: Iterable[str]) -> str:
    """The end of a message about an unknown name; empty where nothing is near."""
    names = list(near)
    return f"; did you mean {' or '.join(names)}?" if names else ""


def _parts(name: str) -> set[str]:
    return {part for part in re.split(r"[\W_]+", name.lower()) if len(part) > 2}
