"""Household pages and papers in every language: fully translated, with all values."""

from __future__ import annotations

import ast
import re
from datetime import date
from functools import cache
from html import unescape
from pathlib import Path
from string import Formatter

import pytest
from babel.messages.catalog import Catalog
from babel.messages.pofile import read_po

from fieldfare.analysis import cautions
from fieldfare.analysis.findings.catalogue import catalogued
from fieldfare.analysis.plant.load import parse_site
from fieldfare.analysis.plant.site import Site
from fieldfare.dashboards import pages
from fieldfare.dashboards.handbook.keys import FINDINGS
from fieldfare.dashboards.papers import paper_html
from fieldfare.dashboards.text import formats, language
from fieldfare.dashboards.text.catalogue import Message, messages
from fieldfare.dashboards.text.home_findings import HOME, VARIANTS
from fieldfare.dashboards.text.home_month import carbon_notes
from fieldfare.dashboards.text.home_standing import to_do
from fieldfare.dashboards.text.labels import TITLES
from fieldfare.dashboards.text.language import LANGUAGES, gettext, preferred, speaking
from tests.dashboards.conftest import HOUSEHOLDER, NOW, SHORT_CYCLING, Plant
from tests.dashboards.test_pages import month_of, sound, text_of

OTHERS = [code for code in LANGUAGES if code != "en"]
CALLS = {"_", "gettext", "ngettext", "marked"}
MARK = {
    "de": "noch nicht von einer Person mit deutscher Muttersprache geprüft",
    "fr": "pas encore vérifiée par une personne de langue maternelle française",
}


@cache
def catalogue(code: str) -> Catalog:
    with Path(language.CATALOGUES / code / "LC_MESSAGES" / "messages.po").open("rb") as file:
        return read_po(file, locale=code)


def forms(text: Message) -> tuple[str, ...]:
    return (text,) if isinstance(text, str) else tuple(text)


def places(text: str) -> set[str]:
    return {name for _, name, _, _ in Formatter().parse(text) if name is not None}


@pytest.mark.parametrize("code", LANGUAGES)
def test_every_message_has_a_translation_with_the_same_values(code: str) -> None:
    kept = catalogue(code)
    wanted = messages()
    assert len(wanted) > 250
    for message in wanted:
        entry = kept.get(message if isinstance(message, str) else message[0])
        assert entry is not None, f"{code} lacks {message!r}"
        assert not entry.fuzzy
        told = forms(entry.string)
        assert len(told) == (1 if isinstance(message, str) else kept.num_plurals), message
        values = set().union(*(places(f) for f in forms(message)))
        for text in told:
            assert text.strip(), f"{code} leaves {message!r} empty"
            assert places(text) <= values, (code, text)
            assert values - {"n"} <= places(text), (code, text)


@pytest.mark.parametrize("path", sorted(language.CATALOGUES.parent.rglob("*.py")), ids=lambda p: p.stem)
def test_no_message_stands_inside_an_f_string(path: Path) -> None:
    """Python before 3.12 reads an f-string as one token: a message in it gets into no catalogue."""
    tree = ast.parse(path.read_text(encoding="utf-8"))
    calls = [c for f in ast.walk(tree) if isinstance(f, ast.JoinedStr) for c in ast.walk(f)]
    names = [c for c in calls if isinstance(c, ast.Call) and isinstance(c.func, ast.Name)]
    found = [c.lineno for c in names if c.func.id in CALLS and isinstance(c.args[0], ast.Constant)]  # type: ignore[attr-defined]
    assert found == []


@pytest.mark.parametrize("code", LANGUAGES)
def test_no_catalogue_holds_a_message_that_nothing_uses(code: str) -> None:
    used = {forms(m)[0] for m in messages()}
    assert {forms(m.id)[0] for m in catalogue(code) if m.id} == used


def test_the_english_catalogue_is_what_the_pages_say() -> None:
    assert all(forms(m.string) == forms(m.id) for m in catalogue("en") if m.id)


@pytest.mark.parametrize("code", OTHERS)
def test_cautions_keep_their_temperatures_and_their_germ(code: str) -> None:
    """Legionella and scalding: no number may change in translation."""
    germ = {"de": "egionellen", "fr": "légionelles"}[code]
    with speaking(code):
        for text in (cautions.LEGIONELLA, cautions.SCALD, cautions.PAUSED, cautions.LEGIONELLA_GROWS_AT):
            told = language.gettext(text)
            assert told != text
            assert re.findall(r"\d+", told) == re.findall(r"\d+", text)
        for text in (cautions.LEGIONELLA, cautions.PAUSED, HOME["disinfection_lacking"]):
            assert germ in language.gettext(text)
        scald = {"de": "verbrüh", "fr": "brûl"}[code]
        for text in (cautions.SCALD, HOME["water_too_hot"], HOME["disinfection_lacking"]):
            assert scald in language.gettext(text)


