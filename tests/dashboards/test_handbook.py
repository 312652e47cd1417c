"""The handbook covers each finding, cause, limit, figure and plot, and agrees with the code."""

from __future__ import annotations

from html import unescape

import pytest

from fieldfare.analysis.findings.catalogue import catalogued, codes
from fieldfare.analysis.findings.limits import LIMITS
from fieldfare.dashboards.figures.expectations.index import MODELS, expectation_chart
from fieldfare.dashboards.figures.index import NAMES, chart
from fieldfare.dashboards.handbook.charts import CHARTS
from fieldfare.dashboards.handbook.entries import entry
from fieldfare.dashboards.handbook.figures import FIGURES
from fieldfare.dashboards.handbook.keys import FINDINGS, KEYS, NOTICES, OTHER_LIMITS, title_of
from fieldfare.dashboards.pages import handbook_entry_page, handbook_page
from fieldfare.dashboards.text.labels import TITLES
from tests.contract_codes import CONTRACT_CODES
from tests.dashboards.conftest import HOUSEHOLDER, Plant, plant_of

# The contract's causes, sections 6 and 7, written out.
CONTRACT_CAUSES = {
    "short_cycling": "oversized_for_mild_load thermostat_chopping low_water_volume flow_restriction",
    "excessive_defrost": "coil_airflow low_refrigerant_symptom insufficient_defrost_heat",
    "defrost_without_frost": "low_refrigerant_symptom sensor_fault",
    "flow_temperature_above_curve": "curve_set_high manual_override",
    "flow_temperature_below_curve": "curve_too_low flow_not_reached",
    "no_weather_compensation": "fixed_flow_setting",
    "low_flow": "strainer_or_air pump_setting",
    "falling_flow": "strainer_clogging",
    "buffer_mixing": "secondary_flow_exceeds_primary",
    "backup_heater_use": "bivalent_set_high capacity_shortfall",
    "immersion_use": "immersion_timer_on setpoint_above_reach",
    "room_below_target": "capacity_short curve_too_low zone_not_opening",
    "slow_reheat": "coil_or_scale flow_low",
    "reheat_incomplete": "setpoint_above_reach",
    "hot_water_shortfall": "reheat_window cylinder_small reheat_slow",
    "high_standing_loss": "secondary_circulation insulation",
    "frost_risk": "power_loss",
    "heat_meter_disagrees": "antifreeze_uncorrected",
    "unit_stopped": "no_power locked_out switched_off",
    "water_too_hot": "disinfection_stuck other_source sensor_fault",
    "disinfection_lacking": "none_scheduled setpoint_too_low",
    "pressure_high": "vessel_empty filling_loop_open",
    "pressure_swings": "vessel_empty filling_loop_open",
    "meter_misplaced": "one_branch_only behind_heater other_circuit other_load_inside pulse_value"
    " phase_not_counted",
}
# The contract lists the causes of the two pressure findings together; a filling loop left open makes the
# pressure high, not swing.
NOT_OF_ITS_OWN = {("pressure_swings", "filling_loop_open")}
HAZARDS = {
    "water_too_hot": "scald",
    "immersion_use": "Legionella",
    "pasteurisation_missed": "Legionella",
    "disinfection_lacking": "Legionella",
    "reheat_incomplete": "Legionella",
    "pressure_high": "pressure",
    "pressure_swings": "relief valve",
    "low_flow": "hot and under pressure",
    "excessive_defrost": "licensed",
    "high_standby": "mains",
    "unit_stopped": "Never bypass",
}
# Parts of a result that are no figures: what it is of, and the lists that the finding entries explain.
NO_FIGURES = {"site", "name", "method", "period", "findings", "not_assessed", "recognised"}


@pytest.fixture(scope="module")
def brief() -> Plant:
    """A plant with every meter and two weeks of readings: titles and parts of a result need no more."""
    return plant_of(7, "full", days=14)


@pytest.mark.parametrize("code", CONTRACT_CODES)
def test_each_finding_of_the_contract_has_its_place(code: str) -> None:
    made = entry(code)
    assert made.text is not None
    assert all(len(words) > 30 and words.endswith(".") for words in made.text), made.text
    assert made.title
    assert made.severities
    wanted = set(CONTRACT_CAUSES.get(code, "").split())
    wanted -= {cause for of, cause in NOT_OF_ITS_OWN if of == code}
    assert wanted <= {cause for cause, _ in made.causes}


