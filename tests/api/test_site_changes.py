"""The site file of an existing home by form: changes, unchanged text, recalculation."""

from __future__ import annotations

import difflib
import re
import tomllib
from html import unescape
from importlib.resources import files
from typing import Any

import pytest

from fieldfare.analysis.errors import InputError
from fieldfare.analysis.plant.load import parse_site
from fieldfare.analysis.plant.other_sources import OtherHeat, Pv
from fieldfare.api.core.service import Service
from fieldfare.api.records.site_changes import propose
from fieldfare.dashboards.site_form.edit import changes, edited
from fieldfare.dashboards.site_form.fields import groups_of, is_field, values_of
from fieldfare.dashboards.site_form.schema import keys
from fieldfare.dashboards.site_form.words import PARTS, WITHOUT_FIELD
from tests.api.conftest import add_site
from tests.api.sites import readings, site_text
from tests.api.test_field_forms import send
from tests.api.web import OTHER, OWN, Web, make_web

TEMPLATE = files("api").joinpath("site_template.toml").read_text(encoding="utf-8")
URL = f"/sites/{OWN}/settings"


@pytest.fixture
def web(service: Service) -> Web:
    return make_web(service)


def opened(web: Web, query: str = "") -> tuple[dict[str, str], str]:
    """The form's fields as a browser has them, and the mark of the file."""
    text = web["installer"].get(URL + query).text
    mark = re.search(r'name="mark" value="([0-9a-f]+)"', text)
    assert mark is not None
    found = dict(re.findall(r'<input id="[^"]+" name="([^"]+)" type="[^"]+"[^>]*? value="([^"]*)"', text))
    return {k: unescape(v) for k, v in found.items()}, mark[1]


def proposed(page: str) -> str:
    found = re.search(r'<textarea name="text" hidden[^>]*>\n(.*?)</textarea>', page, re.DOTALL)
    assert found is not None
    return unescape(found[1])


def test_untouched_fields_leave_the_file_to_the_letter() -> None:
    """The example file explains every key, so it holds every kind of comment and table."""
    values = values_of(TEMPLATE)
    assert edited(TEMPLATE, values) == TEMPLATE
    fields = {f.key for group in groups_of(values) for f in group.all}
    names = {f.key for group in groups_of(values) for row in group.rows for f in row.hidden}
    assert set(values) <= fields | names
    assert all(is_field(key) for key in fields)


@pytest.mark.parametrize(
    ("form", "path", "value"),
    [
        ({"design.heat_loss_kw": "9,1"}, ("design", "heat_loss_kw"), 9.1),
        (
            {"site.handed_over": "2025-10-01"},
            ("site", "handed_over"),
            __import__("datetime").date(2025, 10, 1),
        ),
        ({"contact.phone": "+44 1632 960200"}, ("contact", "phone"), "+44 1632 960200"),
        ({"heat_pump.rating.1.cop": "2.4"}, ("heat_pump", "rating", 1, "cop"), 2.4),
        ({"heating_curve.points.1.1": "30"}, ("heating_curve", "points", 1, 1), 30),
        ({"emitter.0.output_kw": "12"}, ("emitter", 0, "output_kw"), 12),
        ({"cost.band.0.price": "0.11"}, ("cost", "band", 0, "price"), 0.11),
        ({"heat_pump.units": "2"}, ("heat_pump", "units"), 2),
        ({"heat_pump.cooling": "true"}, ("heat_pump", "cooling"), True),
        ({"pv.immersion": "true", "pv.raises_flow_k": "5"}, ("pv", "raises_flow_k"), 5),
        (
            {"other_heat.0.kind": "boiler", "other_heat.0.serves": "space_heating, hot_water"},
            ("other_heat", 0, "serves"),
            ["space_heating", "hot_water"],
        ),
        (
            {"point.0.includes": "circulation_pump, fan"},
            ("point", 0, "includes"),
            ["circulation_pump", "fan"],
        ),
        (
            {"cost.price.0.from": "2026-04-01", "cost.price.0.electricity": "0.25"},
            ("cost", "price", 0, "electricity"),
            0.25,
        ),
        (
            {
                "heat_pump.rating.2.cop": "3.1",
                "heat_pump.rating.2.outdoor_c": "2",
                "heat_pump.rating.2.flow_c": "35",
            },
            ("heat_pump", "rating", 2, "cop"),
            3.1,
        ),
    ],
)
def test_one_field_changes_its_line_alone(form: dict[str, str], path: tuple[Any, ...], value: Any) -> None:
    made = edited(TEMPLATE, {**values_of(TEMPLATE), **form})
    at: Any = tomllib.loads(made)
    for step in path:
        at = at[step]
    assert at == value
    parse_site(made)
    found = list(difflib.ndiff(TEMPLATE.splitlines(), made.splitlines()))
    assert sum(line.startswith("- ") for line in found) <= 1, (
        "every other line is as it was, and in its place"
    )
    assert sum("#" in line for line in made.splitlines()) == sum(
        "#" in line for line in TEMPLATE.splitlines()
    )