def test_every_finding_with_a_sentence_for_the_household_has_a_title() -> None:
    assert set(HOME) <= set(TITLES)


def german(plant: Plant) -> Site:
    about = plant.site.site.model_copy(update={"language": "de"})
    return plant.site.model_copy(update={"site": about})


@pytest.mark.parametrize("code", LANGUAGES)
def test_the_home_page_in_each_language(cycling: Plant, code: str) -> None:
    with speaking(code):
        page = sound(pages.home_page(cycling.row(), month_of(cycling), [], HOUSEHOLDER, {}, NOW))
    assert f'<html lang="{code}">' in page
    told = text_of(page)
    question = {"en": "Was it warm?", "de": "War es warm?", "fr": "Avez-vous eu assez chaud ?"}[code]
    assert question in told
    assert (code in MARK) == any(mark in told for mark in MARK.values())
    if code in MARK:
        assert MARK[code] in told
        for english in ("What was found", "Your heating", "installer", "averaged", " the ", "Needs"):
            assert english not in told, english
        assert SHORT_CYCLING.home not in told
        assert re.search(r"\d,\d", told), "a decimal comma"
        assert not re.search(r"\d\.\d", told), "no decimal point"


@pytest.mark.parametrize("code", LANGUAGES)
def test_the_month_paper_in_each_language(cycling: Plant, code: str) -> None:
    contents = month_of(cycling)
    page = paper_html("month", "2025-01", contents, language=code)
    assert f'<html lang="{code}">' in page
    assert (code in MARK) == any(mark in page for mark in MARK.values())
    assert {"en": "What did it cost?", "de": "Was hat es gekostet?", "fr": "Combien cela"}[code] in page
    winter = paper_html("winter_check", "2024", contents, language=code)
    assert '<html lang="en">' in winter, "papers of the firm are English"


def test_a_paper_takes_the_home_s_language(cycling: Plant) -> None:
    contents = month_of(cycling) | {"site": german(cycling).model_dump(mode="json", by_alias=True)}
    assert '<html lang="de">' in paper_html("month", "2025-01", contents)
    assert '<html lang="fr">' in paper_html("month", "2025-01", contents, language="fr")


@pytest.mark.parametrize("code", LANGUAGES)
def test_what_if_in_each_language(full: Plant, code: str) -> None:
    estimate = {"value": 60.0, "low": 30.0, "high": 90.0}
    answer = {
        "question": "hot_water_c",
        "value": 48.0,
        "saves_kwh": estimate,
        "saves_money": estimate,
        "currency": "EUR",
        "of": "the 100 days seen",
        "method": "m",
        "limits": [{"limit": "disinfection stays", "holds": False, "says": "its hottest water is 60 C"}],
        "caution": cautions.of_setpoint(48.0),
    }
    with speaking(code):
        told = text_of(sound(pages.what_if_page(full.row(), {}, [answer], "", HOUSEHOLDER)))
    assert "48" in told
    if code == "en":
        assert cautions.of_setpoint(48.0) in unescape(told)
    else:
        assert "Legionella" not in told
        assert {"de": "in den 100 gemessenen Tagen", "fr": "sur les 100 jours mesurés"}[code] in told
        assert {"de": "Bei 48 °C", "fr": "À 48 °C"}[code] in told


def test_what_if_names_zones_as_a_household_does(full: Plant) -> None:
    """An id such as `ground` is the site file's; a household knows downstairs."""
    zones = [
        p.model_copy(update={"zone": z})
        for p, z in zip(full.site.point, ("ground", "bed_room"), strict=False)
    ]
    row = full.row(site=full.site.model_copy(update={"point": zones}))
    says = "ground: from 19.4 to 18.7 C, below it on 3 % of the heated days; bed_room: stays at 18.0 C"
    answer = {
        "question": "lower_curve_k",
        "value": 2.0,
        "saves_kwh": None,
        "saves_money": None,
        "currency": "EUR",
        "of": "the 100 days seen",
        "method": "m",
        "limits": [{"limit": "rooms hold their targets", "holds": True, "says": says}],
        "caution": None,
    }
    told = text_of(pages.what_if_page(row, {}, [answer], "", HOUSEHOLDER)).replace("\u00a0", " ")
    assert "Downstairs: from 19.4 to 18.7 °C" in told
    assert "the bed room: stays at 18.0 °C" in told


