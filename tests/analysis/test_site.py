"""Site files: every key is read; every error is reported with key, line and what is allowed."""

from __future__ import annotations

import pytest

from fieldfare.analysis.errors import SiteError
from fieldfare.analysis.plant.load import parse_kept_site, parse_site
from tests.analysis.site_text import WHOLE


def test_every_key_is_read() -> None:
    site = parse_site(WHOLE)
    assert site.id == "alder-row"
    assert site.zone.key == "Europe/London"
    assert site.design.coefficient_w_per_k == pytest.approx(8400.0 / 23.5)
    assert site.heat_pump.rating[0].cop == 4.8
    assert site.heating_curve is not None
    assert site.heating_curve.points[0] == (-3.0, 46.0)
    assert site.hot_water is not None
    assert site.hot_water.pasteurise_every_days == 7
    assert site.cost is not None
    assert site.cost.band[0].price == 0.09
    point = site.find_point("heat")
    assert point is not None
    assert point.to_canonical.scale == pytest.approx(1000.0)  # MWh -> kWh
    assert [p.csv_column for p in site.point] == ["P_el", "heat", "mode"]
    assert site.limits == {"running_above_w": 250.0}


def test_only_what_a_site_is_must_be_given() -> None:
    site = parse_site('[site]\nid = "ab"\nname = "A"\ntimezone = "UTC"\n')
    assert site.hot_water is None
    assert site.heat_pump.source == "air"
    assert site.point == ()


WRONG = [
    (
        "rated_output_kw = 8.5",
        "rated_ouput_kw = 8.5",
        "heat_pump.rated_ouput_kw",
        "did you mean rated_output_kw?",
    ),
    ("[hot_water]", "[hotwater]", "hotwater", "did you mean hot_water?"),
    ('unit = "W"', 'unit = "bar"', "point[1]", "use W or a multiple of it"),
    ('unit = "W"', 'unit = "Wats"', "point[1]", "unknown unit 'Wats'"),
    (
        '"heat_pump_electricity"',
        '"heatpump_electricity"',
        "point[1].quantity",
        "did you mean heat_pump_electricity?",
    ),
    ('as = "power"', 'as = "gauge"', "point[1]", "use power or register or interval"),
    ("cop = 4.8", 'cop = "x"', "heat_pump.rating[1].cop", "is no number"),
    ('id = "heat"', 'id = "hp_elec"', "site file", "the id 'hp_elec' stands twice"),
    ('timezone = "Europe/London"', 'timezone = "Europe/Londn"', "site.timezone", "use an IANA name"),
    ('id = "alder-row"', 'id = "Alder Row"', "site.id", "use 2 to 40 of a to z"),
    ("outdoor_c = -3.0", "outdoor_c = 25.0", "design", "outdoor_c must be below indoor_c"),
    (
        "reheat_below_c = 42.0",
        "reheat_below_c = 52.0",
        "hot_water",
        "reheat_below_c must be below setpoint_c",
    ),
    ("min_output_kw = 2.6", "min_output_kw = 9.6", "heat_pump", "must not be above rated_output_kw"),
    ("[-3.0, 46.0]", "[-3.0, 460.0]", "heating_curve.points[1][2]", "at most 95"),
    (
        "cylinder_litres = 250",
        "cylinder_litres = -250",
        "hot_water.cylinder_litres",
        "at least 1",
    ),
    ('includes = ["circulation_pump"]', 'includes = ["pump"]', "point[1]", "unknown consumer 'pump'"),
    ('"1" = "heating"', '"1" = "heat"', "point[3]", "values.1: 'heat' is not a state"),
    ('pointer = "/power/total"', 'pointer = "power"', "point[1]", "must start with /"),
    (
        "running_above_w = 250.0",
        "running_over_w = 250.0",
        "limits.running_over_w",
        "did you mean running_above_w?",
    ),
    ('name = "Alder Row"\n', "", "site.name", "is missing"),
    (
        'time_format = "iso"',
        'time_format = "%Q"',
        "csv.time_format",
        "must be iso, unix, unix_ms, spreadsheet or a pattern",
    ),
    (
        'time_format = "iso"',
        'time_format = "%s"',
        "csv.time_format",
        "must be iso, unix, unix_ms, spreadsheet or a pattern",
    ),
    ('time_format = "iso"', 'time_format = "%H:%M"', "csv.time_format", "that tells year, month and day"),
    ('decimal = "."', 'decimal = ","', "csv", "delimiter and decimal can't both be ','"),
]