def test_findings_of_the_handbook_and_of_the_rules_are_the_same() -> None:
    assert set(FINDINGS) == codes()


@pytest.mark.parametrize(("code", "word"), HAZARDS.items())
def test_a_finding_about_a_hazard_shows_its_caution(code: str, word: str) -> None:
    assert word in " ".join(entry(code).cautions)


def test_each_limit_has_its_place_with_unit_and_source() -> None:
    shown = {row.name: row for key in (*FINDINGS, *OTHER_LIMITS) for row in entry(key).limits}
    assert set(shown) == set(LIMITS)
    for name, row in shown.items():
        limit = LIMITS[name]
        assert (row.default, row.unit, row.source) == (limit.default, limit.unit, limit.source)
        assert row.meaning.endswith(limit.meaning)


def test_limits_are_those_that_the_rule_reads() -> None:
    """Against a reading of the rule by eye."""
    assert {"standby_watch_w", "standby_act_w", "standby_w_per_kw"} <= set(catalogued("high_standby").limits)
    assert set(catalogued("register_reset").limits) == {"resets_watch", "resets_act"}
    assert catalogued("immersion_use").limits == (
        "immersion_day_kwh",
        "immersion_watch_kwh",
        "immersion_act_kwh",
        "held_over_setpoint_k",
    )
    with pytest.raises(KeyError):
        catalogued("no_such_code")


def test_a_limit_that_says_the_same_says_the_same_as_what() -> None:
    rows = {row.name: row.meaning for row in entry("pressure_swings").limits}
    assert rows["pressure_low_act"] == "pressure of the circuit: the same, worth a visit"
    rows = {row.name: row.meaning for row in entry("pressure_low").limits}
    assert rows["pressure_low_act"] == "the same, worth a visit"
    for key in (*FINDINGS, *OTHER_LIMITS):
        meanings = [row.meaning for row in entry(key).limits]
        assert not (meanings and meanings[0].startswith("the same")), key


def test_each_plot_has_its_place_and_its_title(brief: Plant) -> None:
    assert {*NAMES, *MODELS} <= KEYS
    drawn = {name: chart(name, brief.site, brief.document, brief.facts) for name in NAMES}
    drawn |= {name: expectation_chart(name, brief.site, brief.facts) for name in MODELS}
    titles = {name: made.title for name, made in drawn.items() if name in CHARTS and name not in FIGURES}
    assert titles == {name: title_of(name) for name in titles}
    assert all(made.key == name for name, made in drawn.items())


def test_each_figure_of_a_result_has_its_place(brief: Plant) -> None:
    assert set(brief.document) - NO_FIGURES == set(FIGURES)
    assert {plot for figure in FIGURES.values() for plot in figure.charts} <= KEYS


def test_related_entries_exist_and_point_back() -> None:
    for key in KEYS:
        assert set(entry(key).related) <= KEYS - {key}
    assert "short_cycling" in entry("runs").related
    assert "runs" in entry("short_cycling").related


def test_pages_are_light_and_link_every_entry() -> None:
    listed = handbook_page(HOUSEHOLDER)
    assert all(f'href="/handbook/{key}"' in listed for key in KEYS)
    for key in KEYS:
        page = handbook_entry_page(key, HOUSEHOLDER)
        assert title_of(key) in page.replace("&#39;", "'")
        assert len(page) < 40_000
        assert "from memory" not in page
        assert "reference 9" not in page


@pytest.mark.parametrize("key", NOTICES)
def test_what_no_rule_gives_has_an_entry(key: str) -> None:
    made = entry(key)
    assert (made.kind, made.title) == ("finding", TITLES[key])
    assert made.severities
    assert title_of(key) in handbook_page(HOUSEHOLDER)
    assert made.text is not None
    assert made.text.means in unescape(handbook_entry_page(key, HOUSEHOLDER))


def test_every_title_of_a_finding_has_a_handbook_entry() -> None:
    assert set(TITLES) <= {*FINDINGS, *NOTICES}
