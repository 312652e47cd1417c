"""Schema of the days table: every column is described and used, and sites have the columns they can fill."""

from __future__ import annotations

import ast
import re
from functools import cache
from pathlib import Path

import numpy as np
import pytest

import fieldfare.analysis.facts.build as build
from fieldfare.analysis.facts.columns import COLUMNS, absent_value, carried
from fieldfare.analysis.facts.columns.column import DayColumn
from fieldfare.analysis.facts.event_columns import DEFROST_COLUMNS, REHEAT_COLUMNS, RUN_COLUMNS
from fieldfare.analysis.facts.table import Table, joined
from fieldfare.analysis.plant.quantities import QUANTITIES
from tests.analysis.small_plant import ALL, Small

ROOT = Path(__file__).parents[2]
FACTS = ROOT / "analysis" / "facts"
READERS = ("floats", "total", "mean", "median", "knows", "known_sum")
THREE_POINTS = ("elec_kwh", "heat_kwh", "outdoor")


@cache
def words(path: Path) -> tuple[frozenset[str], tuple[re.Pattern[str], ...]]:
    """Texts of a file, and a pattern for each text with gaps that begins with a word."""
    plain, gaps = set(), []
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Constant) and isinstance(node.value, str):
            plain.add(node.value)
        elif isinstance(node, ast.JoinedStr):
            parts = [
                re.escape(p.value) if isinstance(p, ast.Constant) and isinstance(p.value, str) else r"\w*"
                for p in node.values
            ]
            if len(parts[0]) >= 4 and parts[0] != r"\w*":
                gaps.append(re.compile("".join(parts)))
    return frozenset(plain), tuple(gaps)


def names(path: Path, column: DayColumn) -> bool:
    """Whether a file has the column's name as a text, also put together from parts."""
    plain, gaps = words(path)
    return column.name in plain or any(gap.fullmatch(column.name) for gap in gaps)


def files(*rooms: str) -> list[Path]:
    return [p for room in rooms for p in (ROOT / room).rglob("*.py") if FACTS / "columns" not in p.parents]


def test_each_column_is_made_by_its_module() -> None:
    lost = [c.name for c in COLUMNS.values() if not names(FACTS / f"{c.source}.py", c)]
    assert lost == []


def test_each_column_is_read_outside_its_module() -> None:
    readers = files("analysis", "dashboards", "api")
    dead = [
        c.name
        for c in COLUMNS.values()
        if not any(names(p, c) for p in readers if p != FACTS / f"{c.source}.py")
    ]
    assert dead == []


def test_each_column_that_is_read_exists() -> None:
    """A wrong name would read as unknown on every day."""
    events = {*RUN_COLUMNS, *DEFROST_COLUMNS, *REHEAT_COLUMNS}
    others = {name for f in ("rests", "faults", "notices", "events") for name in words(FACTS / f"{f}.py")[0]}
    known = {*COLUMNS, *events, *others}
    bad = []
    for path in files("analysis", "dashboards", "api"):
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if not isinstance(node, ast.Call) or not node.args:
                continue
            reads = isinstance(node.func, ast.Attribute) and node.func.attr in READERS
            given = node.args[0]
            if reads and isinstance(given, ast.Constant) and isinstance(given.value, str):
                name = given.value
                if name not in known and name.partition(".")[0] + "." not in known:
                    bad.append(f"{path.relative_to(ROOT)}:{node.lineno} {name}")
    assert not bad


def test_rows_of_the_schema_are_sound() -> None:
    parts = [column.name for column in COLUMNS.values()]
    assert len(parts) == len(set(parts))
    for column in COLUMNS.values():
        assert column.meaning.endswith("."), column.name
        assert {q for need in column.needs for q in need.split("|")} <= {
            *QUANTITIES,
            "no_hot_water",
            "cooling",
        }, column.name
        if column.name.startswith("minutes_"):
            assert column.unit == "min", column.name
        for end, unit in (("_kwh", "kWh"), ("_c", "°C"), ("_k_per_h", "K/h"), ("_over_k", "K")):
            assert not column.name.endswith(end) or column.unit == unit, column.name


def test_a_name_without_a_row_is_refused() -> None:
    with pytest.raises(KeyError):
        carried(Small(ids=THREE_POINTS, days=1).site, {"minutes_runing": 0})


@pytest.fixture(scope="module")
def all_of_three() -> tuple[Table, Table]:
    """Days of a site with three points: as it carries them, and as they would be with every column."""
    plant = Small(ids=THREE_POINTS, days=4)
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(build, "carried", lambda site, columns: dict(columns))
        whole = plant.facts.days
    return plant.facts.days, whole


def test_three_points_carry_only_what_they_can_fill(all_of_three: tuple[Table, Table]) -> None:
    days, whole = all_of_three
    empty = [name for name in days.names if days[name].dtype.kind == "f" and not days.knows(name)]
    assert empty == []
    assert len(days.names) < 0.6 * len(whole.names)
    assert not {"room", "flow", "pressure", "flow_rate", "minutes_full_speed"} & set(days.names)


@pytest.mark.parametrize("ids", [THREE_POINTS, ("elec",), ("heat", "outdoor"), ("outdoor", "room"), ALL])
def test_what_a_site_does_not_carry_reads_the_same(ids: tuple[str, ...]) -> None:
    plant = Small(ids=ids, days=3)
    days = plant.facts.days
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(build, "carried", lambda site, columns: dict(columns))
        whole = plant.facts.days
    for name in whole.names:
        if name not in days and absent_value(name) is None:
            assert not np.nansum(whole[name]), f"{name} has values"
            continue
        np.testing.assert_array_equal(days[name], whole[name], err_msg=name)
        assert days.knows(name) == whole.knows(name), name
        if whole[name].dtype.kind != "M":
            np.testing.assert_array_equal(days.floats(name), whole.floats(name), err_msg=name)


def test_months_with_and_without_a_sensor_join() -> None:
    day = np.array(["2026-01-01"], "datetime64[us]")
    bare, full = (
        Table({"day": day}),
        Table({"day": day + 86_400_000_000, "room": 20.0, "minutes_full_speed": 5}),
    )
    both = joined([bare, full])
    np.testing.assert_array_equal(both["room"], [np.nan, 20.0])
    np.testing.assert_array_equal(both["minutes_full_speed"], [0, 5])
    assert absent_value("imaginary") is None
    with pytest.raises(KeyError):
        bare["imaginary"]
