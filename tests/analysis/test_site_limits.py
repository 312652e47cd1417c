"""Bounds of site files: accepted files can be analysed; others are refused with their key."""

from __future__ import annotations

from contextlib import suppress
from datetime import UTC, date, datetime, timedelta
from typing import Any

import numpy as np
import pytest
from hypothesis import HealthCheck, event, given, settings
from hypothesis import strategies as st

from fieldfare.analysis.errors import InputError, SiteError
from fieldfare.analysis.facts.build import build_facts
from fieldfare.analysis.findings.limits import LIMITS
from fieldfare.analysis.plant.load import LARGEST_FILE, parse_kept_site, parse_site
from fieldfare.analysis.plant.quantities import QUANTITIES
from fieldfare.analysis.plant.site import Site
from fieldfare.analysis.readings import Readings, Samples
from fieldfare.analysis.reports.result import analyse
from tests.analysis.site_text import WHOLE

DAY = date(2026, 1, 6)

REFUSED = [
    # Mixtures of more than half antifreeze are beyond the property tables (Melinder 2010).
    ("antifreeze_percent = 0", "antifreeze_percent = 55", "heat_pump.antifreeze_percent", "percent by mass"),
    ("handed_over = 2025-09-12", "handed_over = 9999-12-31", "site.handed_over", "from 1990-01-01 to 2100"),
    ("handed_over = 2025-09-12", "handed_over = 1969-12-31", "site.handed_over", "from 1990-01-01 to 2100"),
    ("latitude = 52.1", "latitude = 1" + 400 * "0", "site.latitude", "a size that can be measured"),
    ("latitude = 52.1", "latitude = 1" + 5000 * "0", "TOML", "too large to be read"),
    ("latitude = 52.1", "latitude = true", "site.latitude", "must be a number"),
    ("latitude = 52.1", "latitude = nan", "site.latitude", "is no number"),
    ("heat_loss_kw = 8.4", "heat_loss_kw = 1e-300", "design.heat_loss_kw", "too low; it must be at least"),
    ("outdoor_c = -3.0\n", "outdoor_c = 20.4999\n", "design", "by 1 K at least"),
    # EN 14511 points can't beat Carnot: 308.15 K / 28 K = 11.0.
    ("cop = 4.8", "cop = 11.1", "heat_pump.rating[1]", "thermodynamic limit of 11.0"),
    ("flow_c = 35.0", "flow_c = 7.0", "heat_pump.rating[1]", "flow_c must be above outdoor_c"),
    ('source = "air"', 'source = "brine"', "heat_pump.source", "only air-source units"),
    ('source = "air"', 'source = "water"', "heat_pump.source", "only air-source units"),
    ('id = "alder-row"', 'id = "-alder"', "site.id", "begin or end with a hyphen"),
    ('id = "alder-row"', 'id = "alder-"', "site.id", "begin or end with a hyphen"),
    ('id = "alder-row"', 'id = "alder--row"', "site.id", "two in a row"),
    ('outdoor_from = "beech-end"', 'outdoor_from = "alder-row"', "site.outdoor_from", "another site"),
    ('name = "Alder Row"', 'name = "Al\\nder"', "site.name", "control character"),
    ('name = "Alder Row"', 'name = "Al\\u0000der"', "site.name", "control character"),
    ('refrigerant = "R290"', f'refrigerant = "{"R" * 81}"', "heat_pump.refrigerant", "at most 80"),
    ('column = "P_el"', f'column = "{"c" * 201}"', "point[1].column", "at most 200"),
    ('delimiter = ","', 'delimiter = "é"', "csv.delimiter", "must be a sign"),
    ('delimiter = ","', 'delimiter = "\\n"', "csv.delimiter", "must be a sign"),
    ('time_format = "iso"', 'time_format = "%99999999d%m%Y"', "csv.time_format", "a pattern that tells year"),
    ('unit = "W"', 'unit = "9**9**9*W"', "point[1]", "unknown unit"),
    ('unit = "W"', f'unit = "{"W*" * 30}W"', "point[1]", "at most 40"),
    *(
        ('topic = "gateway7/em/1"', f'topic = "{topic}"', "point[1].topic", message)
        for topic, message in (
            ("gateway7/+/1", "wildcards"),
            ("gateway7/#", "wildcards"),
            ("", "must not be empty"),
            ("a\\u0000b", "control characters"),
            ("a/" * 200, "at most 256"),
            ("$SYS/broker", "must not begin with $"),
            ("$share/group/gateway7", "must not begin with $"),
            ("fieldfare/beech-end/readings", "must not lie under fieldfare/"),
            ("fieldfare", "must not lie under fieldfare/"),
        )
    ),
]


