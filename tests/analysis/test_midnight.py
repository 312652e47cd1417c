"""The day of a site's last reading."""

from __future__ import annotations

from datetime import date, timedelta

import pytest

from fieldfare.analysis.minutes.midnight import last_day, local_midnight
from fieldfare.analysis.plant.load import parse_site

SITE = """
[site]
id = "night-lane"
name = "Night Lane"
timezone = "Europe/Berlin"
latitude = 52.0
longitude = 10.0
[design]
outdoor_c = -10.0
indoor_c = 20.0
heat_loss_kw = 7.0
[heat_pump]
rated_output_kw = 8.0
[[point]]
id = "meter"
quantity = "heat_pump_electricity"
{form}
[[point]]
id = "outdoor"
quantity = "outdoor_temperature"
"""
FORMS = {
    "end": 'as = "interval"\nunit = "kWh"\nstamp = "end"',
    "start": 'as = "interval"\nunit = "kWh"\nstamp = "start"',
    "register": 'as = "register"\nunit = "kWh"',
    "power": 'as = "power"\nunit = "W"',
}


@pytest.mark.parametrize(
    ("form", "days"), [("end", 0), ("start", 1), ("register", 0), ("power", 0)], ids=list(FORMS)
)
def test_reading_at_midnight_closes_its_day(form: str, days: int) -> None:
    site = parse_site(SITE.replace("{form}", FORMS[form]))
    day = date(2026, 2, 28)
    midnight = local_midnight(site, day + timedelta(1))
    assert last_day(site, {"meter": midnight, "outdoor": midnight - 3_600_000}) == day + timedelta(days)
    assert last_day(site, {"meter": midnight - 60_000, "outdoor": midnight - 60_000}) == day
    assert last_day(site, {"meter": midnight, "outdoor": midnight + 60_000}) == day + timedelta(1)


def test_gauges_alone_begin_no_day_at_midnight() -> None:
    site = parse_site(SITE.replace("{form}", FORMS["start"]))
    midnight = local_midnight(site, date(2026, 3, 1))
    assert last_day(site, {"meter": midnight - 3_600_000, "outdoor": midnight}) == date(2026, 2, 28)
