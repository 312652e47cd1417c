"""Rules on the data: can the figures be trusted?

The order matters: a later rule is withheld where an earlier one marks a quantity it reads as unreliable.
"""

from __future__ import annotations

from fieldfare.analysis.findings.context import Rule
from fieldfare.analysis.findings.data.clocks import CLOCK_RULES
from fieldfare.analysis.findings.data.gaps import GAP_RULES
from fieldfare.analysis.findings.data.meters import METER_RULES
from fieldfare.analysis.findings.data.misplaced import MISPLACED_RULES
from fieldfare.analysis.findings.data.outdoor import OUTDOOR_RULES
from fieldfare.analysis.findings.data.registers import REGISTER_RULES
from fieldfare.analysis.findings.data.stuck_sensors import STUCK_SENSOR_RULES
from fieldfare.analysis.findings.data.swapped import SWAPPED_RULES
from fieldfare.analysis.findings.data.units import UNIT_RULES

RULES: tuple[Rule, ...] = (
    *GAP_RULES,
    *STUCK_SENSOR_RULES,
    *REGISTER_RULES,
    *UNIT_RULES,
    *CLOCK_RULES,
    *OUTDOOR_RULES,
    *SWAPPED_RULES,
    *METER_RULES,
    *MISPLACED_RULES,
)
