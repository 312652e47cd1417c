"""What faults and situations expect uses only the published codes, causes and severities."""

import copy

import numpy as np
import pytest

from tests.contract_codes import CONTRACT_CODES
from tests.reference import situations_a
from tests.reference.plants_a import plants
from tests.reference.plants_a.home import draw_plant

CAUSES = {
    "oversized_for_mild_load",
    "thermostat_chopping",
    "low_water_volume",
    "flow_restriction",
    "coil_airflow",
    "low_refrigerant_symptom",
    "insufficient_defrost_heat",
    "sensor_fault",
    "curve_set_high",
    "manual_override",
    "fixed_flow_setting",
    "strainer_or_air",
    "pump_setting",
    "strainer_clogging",
    "secondary_flow_exceeds_primary",
    "bivalent_set_high",
    "capacity_shortfall",
    "immersion_timer_on",
    "setpoint_above_reach",
    "capacity_short",
    "curve_too_low",
    "zone_not_opening",
    "coil_or_scale",
    "flow_low",
    "reheat_window",
    "cylinder_small",
    "reheat_slow",
    "secondary_circulation",
    "insulation",
    "power_loss",
    "antifreeze_uncorrected",
    "no_power",
    "locked_out",
    "switched_off",
    "disinfection_stuck",
    "other_source",
    "none_scheduled",
    "setpoint_too_low",
    "vessel_empty",
    "filling_loop_open",
    "one_branch_only",
    "behind_heater",
    "other_circuit",
    "other_load_inside",
    "pulse_value",
}
SEVERITIES = {"note", "watch", "act", "urgent"}


def check(told, name):
    for demand in told["must"]:
        assert demand["any_of"], name
        assert set(demand["any_of"]) <= set(CONTRACT_CODES), name
        assert demand["severity_at_least"] in SEVERITIES, name
    assert set(told["may"]) <= set(CONTRACT_CODES), name
    assert set(told.get("must_not", [])) <= set(CONTRACT_CODES), name
    assert set(told.get("first_cause", [])) <= CAUSES, name


@pytest.fixture(scope="module")
def homes():
    """Return the first suitable home of January for each requirement, not simulated."""
    wanted, found = {*plants.SUITABLE.values(), None}, {}
    for seed in range(11, 80):
        if wanted == set(found):
            break
        home = draw_plant(seed, days=24, start=situations_a.JANUARY)
        home.facts["asked"] = home.params.copy()
        for suits in wanted - set(found):
            if suits is None or suits(home):
                found[suits] = home
    return found


def fresh(homes, kind):
    return copy.deepcopy(homes[plants.SUITABLE.get(kind)])


def test_faults_expect_published_codes(homes):
    """Every fault, in each strength."""
    for kind, fault in plants.FAULTS.items():
        for strength in ("faint", "plain", "gross"):
            check(fault(fresh(homes, kind), strength, np.random.default_rng(1)), kind)


def test_situations_expect_published_codes(homes):
    """Every situation; at least twenty, and at least seven healthy look-alikes."""
    healthy = 0
    for name, situation in situations_a.SITUATIONS.items():
        told = situation.act(fresh(homes, situation.suits), np.random.default_rng(1))
        check(told, name)
        healthy += bool(told.get("healthy")) and not told["must"]
    assert len(situations_a.SITUATIONS) >= 20
    assert healthy >= 7