@pytest.mark.parametrize(("right", "wrong", "key", "message"), REFUSED, ids=[r[1][:30] for r in REFUSED])
def test_what_can_t_be_computed_is_refused(right: str, wrong: str, key: str, message: str) -> None:
    assert right in WHOLE
    with pytest.raises(SiteError) as refused:
        parse_site(WHOLE.replace(right, wrong, 1), "alder.toml")
    problem = next(p for p in refused.value.problems if p.key == key)
    assert message in problem.message
    assert problem.line is not None or key in ("TOML", "design")
    assert "\n" not in str(refused.value)
    assert len(str(refused.value)) < 400


@pytest.mark.parametrize(
    "text",
    [
        "x = " + "[" * 2000 + "]" * 2000,
        "x = " + "{a=" * 2000 + "1" + "}" * 2000,
        ".".join("a" * 3000) + " = 1",
        "".join(f"k{n} = 1\n" for n in range(20_000)),
        "#" * LARGEST_FILE,
        "[[point]]\n" * 5000,
    ],
    ids=["arrays", "tables", "dotted keys", "many keys", "large", "many points"],
)
@pytest.mark.timeout(20)
def test_files_made_to_cost_time_are_refused_in_one_line(text: str) -> None:
    with pytest.raises(SiteError) as refused:
        parse_site(f"{WHOLE}\n{text}")
    assert len(str(refused.value)) < 400


def test_a_kept_site_of_an_earlier_release_is_still_read() -> None:
    old = (
        WHOLE.replace("gateway7/em/1", "gateway7/+/1")
        .replace('"air"', '"brine"')
        .replace("alder-row", "a--b")
    )
    assert parse_kept_site(old).id == "a--b"


def made_day(site: Site) -> Readings:
    """One day and its neighbours of ten-minute readings, in the site's own units, running two hours in
    three."""
    start = int(datetime(2026, 1, 5, tzinfo=UTC).timestamp()) * 1000
    time = start + np.arange(0, 3 * 144, dtype=np.int64) * 600_000
    on = np.arange(len(time)) % 18 < 12
    typical: dict[str, Any] = {
        "W": np.where(on, 1500.0, 12.0),
        "degC": np.where(on, 38.0, 30.0),
        "m3/h": np.where(on, 1.1, 0.0),
        "%": np.where(on, 80.0, 60.0),
        "W/m2": np.where(on, 100.0, 0.0),
        "bar": np.full(len(time), 1.5),
        "count": np.arange(len(time)) * 1.0,
        "h": np.arange(len(time)) * 0.1,
        "": on * 1.0,
    }
    out: Readings = {}
    for point in site.point:
        if point.kind.is_text:
            out[point.id] = Samples(time, np.array(["E1"] * len(time), dtype=object))
            continue
        unit = point.kind.unit
        values = typical[unit]
        if point.quantity == "outdoor_temperature":
            values = np.where(on, 2.0, 4.0)
        if point.form == "register" and unit == "W":
            values = 100.0 + np.cumsum(typical["W"]) / 6000.0
        elif point.form == "interval":
            values = typical["W"] / 6000.0
        scale, offset = point.to_canonical
        out[point.id] = Samples(time, (values - offset) / scale)
    return out


