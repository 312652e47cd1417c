"""Language of a page or paper, and its message catalogues.

Catalogues are gettext `.po` files in `dashboards/locale`. They are compiled in memory when a language is
first used, so nothing has to be built. Unknown languages, and messages that a catalogue lacks, are English.
"""

from __future__ import annotations

import io
import re
from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from contextvars import ContextVar
from functools import cache
from pathlib import Path
from typing import Any

from babel import Locale, UnknownLocaleError, negotiate_locale
from babel.messages.mofile import write_mo
from babel.messages.pofile import read_po
from babel.support import NullTranslations, Translations

from fieldfare.analysis.plant.fields import LANGUAGES

CATALOGUES = Path(__file__).parents[1] / "locale"
ENGLISH = LANGUAGES[0]
DRAFTS = frozenset({"de", "fr"})
"""Languages that no native reader has checked yet: their pages say so."""
_LOCALES = {ENGLISH: "en", "de": "de_DE", "fr": "fr_FR"}
_chosen: ContextVar[str] = ContextVar("language", default=ENGLISH)


def known(tag: str | None) -> str | None:
    """Language of a tag such as `de-AT`; None without a catalogue."""
    return negotiate_locale([(tag or "").replace("_", "-")], LANGUAGES, sep="-")


def preferred(header: str, otherwise: str | None = None) -> str:
    """Choose the language for a reader.

    header : an Accept-Language header (RFC 9110, 12.5.4). otherwise : language where the header names none
        that is known
    """
    accepted: list[tuple[float, str]] = []
    for part in header[:500].split(","):
        tag, *parameters = (p.strip() for p in part.split(";"))
        weight = next((p[2:] for p in parameters if p.startswith("q=")), "1")
        try:
            accepted.append((float(weight), tag))
        except ValueError:
            continue
    for wish, tag in sorted(accepted, key=lambda w: -w[0]):
        if wish > 0.0 and (found := known(tag)):
            return found
    return known(otherwise) or ENGLISH


def own_name(tag: str) -> str:
    """Name of a language in itself: de is Deutsch. Unknown tags are returned unchanged."""
    try:
        name = Locale.parse(tag, sep="-").get_display_name() or tag
    except (ValueError, UnknownLocaleError):
        return tag
    return f"{name[:1].upper()}{name[1:]}"


@contextmanager
def speaking(language: str | None) -> Iterator[None]:
    """Context manager: texts are in this language; unknown ones fall back to English."""
    token = _chosen.set(known(language) or ENGLISH)
    try:
        yield
    finally:
        _chosen.reset(token)


def language() -> str:
    """Code of the current language."""
    return _chosen.get()


def is_english() -> bool:
    return _chosen.get() == ENGLISH


def locale() -> Locale:
    """The locale of numbers, dates and money."""
    return _locale(_chosen.get())


@cache
def _locale(code: str) -> Locale:
    try:
        return Locale.parse(_LOCALES[code])
    except (KeyError, UnknownLocaleError):
        return Locale.parse(_LOCALES[ENGLISH])


@cache
def translations(code: str) -> NullTranslations:
    """Compiled catalogue of a language."""
    path = CATALOGUES / code / "LC_MESSAGES" / "messages.po"
    if not path.is_file():
        return NullTranslations()
    compiled = io.BytesIO()
    with path.open("rb") as file:
        write_mo(compiled, read_po(file, locale=code))
    compiled.seek(0)
    return Translations(compiled)


_NO_BREAK = re.compile(r"(?<=\d) (?=%)|(?<=\S) (?=[?!:;»](?:\s|$))|(?<=«) ")
"""Spaces at which a line must not end: before a percent sign, and French ones before and inside signs."""


def _held(text: str) -> str:
    return _NO_BREAK.sub("\u00a0", text)


def gettext(message: str, **values: Any) -> str:
    """Translate a message and insert values."""
    text = _held(translations(_chosen.get()).gettext(message)) if message else ""
    return text.format(**values) if values else text


def ngettext(one: str, many: str, n: int, **values: Any) -> str:
    """Translate a message that depends on a number."""
    text = _held(translations(_chosen.get()).ngettext(one, many, n))
    return text.format(n=n, **values)


_NUMBER = re.compile(r"\d+(?:\.\d+)?")


def with_numbers(text: str) -> tuple[str, bool]:
    """Translate a sentence of `analysis` with its numbers as {0}, {1} and so on; return it and whether it was
    found."""
    if is_english():
        return text, True
    numbers = _NUMBER.findall(text)
    places = iter(range(len(numbers)))
    message = _NUMBER.sub(lambda _: f"{{{next(places)}}}", text)
    found = translations(_chosen.get()).gettext(message)
    if found == message:
        return text, False
    return found.format(*numbers), True


def marked(message: str) -> str:
    """Mark a message for the catalogues; it is translated where it is used."""
    return message


def listed(items: Iterable[str]) -> str:
    """Join items: A, B and C."""
    items = list(items)
    if len(items) < 2:
        return "".join(items)
    return gettext("{first} and {last}", first=", ".join(items[:-1]), last=items[-1])
