"""Months and weekdays of times as people's languages name them: English, German and French."""

from __future__ import annotations

import re
import unicodedata
from functools import lru_cache

LANGUAGES = ("en", "de", "fr")
_OTHER_SPELLINGS = {"mrz": 3, "maerz": 3, "sept": 9}
"""Not in the Unicode CLDR; common in exports (common practice, no source)."""
_FEWEST_LETTERS = 3
_WORD = re.compile(r"[^\W\d_]{3,}\.?")
_WEEKDAY = re.compile(r"^\s*[^\W\d_]{2,}[.,]?\s+")
_WEEKDAY_FORM = re.compile(r"^%[aA][.,]?\s*")
_MONTH_FORM = re.compile(r"%[bB]\.?")
_ENGLISH = ("Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec")


def has_words(form: str) -> bool:
    """Whether a pattern has a month or a weekday by name."""
    return bool(re.search(r"%[aAbB]", form))


def plain_form(form: str) -> str:
    """A pattern without its weekday, and with short English months: that of `plain_time`."""
    return _MONTH_FORM.sub("%b", _WEEKDAY_FORM.sub("", form))


def plain_time(text: str, *, weekday: bool) -> str:
    """A time with its month in short English, and without the weekday in front where it has one.

    Words that are no month stay.
    """
    if weekday:
        text = _WEEKDAY.sub("", text)
    return _WORD.sub(_english, text)


def starts_with_weekday(text: str) -> bool:
    """Whether a word that is no month stands before the rest of a time."""
    found = _WEEKDAY.match(text)
    return found is not None and _key(found[0]) not in months()


def _english(found: re.Match[str]) -> str:
    number = months().get(_key(found[0]))
    return found[0] if number is None else _ENGLISH[number - 1]


def _key(word: str) -> str:
    """A word's letters, small and without accents."""
    plain = unicodedata.normalize("NFKD", word.lower().replace("ß", "ss"))
    return "".join(c for c in plain if c.isalpha())


@lru_cache(maxsize=1)
def months() -> dict[str, int]:
    """Word -> month: the names of the Unicode CLDR and their beginnings of three letters or more, where one
    month alone begins so in its language and no other language means another."""
    from babel import Locale  # 0.1 s to load, for times with words

    meant: dict[str, set[int]] = {word: {number} for word, number in _OTHER_SPELLINGS.items()}
    for language in LANGUAGES:
        own: dict[str, set[int]] = {}
        names = Locale(language).months
        for number in range(1, 13):
            full = _key(names["format"]["wide"][number])
            words = {full[:n] for n in range(_FEWEST_LETTERS, len(full) + 1)}
            words |= {_key(names[use]["abbreviated"][number]) for use in ("format", "stand-alone")}
            for word in words:
                own.setdefault(word, set()).add(number)
        for word, numbers in own.items():
            if len(numbers) == 1:
                meant.setdefault(word, set()).update(numbers)
    return {word: next(iter(numbers)) for word, numbers in meant.items() if len(numbers) == 1}
