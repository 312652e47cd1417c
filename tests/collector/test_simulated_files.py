"""Simulated plants as files, from the command line, and as the demo's fleet."""

import gzip
import json
import tomllib
from datetime import date, timedelta
from itertools import pairwise

import numpy as np
import pandas as pd
import pytest

from fieldfare.collector.simulated.__main__ import main
from fieldfare.collector.simulated.export import write
from fieldfare.collector.simulated.fleet import demo_fleet
from fieldfare.collector.simulated.plant import random_plant, simulate

# Keys the site file's contract names, by table.
KEYS = {
    "site": "id name timezone latitude longitude handed_over floor_area_m2 outdoor_from",
    "design": (
        "heat_loss_kw indoor_c outdoor_c space_heat_kwh_per_year hot_water_kwh_per_year spf_space"
        " spf_hot_water bivalent_c"
    ),
    "heat_pump": (
        "source rated_output_kw min_output_kw max_flow_c flow_m3_per_h antifreeze antifreeze_percent"
        " refrigerant rating"
    ),
    "heating_curve": "points",
    "emitter": "zone kind output_kw output_excess_k",
    "hot_water": (
        "cylinder_litres setpoint_c reheat_below_c pasteurise_c pasteurise_every_days"
        " standing_loss_kwh_per_day"
    ),
    "buffer": "litres arrangement",
    "cost": (
        "currency electricity band standing_charge_per_day previous_fuel previous_fuel_price"
        " previous_efficiency"
    ),
    "csv": "time_column timezone time_format delimiter decimal",
    "point": (
        "id quantity as unit column topic pointer includes stamp meter_class zone antifreeze_corrected values"
    ),
}


@pytest.fixture(scope="module")
def autumn():
    """Three days over the repeated hour of October."""
    return simulate(random_plant(2, "mild", "full", every_s=300), date(2025, 10, 25), 3)


@pytest.mark.parametrize("seed", range(60, 72))
def test_site_files_have_only_the_contract_s_keys(seed):
    site = tomllib.loads(simulate(random_plant(seed), date(2025, 1, 1), 1).site_toml)
    assert set(site) <= set(KEYS)
    for table, content in site.items():
        for row in content if isinstance(content, list) else [content]:
            assert set(row) <= set(KEYS[table].split()), table
    for row in site["heat_pump"]["rating"]:
        assert set(row) == {"outdoor_c", "flow_c", "output_kw", "cop"}


def test_wide_csv_has_a_row_an_instant_and_words_for_modes(autumn, tmp_path):
    site, table, truth = write(autumn, tmp_path)
    frame = pd.read_csv(table)
    assert list(frame.columns) == ["time", *(m.id for m in autumn.spec.meters)]
    assert frame["time"].is_unique
    assert set(frame["mode"].dropna()) <= {"off", "heating", "hot_water", "defrost"}
    hp = autumn.readings["hp_elec"]
    read = frame.dropna(subset=["hp_elec"])
    assert read["hp_elec"].tolist() == hp.value.tolist()
    assert pd.to_datetime(read["time"]).astype("int64").iloc[0] in {
        hp.time[0],
        hp.time[0] * 1_000,
        hp.time[0] * 1_000_000,
    }
    assert json.loads(truth.read_text())["spf"]["H4"] == pytest.approx(autumn.truth.spf["H4"])
    assert tomllib.loads(site.read_text())["csv"]["timezone"] == "UTC"


def test_missing_readings_are_empty_cells(tmp_path):
    plant = simulate(random_plant(6, "mild", "rich"), date(2025, 1, 1), 4)
    _, table, _ = write(plant, tmp_path)
    rows = table.read_text().splitlines()
    width = rows[0].count(",")
    assert all(r.count(",") == width for r in rows)
    gaps = sum(r.split(",").count("") for r in rows)
    readings = sum(len(s.time) for s in plant.readings.values())
    assert gaps == (len(rows) - 1) * width - readings > 0


def test_long_gzip_local_semicolons_and_decimal_commas(autumn, tmp_path):
    site, table, _ = write(
        autumn, tmp_path, form="long", gzip=True, naive_local=True, delimiter=";", decimal=","
    )
    csv = tomllib.loads(site.read_text())["csv"]
    assert (csv["delimiter"], csv["decimal"], csv["timezone"]) == (";", ",", "Europe/London")
    with gzip.open(table, "rt") as lines:
        assert next(lines).strip() == "time;point;value"
        rows = [line.strip().split(";") for line in lines]
    outdoor = [r for r in rows if r[1] == "outdoor"]
    assert any("," in r[2] for r in outdoor)
    assert not any("." in r[2] for r in outdoor)
    values = [float(r[2].replace(",", ".")) for r in outdoor]
    assert values == pytest.approx(autumn.readings["outdoor"].value.tolist())
    times = [r[0] for r in outdoor]
    repeated = [t for t in times if t.startswith("2025-10-26T01:")]
    assert len(set(repeated)) < len(repeated)  # the hour stands there twice, in order
    falls = [i for i, (a, b) in enumerate(pairwise(times)) if b < a]
    assert len(falls) == 1


def test_delimiter_and_decimal_must_differ(autumn, tmp_path):
    with pytest.raises(ValueError, match="differ"):
        write(autumn, tmp_path, delimiter=",", decimal=",")


def test_command_writes_plants_with_a_fault(tmp_path, capsys):
    args = ["--out", str(tmp_path), "--seed", "4", "--plants", "2", "--days", "3", "--start", "2025-01-06"]
    assert (
        main(
            [*args, "--climate", "mild", "--meters", "rich", "--fault", "high_standby", "--strength", "gross"]
        )
        == 0
    )
    assert len(capsys.readouterr().out.splitlines()) == 2
    truth = json.loads((tmp_path / "plant-5.truth.json").read_text())
    assert truth["faults"][0]["code"] == "high_standby"
    assert len(truth["days"]) == 3


def test_command_says_what_does_not_fit(tmp_path, capsys):
    args = ["--out", str(tmp_path), "--days", "2", "--meters", "hourly"]
    assert main([*args, "--fault", "flow_return_swapped"]) == 2
    assert "flow_temperature" in capsys.readouterr().err


def test_demo_fleet_is_fourteen_named_systems_that_end_yesterday():
    today = date(2026, 2, 10)
    fleet = demo_fleet(today)
    assert len(fleet) == 14
    assert len({d.spec.id for d in fleet}) == len({d.spec.name for d in fleet}) == 14
    assert all(d.start + timedelta(days=d.days) == today for d in fleet)
    assert sum(not d.spec.faults for d in fleet) == 5
    assert all(len(d.spec.faults) <= 1 for d in fleet)
    assert sum(d.days > 400 and all(m.every_s == 60 for m in d.spec.meters) for d in fleet) == 2
    thin = [d for d in fleet if all(m.every_s == 3600 for m in d.spec.meters)]
    assert [sorted(m.quantity for m in d.spec.meters) for d in thin] == [
        ["heat_output", "heat_pump_electricity"]
    ]
    again = demo_fleet(today)
    assert [d.spec for d in fleet] == [d.spec for d in again]


@pytest.mark.parametrize("today", [date(2026, 7, 1), date(2026, 11, 25)])
def test_demo_fleet_holds_cold_weather_whenever_it_is_made(today):
    hourly = next(d for d in demo_fleet(today) if d.spec.id == "osier-bed")
    readings = hourly.simulate().readings["heat_kwh"]
    assert np.ptp(readings.value) > 1500.0
