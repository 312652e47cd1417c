"""Weather of a station or of another site for a home without an outdoor sensor."""

from __future__ import annotations

import gzip
import json
from datetime import date
from pathlib import Path

import numpy as np
import pytest

from fieldfare.analysis.errors import InputError, SiteError
from fieldfare.analysis.plant.load import parse_site
from fieldfare.api.cli.entry import run
from fieldfare.api.core.sites import admitted
from fieldfare.api.core.weather import station_key
from fieldfare.collector.weather_file import read_weather

SITE = """[site]
id = "elm"
name = "Elm"
timezone = "Europe/Zurich"
{weather}
[csv]
time_column = "time"
[[point]]
id = "unit"
quantity = "heat_pump_electricity"
as = "interval"
unit = "kWh"
"""
STATION = '[weather]\nfile = "station.csv"\nstation = "Valley station"\n'


def site_with(weather: str):
    return parse_site(SITE.format(weather=weather))


def test_days_stand_for_all_their_hours(tmp_path: Path) -> None:
    """Europe/Zurich: 28 March 2021 has 23 hours, 31 October 25 (IANA time zone database)."""
    file = tmp_path / "station.csv"
    file.write_text("day,outdoor_c\n2021-03-28,4.5\n2021-10-31,9\n2021-11-01,\n")
    found = read_weather(site_with(STATION), file)["station.outdoor_temperature"]
    assert list(found.value) == [4.5] * 23 + [9.0] * 25
    assert np.datetime64(int(found.time[0]), "ms") == np.datetime64("2021-03-27T23:00")


def test_hours_with_humidity_and_sun_and_an_offset(tmp_path: Path) -> None:
    file = tmp_path / "station.csv.gz"
    file.write_bytes(
        gzip.compress(
            b"time,outdoor_c,humidity_percent,sun_w_m2\n2021-01-01T01:00:00+01:00,-2,90,0\n"
            b"2021-01-01T01:00Z,-3,,5\n"
        )
    )
    found = read_weather(site_with(STATION), file)
    temperature = found["station.outdoor_temperature"]
    assert list(np.diff(temperature.time)) == [3_600_000]
    assert list(temperature.value) == [-2.0, -3.0]
    assert list(found["station.outdoor_humidity"].value) == [90.0]
    assert list(found["station.solar_irradiance"].value) == [0.0, 5.0]


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("time,temp\n2021-01-01T00:00Z,1\n", "line 1: unknown column 'temp'"),
        ("outdoor_c\n3\n", "line 1: the header"),
        ("day,outdoor_c\n2021-13-01,1\n", "line 2: '2021-13-01' is no day"),
        ("time,outdoor_c\nyesterday,1\n", "line 2: 'yesterday' is no time"),
        ("day,outdoor_c\n2021-01-01,cold\n", "line 2: 'cold' under outdoor_c is no number"),
        ("day,outdoor_c\n2021-01-01,400\n", "outside"),
        ("day,outdoor_c\n2021-01-01,nan\n", "outside"),
        ("day,outdoor_c\n2021-01-01\n", "line 2: 1 cells under 2 columns"),
        ("day,outdoor_c\n", "no temperature"),
        ("day,outdoor_c\n0001-01-01,1\n", "line 2: the time .* is before 1990"),
        ("day,outdoor_c\n9999-12-31,1\n", "line 2: 9999-12-31 lies in the future"),
        ("time,outdoor_c\n9999-12-31T23:59:59-14:00,1\n", "line 2: the time .* lies in the future"),
        (f"time,outdoor_c\n2021-01-01T00:00Z,{'9' * 200_000}\n", "can't be read as CSV"),
    ],
)
def test_a_wrong_file_is_refused_with_its_line(tmp_path: Path, text: str, said: str) -> None:
    file = tmp_path / "station.csv"
    file.write_text(text)
    with pytest.raises(InputError, match=said.replace("(", r"\(")):
        read_weather(site_with(STATION), file)


@pytest.mark.parametrize(
    ("weather", "said"),
    [
        ('[weather]\nfile = "a.csv"\nsite = "ash"\n', "not both"),
        ('[weather]\nfile = "../a.csv"\n', "without folders"),
        ('[weather]\nsite = "elm"\n', "another site"),
    ],
)
def test_a_wrong_section_is_refused(weather: str, said: str) -> None:
    with pytest.raises(SiteError, match=said):
        admitted(SITE.format(weather=weather))