@pytest.mark.parametrize("code", LANGUAGES)
def test_signing_in_and_the_welcome_in_each_language(code: str) -> None:
    with speaking(code):
        page = text_of(sound(pages.sign_in_page("e-mail or password is wrong")))
        welcome = text_of(sound(pages.welcome_page("", is_first=False, name="Sam", homes=["A", "B"])))
    assert {"en": "Sign in", "de": "Anmelden", "fr": "Se connecter"}[code] in page
    assert {"en": "A and B", "de": "A und B", "fr": "A et B"}[code] in welcome
    assert ("password is wrong" in page) == (code == "en")


@pytest.mark.parametrize(
    ("header", "own", "code"),
    [
        ("de-AT,de;q=0.9,en;q=0.5", None, "de"),
        ("en-GB,en;q=0.9,de;q=0.8", "de", "en"),
        ("nl;q=0.9, fr;q=0.4, en;q=0.2", None, "fr"),
        ("en;q=0, de;q=0.1", None, "de"),
        ("", "fr", "fr"),
        ("nl", "xx", "en"),
        ("*", "de", "de"),
        ("de;q=much, fr", None, "fr"),
        ("", None, "en"),
    ],
)
def test_the_language_of_a_reader(header: str, own: str | None, code: str) -> None:
    """Accept-Language with its weights: RFC 9110, 12.5.4."""
    assert preferred(header, own) == code


def test_an_unknown_language_is_english() -> None:
    with speaking("xx"):
        assert language.language() == "en"
        assert formats.number(1234.5, 1) == "1\u202f234.5"


@pytest.mark.parametrize(
    ("code", "number", "money", "day", "month"),
    [
        ("en", "−1\u202f234.5", "€3.50", "3\u00a0Oct\u00a02025", "October 2025"),
        ("de", "−1\u202f234,5", "3,50\u00a0€", "3.\u00a0Okt.\u00a02025", "Oktober 2025"),
        ("fr", "−1\u202f234,5", "3,50\u00a0€", "3\u00a0oct.\u00a02025", "octobre 2025"),
    ],
)
def test_numbers_money_and_dates_follow_the_language(
    code: str, number: str, money: str, day: str, month: str
) -> None:
    """Decimal marks, places of the currency and names of months: Unicode CLDR."""
    with speaking(code):
        assert formats.number(-1234.5, 1) == number
        assert formats.money(3.5, "EUR") == money
        assert formats.day(date(2025, 10, 3)) == day
        assert formats.month("2025-10") == month


def test_a_site_file_may_name_the_language() -> None:
    text = '[site]\nid = "elm-end"\nname = "Elm End"\ntimezone = "Europe/Berlin"\nlanguage = "de"\n'
    point = '[[point]]\nid = "e"\nquantity = "heat_pump_electricity"\nas = "power"\nunit = "W"\n'
    assert parse_site(text + point).site.language == "de"


@pytest.mark.parametrize("sentence", VARIANTS)
def test_a_translated_sentence_is_one_that_a_rule_gives(sentence: str) -> None:
    """Else it would never be shown: the finding's own words stand in its rule."""
    assert any(sentence in catalogued(code).strings for code in HOME | TITLES if code in FINDINGS)


@pytest.mark.parametrize("code", OTHERS)
def test_a_poor_coil_is_not_called_a_slow_one(code: str) -> None:
    coil = next(s for s in VARIANTS if "electricity than it used to" in s)
    found = SHORT_CYCLING.as_dict() | {"code": "slow_reheat", "severity": "watch", "home": coil}
    with speaking(code):
        result = {"period": {"to": "2025-01-31"}, "findings": [found]}
        (told,) = to_do(result)
        assert told == language.gettext(coil)
        assert told not in (coil, language.gettext(HOME["slow_reheat"]))
        (general,) = to_do(result | {"findings": [found | {"home": "Something else."}]})
        assert general == language.gettext(HOME["slow_reheat"])


@pytest.mark.parametrize("code", LANGUAGES)
def test_no_line_ends_before_a_sign_or_a_percent(code: str) -> None:
    with speaking(code):
        for message in messages():
            for text in (message,) if isinstance(message, str) else message:
                told = gettext(text)
                assert not re.search(r"\d %| [?!;»](\s|$)|« ", told), told


def test_carbon_factors_are_in_the_reader_s_language_and_only_beside_a_figure(full: Plant) -> None:
    cost = {
        "co2_kg": 9.0,
        "previous_fuel_co2_kg": 20.0,
        "previous_fuel": "natural_gas",
        "factors": ["natural gas 203.5 g/kWh, United Kingdom 2025, burnt, Tables of 2025, chapter 1"],
    }
    with speaking("fr"):
        ((says, source),) = carbon_notes(cost)
    assert "203,5" in says
    assert "Royaume-Uni" in says
    assert "natural" not in says
    assert source == "burnt, Tables of 2025, chapter 1", "a publication keeps its own words"
    for missing in ("co2_kg", "previous_fuel_co2_kg"):
        assert carbon_notes(cost | {missing: None}) == []