def numbers(low: float, high: float) -> st.SearchStrategy[str]:
    """Numbers of a range, often its ends and its middle; now and then one beyond it."""
    inside = st.one_of(st.floats(low, high), st.sampled_from([low, high, (low + high) / 2]))
    beyond = st.sampled_from([low - 1.0, high + 1.0, 0.0, 1e9, 9e99])
    return st.integers(0, 40).flatmap(lambda n: beyond if n == 40 else inside).map(repr)


POINTS = st.builds(
    dict,
    quantity=st.sampled_from(sorted(QUANTITIES)),
    pick=st.integers(0, 3),
    meter=st.sampled_from([None, None, "A", "B", "C", "1", "2", "3"]),
    stamp=st.sampled_from(["start", "end"]),
    corrected=st.booleans(),
    includes=st.sampled_from([None, None, "circulation_pump", "fan", "backup_heater"]),
    zone=st.sampled_from(["house", "upstairs"]),
)
KEYS: dict[str, dict[str, st.SearchStrategy[str]]] = {
    "site": {
        "latitude": numbers(-90, 90),
        "longitude": numbers(-180, 180),
        "floor_area_m2": numbers(5, 1e5),
        "handed_over": st.dates(date(1990, 1, 1), date(2100, 12, 31)).map(str),
        "timezone": (
            st.sampled_from(
                [
                    "Europe/London",
                    "Pacific/Apia",
                    "Pacific/Kiritimati",
                    "America/St_Johns",
                    "Asia/Kathmandu",
                    "UTC",
                    "Antarctica/Troll",
                    "Etc/GMT+12",
                ]
            ).map(repr)
        ),
    },
    "design": {
        "heat_loss_kw": numbers(0.05, 2000),
        "indoor_c": numbers(5, 35),
        "outdoor_c": numbers(-50, 50),
        "space_heat_kwh_per_year": numbers(1, 2e7),
        "hot_water_kwh_per_year": numbers(1, 2e7),
        "spf_space": numbers(0.5, 12),
        "spf_hot_water": numbers(0.5, 12),
        "bivalent_c": numbers(-50, 50),
    },
    "heat_pump": {
        "rated_output_kw": numbers(0.05, 2000),
        "min_output_kw": numbers(0.05, 2000),
        "max_flow_c": numbers(25, 95),
        "flow_m3_per_h": numbers(0.01, 1000),
        "antifreeze_percent": numbers(0, 50),
        "antifreeze": st.sampled_from(["none", "propylene_glycol", "ethylene_glycol"]).map(repr),
    },
    "hot_water": {
        "cylinder_litres": numbers(1, 1e5),
        "setpoint_c": numbers(30, 80),
        "reheat_below_c": numbers(20, 80),
        "pasteurise_c": numbers(50, 90),
        "pasteurise_every_days": st.integers(1, 366).map(str),
        "standing_loss_kwh_per_day": numbers(0.01, 1000),
    },
    "buffer": {"litres": numbers(1, 1e5), "arrangement": st.sampled_from(["series", "parallel"]).map(repr)},
    "cost": {
        "electricity": numbers(0, 1000),
        "standing_charge_per_day": numbers(0, 1000),
        "previous_fuel": (
            st.sampled_from(["heating_oil", "natural_gas", "lpg", "electricity", "none"]).map(repr)
        ),
        "previous_fuel_price": numbers(0, 1000),
        "previous_efficiency": numbers(0.05, 5),
    },
}