def quarter_hours(file: Path, days: int) -> None:
    """Electricity of 6 kWh a day and 2 kWh for each kelvin below 15 °C; the weather is `temperature` of the
    day's number."""
    lines = ["time,unit"]
    for n in range(days * 96):
        kwh = (6.0 + 2.0 * max(15.0 - temperature(n // 96), 0.0)) / 96.0
        stamp = np.datetime64("2021-01-01T00:00") + np.timedelta64(15 * n, "m") - np.timedelta64(60, "m")
        lines.append(f"{stamp}:00Z,{kwh:.5f}")
    file.write_text("\n".join(lines))


def temperature(day: int) -> float:
    return round(10.0 + 9.0 * np.sin(day * 2.1), 1)


def test_site_file_names_its_station_and_the_signature_follows(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    days = 60
    (tmp_path / "elm.toml").write_text(SITE.format(weather=STATION))
    first = np.datetime64("2021-01-01")
    (tmp_path / "station.csv").write_text(
        "day,outdoor_c\n" + "\n".join(f"{first + n},{temperature(n)}" for n in range(days))
    )
    quarter_hours(tmp_path / "unit.csv", days)
    data = ["--data", str(tmp_path / "data")]
    assert run([*data, "site", "add", str(tmp_path / "elm.toml")]) == 0
    assert "Valley station: 1 Jan 2021 to 1 Mar 2021" in capsys.readouterr().out
    assert run([*data, "ingest", "elm", str(tmp_path / "unit.csv")]) == 0
    capsys.readouterr()
    assert run([*data, "analyse", "elm", "--format", "json"]) == 0
    told = json.loads(capsys.readouterr().out)
    assert told["period"]["to"] == "2021-03-01"
    signature = told["from_electricity"]["signature"]
    assert signature["base_kwh_per_day"]["value"] == pytest.approx(6.0, rel=0.01)
    assert signature["slope_kwh_per_day_k"]["value"] == pytest.approx(2.0, rel=0.01)
    assert signature["base_temperature_c"]["value"] == pytest.approx(15.0, abs=0.1)
    assert told["from_electricity"]["degree_days"]["station"] == "Valley station"
    # Degree-days to 15 °C by hand: the sum of what each day lacks (CIBSE TM41:2006, mean daily temperature).
    by_hand = sum(max(15.0 - temperature(n), 0.0) for n in range(days))
    assert told["from_electricity"]["degree_days"]["total"] == pytest.approx(by_hand, rel=0.01)


def test_command_reads_a_later_file_and_a_site_without_station_is_told(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    (tmp_path / "elm.toml").write_text(SITE.format(weather='[weather]\nstation = "Valley station"\n'))
    (tmp_path / "ash.toml").write_text(SITE.format(weather="").replace('"elm"', '"ash"'))
    file = tmp_path / "later.csv"
    file.write_text("day,outdoor_c\n2021-01-01,3\n")
    data = ["--data", str(tmp_path / "data")]
    assert run([*data, "site", "add", str(tmp_path / "elm.toml"), str(tmp_path / "ash.toml")]) == 0
    assert run([*data, "weather", "elm", str(file), "--format", "json"]) == 0
    done = json.loads(capsys.readouterr().out.split("\n", 2)[2])
    assert done["readings"] == 24
    assert done["used"] == ["outdoor_temperature"]
    assert run([*data, "weather", "ash", str(file)]) == 2
    assert "names no station" in capsys.readouterr().err


def test_a_missing_station_file_refuses_the_site(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    (tmp_path / "elm.toml").write_text(SITE.format(weather=STATION))
    data = ["--data", str(tmp_path / "data")]
    assert run([*data, "site", "add", str(tmp_path / "elm.toml")]) == 2
    assert "station.csv: can't be read" in capsys.readouterr().err
    assert not (tmp_path / "data").exists()


def test_another_site_lends_by_the_weather_section(service) -> None:
    from tests.api.conftest import add_site
    from tests.api.sites import readings

    add_site(service, "alder-row")
    text = SITE.format(weather='[weather]\nsite = "alder-row"\n')
    service.sites.add([(text, parse_site(text))])
    service.store.append("alder-row", {"outdoor": readings()["outdoor"]})
    site = service.sites.get("elm").site
    assert [p.id for p in service.facts_cache.with_borrowed_weather(site).point] == [
        "unit",
        "alder-row.outdoor",
    ]
    facts = service.facts_cache.facts(site, date(2026, 1, 5), date(2026, 1, 6))
    assert facts.days["outdoor"][0] == pytest.approx(5.0, abs=0.1)


def test_forgetting_a_site_forgets_its_station(service) -> None:
    from fieldfare.api.records.erasure import erase_site

    text = SITE.format(weather=STATION)
    service.sites.add([(text, parse_site(text))])
    service.store.append(station_key("elm"), {"station.outdoor_temperature": _samples()})
    erase_site(service, "elm")
    assert service.store.span(station_key("elm")) is None


def _samples():
    from fieldfare.analysis.readings import Samples

    return Samples(np.array([1_700_000_000_000]), np.array([4.0]))


def test_moving_a_site_takes_its_station_along(service, tmp_path: Path) -> None:
    from fieldfare.api.core.service import open_store
    from fieldfare.api.core.settings import Settings
    from fieldfare.api.running.intake import move_fleet
    from tests.api.conftest import add_site

    add_site(service, "alder-row")
    service.store.append(station_key("alder-row"), {"station.outdoor_temperature": _samples()})
    target = Settings(data=tmp_path / "there", store_url="http://127.0.0.1:1", workers=1)
    seen: list[str] = []
    with pytest.MonkeyPatch.context() as patch:
        other = open_store(Settings(data=tmp_path / "there", workers=1))
        patch.setattr("fieldfare.api.running.intake.open_store", lambda settings: other)
        move_fleet(service, target, [], seen.append)
    assert any(line.startswith("alder-row--station: 1 reading") for line in seen)