def test_emptied_fields_go_and_sections_come() -> None:
    made = tomllib.loads(edited(TEMPLATE, {"design.bivalent_c": "", "contact.area": ""}))
    assert "bivalent_c" not in made["design"]
    assert "area" not in made["contact"]
    gone = edited(
        TEMPLATE, {f"heat_pump.rating.1.{k}": "" for k in ("outdoor_c", "flow_c", "output_kw", "cop")}
    )
    assert len(tomllib.loads(gone)["heat_pump"]["rating"]) == 1
    plain = site_text()
    new = edited(
        plain,
        {
            "hot_water.cylinder_litres": "250",
            "emitter.1.kind": "underfloor",
            "emitter.1.output_kw": "3",
            "contact.name": 'Q "x"',
        },
    )
    site = parse_site(new)
    assert site.hot_water is not None
    assert site.hot_water.cylinder_litres == 250
    assert [e.kind for e in site.emitter] == ["radiator", "underfloor"]
    assert site.contact is not None
    assert site.contact.name == 'Q "x"'
    assert len(site.point) == 6, "points stay"
    emptied = edited(TEMPLATE, {f"heating_curve.points.{i}.{n}": "" for i in range(2) for n in range(2)})
    assert "heating_curve" not in tomllib.loads(emptied)


def test_lists_and_tables_in_one_line_are_changed_too() -> None:
    """TOML 1.0 writes a list of tables as [[name]] or as name = [{...}], and a table as [name] or name =
    {...}."""
    bands = 'band = [{ from = "00:30", to = "05:30", price = 0.09 }] # night'
    text = site_text().replace("electricity = 0.27", f"electricity = 0.27\n{bands}")
    text = text.replace("[design]\nheat_loss_kw = 6.0\noutdoor_c = -3.0\n", "").replace(
        "\n[site]", "\ndesign = { heat_loss_kw = 6.0, outdoor_c = -3.0 }\n[site]"
    )
    new = {"cost.band.1.from": "13:00", "cost.band.1.to": "16:00", "cost.band.1.price": "0.15"}
    site = parse_site(edited(text, {**values_of(text), "design.heat_loss_kw": "7", **new}))
    assert site.design.heat_loss_kw == 7
    assert site.cost is not None
    assert [b.price for b in site.cost.band] == [0.09, 0.15]
    gone = edited(text, {f"cost.band.0.{key}": "" for key in ("from", "to", "price")})
    assert "band" not in tomllib.loads(gone)["cost"]


@pytest.mark.parametrize(
    "odd", ["emitter = 5\n", 'emitter = "none"\n', "emitter = { kind = 1 }\n", "contact = 3\n"]
)
def test_a_file_in_another_form_is_refused_with_one_line(odd: str) -> None:
    with pytest.raises(InputError, match="change the file's text"):
        edited(odd + "[site]\nid = 'x'\n", {"emitter.0.kind": "radiator", "contact.name": "A"})


def test_what_changes_is_told_by_what_it_means() -> None:
    before = parse_site(TEMPLATE)
    assert changes(before, parse_site(TEMPLATE.replace("# kWh", "#  kWh") + "\n# end")) == []
    made = parse_site(edited(TEMPLATE, {"design.heat_loss_kw": "9.1", "design.bivalent_c": ""}))
    told = {c.label: (c.before, c.after) for c in changes(before, made)}
    assert told == {
        "The design · Heat loss": ("8.4", "9.1"),
        "The design · Back-up heater helps below": ("-5", ""),
    }


@pytest.mark.parametrize(
    ("old", "new", "told"),
    [
        ('name = "Alder Row"', 'name = "Alder Terrace"', "worked out again"),
        ("heat_loss_kw = 6.0", "heat_loss_kw = 7.0", "All 4 days"),
        ("[design]", "[contact]\nphone = '01632 960001'\n[design]", "Nothing is recalculated"),
        ("[design]", "# a comment\n[design]", "Nothing is recalculated"),
        ("[[point]]", "[limits]\nstandby_act_w = 70.0\n[[point]]", "worked out again"),
    ],
)
def test_what_is_recalculated_is_told(service: Service, old: str, new: str, told: str) -> None:
    add_site(service, OWN)
    service.store.append(OWN, readings(4))
    made = propose(service, OWN, service.sites.file(OWN).replace(old, new, 1))
    assert told in " ".join(made.recalculates)