@pytest.mark.parametrize(
    ("right", "wrong", "key", "message"), WRONG, ids=[w[2] + ":" + w[1][:24] for w in WRONG]
)
def test_what_is_wrong_is_told_with_its_key(right: str, wrong: str, key: str, message: str) -> None:
    assert right in WHOLE
    with pytest.raises(SiteError) as refused:
        parse_site(WHOLE.replace(right, wrong, 1), "alder.toml")
    told = [p for p in refused.value.problems if p.key == key]
    assert told, [str(p) for p in refused.value.problems]
    assert message in told[0].message
    assert str(refused.value).startswith("alder.toml: ")
    assert "\n" not in str(refused.value)


def test_the_line_is_named() -> None:
    text = WHOLE.replace("cop = 4.8", "cop = -4.8")
    with pytest.raises(SiteError) as refused:
        parse_site(text)
    line = refused.value.problems[0].line
    assert line is not None
    assert text.splitlines()[line - 1] == "cop = -4.8"


def test_all_problems_are_told_at_once() -> None:
    text = WHOLE.replace("cop = 4.8", "cop = -4.8").replace("litres = 50", "liters = 50")
    with pytest.raises(SiteError) as refused:
        parse_site(text, "a.toml")
    assert {p.key for p in refused.value.problems} >= {
        "heat_pump.rating[1].cop",
        "buffer.liters",
        "buffer.litres",
    }
    assert "and 2 more" in str(refused.value)


def test_broken_toml_is_told_with_its_line() -> None:
    with pytest.raises(SiteError, match=r"a\.toml: line 2: TOML"):
        parse_site('[site]\nid = "ab\n', "a.toml")


def test_bands_must_price_the_whole_day() -> None:
    text = WHOLE.replace("electricity = 0.27\n", "")
    with pytest.raises(SiteError, match="part of the day without a price"):
        parse_site(text)
    rest = '\n[[cost.band]]\nfrom = "05:30"\nto = "00:30"\nprice = 0.30\n'
    assert parse_site(text.replace("price = 0.09\n", "price = 0.09\n" + rest)).cost is not None


def test_a_limit_of_an_earlier_version_is_still_accepted() -> None:
    site = parse_site(WHOLE.partition("[limits]")[0] + "[limits]\ndry_frost_index = 0.1\n")
    assert site.limits == {"dry_frost_index": 0.1}


def test_a_heating_curve_that_rises_with_warmth_is_refused_in_a_line() -> None:
    text = '[site]\nid = "ash-lane"\nname = "Ash"\ntimezone = "UTC"\n[heating_curve]\npoints = {}\n'
    with pytest.raises(SiteError) as refused:
        parse_site(text.format("[[-3.0, 28.0], [5.0, 28.0], [15.0, 46.0]]"))
    assert "heating_curve.points: the flow rises with warmth: 28 C at 5 C outdoors, 46 C at 15 C" in str(
        refused.value
    )
    for falling in ("[[15.0, 28.0], [-3.0, 46.0]]", "[[-3.0, 35.0], [15.0, 35.0]]", "[[0.0, 40.0]]"):
        assert parse_site(text.format(falling)).heating_curve is not None
    kept = parse_kept_site(text.format("[[-3.0, 28.0], [15.0, 46.0]]"))
    assert kept.heating_curve is not None, "what an earlier release took is still read"


@pytest.mark.parametrize(
    ("line", "told"),
    [
        ("name = \u201cAsh\u201d", "name: \u201c is a printer's quotation mark; write a plain \""),
        ("longitude = \u22122.3", "longitude: \u2212 is a long dash; write a plain -"),
        ("latitude: 52.1", "latitude: an equals sign is wanted: latitude = 52.1"),
        ("latitude = 52,1", "latitude: a decimal point is wanted: 52.1"),
    ],
)
def test_a_slip_that_is_no_toml_is_told_with_what_would_be_right(line: str, told: str) -> None:
    with pytest.raises(SiteError) as refused:
        parse_site(f'[site]\nid = "ash"\n{line}\n')
    assert told in str(refused.value)