@st.composite
def site_files(draw: st.DrawFn) -> str:
    """Site files with any of the keys, their values in and out of range."""
    lines = ["[site]", 'id = "made-home"', 'name = "Made Home"']
    for section, keys in KEYS.items():
        if section != "site":
            if not draw(st.booleans()):
                continue
            lines.append(f"[{section}]")
        for key, values in keys.items():
            if key == "timezone" or draw(st.booleans()):
                lines.append(f"{key} = {draw(values)}")
    for _ in range(draw(st.integers(0, 3))):
        lines += ["[[emitter]]", 'kind = "radiator"', f"output_kw = {draw(numbers(0.05, 2000))}"]
        lines.append(f"output_excess_k = {draw(numbers(1, 100))}")
    if draw(st.booleans()):
        curve = draw(st.lists(st.tuples(numbers(-50, 50), numbers(-20, 95)), min_size=1, max_size=4))
        lines += ["[heating_curve]", f"points = [{', '.join(f'[{a}, {b}]' for a, b in curve)}]"]
    for _ in range(draw(st.integers(0, 3))):
        if "[heat_pump]" in lines:
            lines += ["[[heat_pump.rating]]"]
            lines += [f"outdoor_c = {draw(numbers(-50, 50))}", f"flow_c = {draw(numbers(-20, 95))}"]
            lines += [f"output_kw = {draw(numbers(0.05, 2000))}", f"cop = {draw(numbers(0.8, 15))}"]
    if draw(st.booleans()):
        lines.append("[limits]")
        names = draw(st.lists(st.sampled_from(sorted(LIMITS)), unique=True, max_size=5))
        lines += [f"{name} = {draw(numbers(-1e6, 1e6))}" for name in names]
    for number, point in enumerate(draw(st.lists(POINTS, max_size=14))):
        known = QUANTITIES[point["quantity"]]
        lines += ["[[point]]", f'id = "p{number}"', f'quantity = "{point["quantity"]}"']
        lines += [f'as = "{known.forms[point["pick"] % len(known.forms)]}"', f'stamp = "{point["stamp"]}"']
        lines += [f'meter_class = "{point["meter"]}"'] if point["meter"] else []
        lines += [f"antifreeze_corrected = {str(point['corrected']).lower()}", f'zone = "{point["zone"]}"']
        lines += [f'includes = ["{point["includes"]}"]'] if point["includes"] else []
    return "\n".join(lines)


@settings(max_examples=200, deadline=None, suppress_health_check=list(HealthCheck), derandomize=True)
@given(site_files())
@pytest.mark.filterwarnings("ignore::RuntimeWarning")
def test_any_site_file_that_is_accepted_can_be_analysed(text: str) -> None:
    with suppress(InputError):
        site = parse_site(text)
        event("accepted")
        facts = build_facts(site, made_day(site), DAY - timedelta(1), DAY + timedelta(1))
        analyse(site, facts, DAY - timedelta(1), DAY + timedelta(1)).as_dict()
        event("analysed")


JUNK = st.one_of(
    st.sampled_from(
        [
            "nan",
            "inf",
            "-inf",
            "1e400",
            "9" * 400,
            "true",
            "[]",
            "{}",
            "[[1, 2], [3]]",
            '""',
            '"\\u0000"',
            '"x"',
            "1979-05-27",
            "07:32:00",
            "1979-05-27T07:32:00Z",
            "'" * 3,
            "[" * 800,
            '"' + "y" * 5000 + '"',
            "{a = {b = {c = 1}}}",
            "0x1F",
            "-1",
            "0",
        ]
    ),
    st.text(max_size=10),
)
LINES = WHOLE.splitlines()


@settings(max_examples=250, deadline=None, suppress_health_check=list(HealthCheck), derandomize=True)
@given(
    st.lists(
        st.tuples(st.integers(0, len(LINES) - 1), JUNK, st.sampled_from(["value", "line", "drop", "twice"])),
        min_size=1,
        max_size=3,
    )
)
def test_a_site_file_with_anything_in_it_is_read_or_refused_in_lines(
    changes: list[tuple[int, str, str]],
) -> None:
    lines = list(LINES)
    for number, junk, how in changes:
        key = lines[number].partition("=")[0]
        lines[number] = {
            "value": f"{key}= {junk}",
            "line": junk,
            "drop": "",
            "twice": f"{lines[number]}\n{lines[number]}",
        }[how]
    problems: tuple[object, ...] = ()
    try:
        parse_site("\n".join(lines), "made.toml")
    except SiteError as error:
        problems = error.problems
    assert all("\n" not in str(problem) and len(str(problem)) < 600 for problem in problems)
