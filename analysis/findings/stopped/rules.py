"""Rules on a unit that does not run, and on the faults it reports."""

from __future__ import annotations

from fieldfare.analysis.findings.context import Need, Rule
from fieldfare.analysis.findings.stopped.reported_faults import fault_reported
from fieldfare.analysis.findings.stopped.unit_stopped import unit_stopped
from fieldfare.analysis.minutes.balance import HEATING_METERS

RULES: tuple[Rule, ...] = (
    Rule(
        "unit_stopped",
        unit_stopped,
        (Need(("heat_pump_electricity", "compressor_speed", "operating_mode", *HEATING_METERS)),),
        frozenset({"heat_pump_electricity"}),
    ),
    Rule("fault_reported", fault_reported, (), frozenset()),
)