def test_what_is_told_to_be_recalculated_is(service: Service) -> None:
    """The sentence against the days that are made anew."""
    from datetime import date

    add_site(service, OWN)
    service.store.append(OWN, readings(4))
    days = date(2026, 1, 5), date(2026, 1, 8)
    for change, stays in (
        ('name = "Alder Terrace"', True),
        ('name = "Alder Terrace"\nfloor_area_m2 = 90.0', False),
    ):
        plant = service.sites.get(OWN)
        before = service.facts_cache.fingerprints(plant.site, *days)
        text = re.sub(r'name = "[^"]+"', change, plant.file, count=1)
        made = propose(service, OWN, text)
        service.sites.add([(text, made.site)])
        after = service.facts_cache.fingerprints(made.site, *days)
        assert (before == after) is stays
        assert ("days of this home are calculated again" in " ".join(made.recalculates)) is not stays


def test_homes_that_borrow_the_outdoor_sensor_are_named(service: Service) -> None:
    add_site(service, OWN)
    add_site(service, OTHER, outdoor_from=f'"{OWN}"')
    text = service.sites.file(OWN).replace('id = "outdoor"\n', 'id = "outside"\n')
    told = " ".join(propose(service, OWN, text).recalculates)
    assert "Beech End" in told
    assert "Readings of outdoor stay in the store" in told


def test_a_change_is_shown_before_it_is_saved(web: Web) -> None:
    values, mark = opened(web)
    form = {
        **values,
        "design.heat_loss_kw": "7.5",
        "contact.phone": "01632 960001",
        "do": "check",
        "mark": mark,
    }
    answer = send(web, "installer", URL, form)
    assert answer.status_code == 200
    told = unescape(re.sub(r"<[^>]+>", " ", answer.text))
    assert re.search(r"Heat loss\s+6\s+7\.5", told)
    assert "All 3 days" in told
    assert "7.5" not in web.parts.service.sites.file(OWN), "nothing is saved yet"
    save = {"do": "save", "mark": mark, "text": proposed(answer.text)}
    done = send(web, "installer", URL, save)
    assert (done.status_code, done.headers["location"]) == (303, f"{URL}?saved=1")
    site = web.parts.service.sites.get(OWN).site
    assert (site.design.heat_loss_kw, site.contact.phone if site.contact else "") == (7.5, "01632 960001")
    row = next(r for r in web.parts.audit.page(0, 20, OWN)[0] if r.action == "site changed")
    assert set(row.detail["keys"]) == {"design.heat_loss_kw", "contact.phone"}
    assert "960001" not in str(row), "personal data stay out of the trail"


@pytest.mark.parametrize(
    ("more", "key", "said"),
    [
        (
            {"design.heat_loss_kw": "lots"},
            "design-heat_loss_kw",
            "'lots' is no number; write one such as 6.5",
        ),
        ({"site.timezone": "Europe/Londn"}, "site-timezone", "unknown time zone"),
        ({"contact.phone": "call me"}, "contact-phone", "telephone number"),
        (
            {"heating_curve.points.1.1": "200"},
            "heating_curve-points-1-1",
            "200 is too high; it must be at most 95",
        ),
        ({"emitter.0.kind": "stove"}, "emitter-0-kind", "none of radiator"),
        ({"site.name": ""}, "site-name", "must be given"),
    ],
)
def test_a_wrong_field_never_loses_the_form(web: Web, more: dict[str, str], key: str, said: str) -> None:
    values, mark = opened(web)
    form = {**values, "contact.access_notes": "dog & <cat>", **more, "do": "check", "mark": mark}
    before = web.parts.service.sites.file(OWN)
    answer = send(web, "installer", URL, form)
    told = unescape(answer.text)
    assert (answer.status_code, web.parts.service.sites.file(OWN)) == (422, before)
    beside = re.search(rf'id="f-{key}-e">([^<]*)<', told)
    assert beside is not None
    assert said in beside[1]
    assert "dog & <cat>" in told
    for name, value in more.items():
        field = re.search(rf'<(?:input|select) id="[^"]+" name="{re.escape(name)}".*?</div>', told, re.DOTALL)
        assert field is not None
        assert not value or f'value="{value}"' in field[0]


