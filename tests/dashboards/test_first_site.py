"""A site file by form, and CSV columns as they are recognised."""

from __future__ import annotations

import re
from datetime import UTC, datetime, timedelta

import pytest

from fieldfare.analysis.errors import SiteError
from fieldfare.analysis.plant.load import parse_site
from fieldfare.collector.csv.column_mapping import points_toml, propose
from fieldfare.dashboards.pages import site_form_page, site_toml
from fieldfare.dashboards.site_form.new import short_name

FORM = {
    "site.name": 'Alder "Row"',
    "site.id": "",
    "site.timezone": "Europe/London",
    "site.handed_over": "2025-09-12",
    "design.heat_loss_kw": "8,4",
    "design.outdoor_c": "−3",
    "heat_pump.source": "air",
    "heat_pump.antifreeze": "none",
    "heat_pump.rating.0.outdoor_c": "7",
    "heat_pump.rating.0.flow_c": "35",
    "heat_pump.rating.0.cop": "4.8",
    "heating_curve.points.0.0": "-3",
    "heating_curve.points.0.1": "46",
    "heating_curve.points.1.0": "15",
    "heating_curve.points.1.1": "28",
    "hot_water.setpoint_c": "50",
    "cost.currency": "GBP",
    "cost.electricity": "0.27",
    "cost.previous_fuel": "none",
    "csrf": "x",
}


def test_a_filled_form_is_a_good_site_file() -> None:
    site = parse_site(site_toml(FORM))
    assert (site.id, site.name, site.design.heat_loss_kw, site.design.outdoor_c) == (
        "alder-row",
        'Alder "Row"',
        8.4,
        -3.0,
    )
    assert site.heating_curve is not None
    assert site.heating_curve.points == ((-3.0, 46.0), (15.0, 28.0))
    assert site.heat_pump.rating[0].cop == 4.8


@pytest.mark.parametrize(
    ("key", "value"),
    [
        ("design.heat_loss_kw", "much"),
        ("site.timezone", "Mars/North"),
        ("heat_pump.rating.0.cop", "99"),
        ("site.handed_over", "soon"),
        ("hot_water.setpoint_c", "5"),
        ("heating_curve.points.1.1", "300"),
        ("heat_pump.rating.2.cop", "0.1"),
    ],
)
def test_what_is_wrong_comes_back_at_the_fields_key(key: str, value: str) -> None:
    form = FORM | {key: value}
    with pytest.raises(SiteError) as caught:
        parse_site(site_toml(form))
    page = site_form_page(form, caught.value.problems, "", {"role": "installer"})
    field = re.search(rf'name="{re.escape(key)}".*?</div>', page, re.S)
    assert field is not None
    assert 'class="wrong"' in field[0]
    assert page.count('class="wrong"') == len(caught.value.problems)


def test_text_cannot_leave_its_quotes() -> None:
    site = parse_site(site_toml(FORM | {"site.name": 'x"\n[cost]\nelectricity = 9'}))
    assert site.cost is not None
    assert site.cost.electricity == 0.27


def test_short_names_are_good_ids() -> None:
    assert short_name("  Großes Haus, No. 7 ") == "gro-es-haus-no-7"


CSV = (
    "Time;P_el [W];Heat energy [kWh];Vorlauf [°C];Return temp [°C];Flow rate [l/min];Outside [°C];"
    """Room;Mode;Comment
2026-01-01 00:00;1200,5;100,1;38,2;33,0;21,5;-1,0;20,1;heating;a
2026-01-01 00:01;1210,0;100,2;38,3;33,1;21,5;-1,0;20,1;heating;b
2026-01-01 00:02;1190,0;100,3;38,3;33,1;21,5;-1,1;20,1;defrost;c
"""
)


def test_columns_are_recognised_with_form_and_unit() -> None:
    proposal = propose(CSV)
    assert (proposal.delimiter, proposal.decimal, proposal.time_column, proposal.is_long) == (
        ";",
        ",",
        "Time",
        False,
    )
    found = {c.name: (c.quantity, c.form, c.unit) for c in proposal.columns}
    assert found == {
        "P_el [W]": ("heat_pump_electricity", "power", "W"),
        "Heat energy [kWh]": ("heat_output", "register", "kWh"),
        "Vorlauf [°C]": ("flow_temperature", "gauge", "degC"),
        "Return temp [°C]": ("return_temperature", "gauge", "degC"),
        "Flow rate [l/min]": ("flow_rate", "gauge", "l/min"),
        "Outside [°C]": ("outdoor_temperature", "gauge", "degC"),
        "Room": ("room_temperature", "gauge", "degC"),
        "Mode": ("operating_mode", "state", ""),
        "Comment": ("", "", ""),
    }


