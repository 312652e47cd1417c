"""What a unit can give is read from hours in which it ran throughout."""

from __future__ import annotations

import numpy as np
import pytest

from fieldfare.analysis.figures.capacity import capacity
from fieldfare.analysis.plant.load import parse_site
from tests.analysis.heat_tables import SITE, days_of, heat_loss_of
from tests.analysis.small_plant import Small


def test_an_hour_with_a_rest_shows_the_load_and_not_the_output() -> None:
    """Half hours of 4.4 kW with rests between give 2.2 kW an hour on the mean, whatever the unit can give."""
    plant = Small(days=12)
    charge = plant.values["mode"] == 2.0
    for name, value in {"elec": 15.0, "heat": 0.0, "rate": 0.0, "mode": 0.0}.items():
        plant.values[name] = np.where(charge, value, plant.values[name])
    assert np.isnan(plant.facts.days.floats("heat_power_max")).all()
    through = plant.days_between(5, 5)
    for name, value in {"elec": 1300.0, "heat": 4420.0, "rate": 1.0, "mode": 1.0}.items():
        plant.values[name] = np.where(through, value, plant.values[name])
    for name in ("elec", "heat"):
        plant.values[f"{name}_kwh"] = 9000.0 + np.cumsum(plant.values[name]) / 60_000.0
    best = plant.facts.days.floats("heat_power_max")
    assert np.nanmax(best) == pytest.approx(4420.0, rel=0.02)
    assert np.isfinite(best).sum() <= 3


def test_a_unit_of_one_speed_that_never_ran_through_has_the_output_of_its_rating() -> None:
    site = parse_site(SITE)
    days = days_of(minutes_full_speed=900, flow=38.0, heat_power_max=np.nan)
    assert capacity(site, days, heat_loss_of(1.0), None).basis == "rating"
    shown = days_of(minutes_full_speed=900, flow=38.0, heat_power_max=6000.0)
    assert capacity(site, shown, heat_loss_of(1.0), None).basis == "measured"
