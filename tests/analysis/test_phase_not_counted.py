"""An electricity meter on three phases of which some do not count: the finding and the figures."""

from __future__ import annotations

from datetime import timedelta

from fieldfare.analysis.figures.period import Figures
from fieldfare.analysis.findings.data.misplaced import meter_misplaced
from fieldfare.analysis.reports.result import Result, analyse
from tests.analysis.small_plant import FIRST, Small

RATING = "".join(
    f"[[heat_pump.rating]]\noutdoor_c = {air}\nflow_c = {water}\noutput_kw = 7.0\ncop = {cop}\n"
    for air, water, cop in ((2.0, 35.0, 3.3), (7.0, 35.0, 3.9), (7.0, 55.0, 2.6))
)
# A unit of this plant that is as good as its rating draws so much of what the plant's does.
AS_RATED = 0.9


def counting(share: float) -> Small:
    small = Small(pump=RATING)
    for name in ("elec", "elec_kwh"):
        small.values[name] = small.values[name] * share
    return small


def result_of(small: Small) -> Result:
    return analyse(small.site, small.facts, FIRST, FIRST + timedelta(len(small.facts.days) - 1))


def test_a_unit_as_good_as_its_rating_has_all_phases() -> None:
    assert meter_misplaced(counting(AS_RATED).context()) is None


def test_one_phase_of_three_is_told_as_the_meters_fault() -> None:
    finding = meter_misplaced(counting(AS_RATED / 3.0).context())
    assert finding is not None
    assert finding.severity in ("watch", "act")
    assert finding.causes[0].cause == "phase_not_counted"
    assert "electrician" in finding.next_step + finding.caution


def test_two_phases_of_three_may_be_a_good_unit_so_the_figure_holds_both() -> None:
    """The lower end holds the performance if a phase is missing; without the doubt it does not."""
    small = counting(AS_RATED * 2.0 / 3.0)
    finding = meter_misplaced(small.context())
    assert finding is not None
    assert (finding.severity, finding.causes[0].cause) == ("note", "phase_not_counted")
    plain = Figures(small.site, small.facts).performance.boundaries["H2"]
    shown = result_of(small).figures.performance.boundaries["H2"]
    assert plain.value is not None
    assert plain.low is not None
    assert shown.low is not None
    assert shown.value == plain.value
    assert shown.low < plain.value * 2.0 / 3.0 < plain.low
    assert shown.high == plain.high