def test_the_agreed_columns_make_a_good_site_file() -> None:
    proposal = propose(CSV)
    form = {
        "delimiter": proposal.delimiter,
        "decimal": proposal.decimal,
        "time_column": "Time",
        "timezone": "Europe/London",
    }
    for n, c in enumerate(proposal.columns):
        form |= {f"column.{n}": c.name, f"quantity.{n}": c.quantity, f"as.{n}": c.form, f"unit.{n}": c.unit}
    site = parse_site(site_toml(FORM) + points_toml(form))
    assert len(site.point) == 8
    assert site.csv.delimiter == ";"
    assert {p.csv_column for p in site.points_of("outdoor_temperature")} == {"Outside [°C]"}
    assert next(site.points_of("flow_rate")).to_canonical.scale == pytest.approx(0.06)


@pytest.mark.parametrize(
    ("form", "written"),
    [
        ("%d/%m/%Y %H:%M", "%d/%m/%Y %H:%M"),
        ("%m/%d/%Y %I:%M %p", "%m/%d/%Y %I:%M %p"),
        ("%d.%m.%Y %H:%M:%S", "%d.%m.%Y %H:%M:%S"),
        ("iso", "%Y-%m-%d %H:%M"),
        ("iso", "%Y-%m-%dT%H:%M:%SZ"),
        ("unix", "%s"),
    ],
)
def test_how_times_are_written_is_recognised(form: str, written: str) -> None:
    # The first twelve days of a month, on which day and month could be either.
    start = datetime(2026, 2, 1, tzinfo=UTC)
    times = [(start + timedelta(hours=n)).strftime(written) for n in range(200)]
    text = "Zeit;Vorlauf\n" + "\n".join(f"{t};{30 + n % 5}" for n, t in enumerate(times))
    proposal = propose(text)
    assert proposal.time_format == form
    sections = points_toml({"time_column": "Zeit", "time_format": proposal.time_format})
    assert f'time_format = "{form}"' in sections


def test_a_long_table_is_recognised_by_its_points() -> None:
    proposal = propose("time,point,value\n2026-01-01T00:00Z,hp_power,900\n2026-01-01T00:00Z,outdoor,3.5\n")
    assert proposal.is_long
    assert [(c.name, c.quantity) for c in proposal.columns] == [
        ("hp_power", "heat_pump_electricity"),
        ("outdoor", "outdoor_temperature"),
    ]


@pytest.mark.parametrize("text", ["", "only a header,x\n", "one column\n1\n2\n"])
def test_what_cannot_be_read_is_told(text: str) -> None:
    assert propose(text).problem


def test_times_of_an_unknown_form_are_said() -> None:
    told = propose("Time,kWh\n5th of January,1.0\n6th of January,1.2\n")
    assert "not a known form" in told.problem


def test_a_unit_anywhere_in_a_name_counts() -> None:
    told = propose("Time,kWh import,Heat kW,A W\n2025-01-05 00:00,1.0,2,3\n2025-01-05 00:30,1.2,2,3\n")
    assert [c.unit for c in told.columns] == ["kWh", "kW", "W"]
    assert told.columns[0].form == "interval"


def test_a_new_home_has_its_contact_and_is_offered_time_zones() -> None:
    form = FORM | {"contact.name": "A. Miller", "contact.address": "1 Alder Row"}
    site = parse_site(site_toml(form))
    assert site.contact is not None
    assert (site.contact.name, site.contact.address) == ("A. Miller", "1 Alder Row")
    page = site_form_page({}, [], "", {"role": "installer", "csrf": "x"})
    assert 'name="contact.address"' in page
    assert '<option value="Europe/London">' in page.split("<datalist")[1]


def test_an_empty_form_asks_for_no_short_name() -> None:
    """It follows the name, as its hint says."""
    with pytest.raises(SiteError) as caught:
        parse_site(site_toml({}))
    page = site_form_page({}, caught.value.problems, "", {"role": "installer", "csrf": "x"})
    assert 'id="f-site-name-e"' in page
    assert 'id="f-site-id-e"' not in page