def test_two_who_change_a_file_at_once_see_each_other(web: Web) -> None:
    values, mark = opened(web)
    first = send(web, "installer", URL, {**values, "design.heat_loss_kw": "7.5", "do": "check", "mark": mark})
    text = web.parts.service.sites.file(OWN).replace("outdoor_c = -3.0", "outdoor_c = -5.0")
    web.parts.service.sites.add([(text, parse_site(text))])
    save = {"do": "save", "mark": mark, "text": proposed(first.text)}
    answer = send(web, "installer", URL, save)
    assert answer.status_code == 409
    told = re.sub(r"\s+", " ", re.sub(r"<[^>]+>", " ", answer.text))
    assert "Somebody saved this file meanwhile" in told
    assert "Outdoors -5 -3" in told, "what saving would undo is named"
    assert web.parts.service.sites.file(OWN) == text
    again = re.search(r'name="mark" value="([0-9a-f]+)"', answer.text)
    assert again is not None
    assert send(web, "installer", URL, {**save, "mark": again[1]}).status_code == 303


def test_the_file_itself_is_changed_as_text(web: Web) -> None:
    _, mark = opened(web, "?as=text")
    kept = web.parts.service.sites.file(OWN)
    for text, said in (
        (kept.replace("[design]", "[desing]"), "did you mean design"),
        (kept.replace('id = "alder-row"', 'id = "other-row"'), "must stay 'alder-row'"),
        (kept + "\n[", "TOML"),
    ):
        answer = send(web, "installer", URL, {"as": "text", "text": text, "mark": mark, "do": "check"})
        told = unescape(answer.text)
        assert (answer.status_code, said in told) == (422, True)
        assert text.strip() in told, "nothing that was typed is lost"
    good = kept.replace('id = "room"', 'id = "room"\nzone = "upper"')
    shown = send(
        web, "installer", URL, {"as": "text", "text": good.replace("\n", "\r\n"), "mark": mark, "do": "check"}
    )
    assert "upper" in shown.text
    done = send(
        web, "installer", URL, {"as": "text", "text": proposed(shown.text), "mark": mark, "do": "save"}
    )
    assert done.headers["location"] == f"{URL}?saved=1&as=text"
    assert web.parts.service.sites.file(OWN) == good


def test_a_file_that_can_t_be_read_is_mended_as_text(web: Web) -> None:
    from sqlalchemy import update

    from fieldfare.api.state.site_tables import SITES

    good = web.parts.service.sites.file(OWN)
    with web.parts.service.database.writing() as db:
        db.execute(update(SITES).where(SITES.c.id == OWN).values(file=good + "\n[broken"))
    answer = web["installer"].get(URL)
    assert answer.status_code == 200
    mark = re.search(r'name="mark" value="([0-9a-f]+)"', answer.text)
    assert mark is not None
    assert "[broken" in answer.text
    done = send(web, "installer", URL, {"as": "text", "text": good, "mark": mark[1], "do": "save"})
    assert done.status_code == 303
    assert web.parts.service.sites.get(OWN).site.id == OWN


def test_every_key_of_the_site_file_has_a_field_or_a_reason() -> None:
    """A new key of the schema needs words in the form; a key that went is not offered any more."""
    worded = {key for part in PARTS for key in part.keys}
    assert worded | WITHOUT_FIELD.keys() == keys().keys()
    assert not worded & WITHOUT_FIELD.keys()


def test_a_cascade_beside_a_boiler_and_surplus_comes_from_the_form_alone(service: Service) -> None:
    add_site(service, OWN)
    form = {
        "heat_pump.units": "2",
        "other_heat.0.kind": "boiler",
        "other_heat.0.serves": "space_heating",
        "other_heat.0.below_c": "−2,5",
        "other_heat.0.alone": "true",
        "pv.raises_room_k": "1",
    }
    first = edited(service.sites.file(OWN), form)
    points = {f.key for g in groups_of(values_of(first)) if g.title == "Meters and sensors" for f in g.all}
    heat = next(n for n, p in enumerate(parse_site(first).point) if p.quantity == "heat_output")
    assert {f"point.{heat}.includes", f"point.{heat}.heat_pump"} <= points
    site = parse_site(edited(first, {f"point.{heat}.includes": "other_heat", f"point.{heat}.heat_pump": "2"}))
    assert site.other_heat == (OtherHeat(kind="boiler", serves=("space_heating",), below_c=-2.5, alone=True),)
    assert site.pv == Pv(raises_room_k=1.0)
    assert (site.point[heat].includes, site.point[heat].heat_pump) == (("other_heat",), 2)
    gone = edited(first, {key: "" for key in form if key.startswith("other_heat")})
    assert parse_site(gone).other_heat == ()
