"""Collect all messages for translation: marked ones, and those from `analysis`."""

from __future__ import annotations

from collections.abc import Iterator
from functools import cache
from pathlib import Path

from babel.messages.extract import extract_from_dir
from babel.messages.frontend import parse_mapping_cfg

from fieldfare.analysis import cautions
from fieldfare.analysis.findings.stopped.texts import POSSIBLE_HOME
from fieldfare.analysis.physics.emission_factors import COUNTRIES
from fieldfare.analysis.reports.verdict import WORDS
from fieldfare.dashboards.answers import bill_texts, complaint_texts, number_texts, plan_texts
from fieldfare.dashboards.answers.present_answer import QUESTIONS
from fieldfare.dashboards.text.caution_words import PARTS as CAUTIONS
from fieldfare.dashboards.text.labels import TITLES

Message = str | tuple[str, ...]
DASHBOARDS = Path(__file__).parents[1]
KEYWORDS: dict[str, tuple[int, ...] | None] = {"_": None, "gettext": None, "ngettext": (1, 2), "marked": None}
WHAT_IF = (
    "a year like the last",
    "the {0} days seen",
    "a whole year",
    "every room stays warm enough for health",
    "no room is measured: keep {0} C or more",
    "the coldest would have {0} C on average; {1} C or more is healthy",
    "rooms follow a lower setting",
    "they are warmer than set already: a lower setting does little until the heating water is cooler",
    "the heating makes the rooms so warm",
    "no room is measured",
    "on {0} % of the heated days a room would stay below the new setting",
    "emitters meet the measured heat loss on the design day",
    "disinfection stays",
    "stored water stays out of the range in which Legionella grows",
    "the unit reaches it",
    "hot water for a family",
    "water lasts through the day",
    "other hours cost the same",
    "that is {0} to {1} C",
    "that is {0} to {1} C: not advised below {2} C",
    "its hottest water is {0} C",
    "{0} litres at {1} C when full",
    "{0} litres at {1} C when full, {2} litres now",
    "the cylinder must hold a day's draws from that hour on",
    "a tariff with a cheap band often asks more in the others",
)
"""Limits of what-if answers, as `fieldfare.analysis.reports.what_if` words them;
{0} and so on are numbers."""
SIGN_IN = ("e-mail or password is wrong",)


@cache
def messages() -> tuple[Message, ...]:
    """All messages, without repeats; plural messages are pairs."""
    return tuple(dict.fromkeys([*_extracted(), *_elsewhere()]))


def _extracted() -> Iterator[Message]:
    with (DASHBOARDS / "babel.cfg").open(encoding="utf-8") as file:
        methods, options = parse_mapping_cfg(file)
    for found in extract_from_dir(DASHBOARDS, methods, options, keywords=KEYWORDS):
        yield found[2]


def _elsewhere() -> Iterator[Message]:
    yield from (*CAUTIONS, cautions.COOL_ROOMS, cautions.LEGIONELLA_GROWS_AT)
    yield from _answers()
    yield from (
        *TITLES.values(),
        *WORDS.values(),
        *COUNTRIES.values(),
        *QUESTIONS.values(),
        *WHAT_IF,
        *SIGN_IN,
        POSSIBLE_HOME,
    )


def _answers() -> Iterator[Message]:
    """Messages of answers for households."""
    for beside in bill_texts.BESIDE.values():
        yield from beside
    for named in (
        complaint_texts.TITLES,
        complaint_texts.SAID,
        complaint_texts.SAID_BY_REASON,
        complaint_texts.UNSEEN,
        complaint_texts.UNSOLVED,
        complaint_texts.STEPS,
        complaint_texts.UNITS,
        plan_texts.HOME_DO,
        bill_texts.PARTS,
        bill_texts.LESS,
        bill_texts.MORE_SENTENCES,
        bill_texts.LESS_SENTENCES,
        bill_texts.AWAY,
        bill_texts.SEEN,
        bill_texts.AGAINST,
        bill_texts.AGAINST_SHORT,
        bill_texts.LEAD,
        bill_texts.OWN_ADVICE,
        bill_texts.HOME_NEXT,
    ):
        yield from named.values()
    tomorrow = plan_texts.TOMORROW | plan_texts.HOME_TOMORROW
    for sentences in (number_texts.NUMBERS, number_texts.NUMBERS_BY_REASON, tomorrow):
        for each in sentences.values():
            yield from each
    yield from (text for code, text in bill_texts.ASK.items() if code in bill_texts.HOME_ASK)
    yield bill_texts.ONLY_DESIGN
