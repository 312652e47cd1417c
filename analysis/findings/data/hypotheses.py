"""Predictions of each possible placement and pulse value of the meters, and of correct meters."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field

from fieldfare.analysis.plant.site import HEAT_QUANTITIES

HEAT_METERS = frozenset(HEAT_QUANTITIES)
ELECTRICITY = frozenset({"heat_pump_electricity"})
FLOOR = 0.02
# Pulse values and transformer ratios in use differ by these factors (common practice: 1, 2.5, 10, 25, 100 l
# or Wh a pulse).
_PULSE_FACTORS = (10.0, 0.1, 4.0, 0.25, 2.5, 0.4, 2.0, 0.5)

# Of three phases one or two are not counted: a current transformer left off, or two that point against each
# other (common practice).
_PHASES = (2.0 / 3.0, 1.0 / 3.0)
_PHASE_STEP = (
    "Ask a licensed electrician to compare each phase's current by a clamp with what the meter shows for it,"
    " and to check that all three current transformers are connected and point the same way."
)
# Above this spread of a logarithm a prediction names no factor.
_ONE_FACTOR = 0.6
# Share of a charge's heat below which less than its electricity is left, at a performance of 2 to 3.
_DRY = 0.45


@dataclass(frozen=True)
class Hypothesis:
    """Predictions of a state of the meters.

    cause : of the contract; empty where the meters are sound. prior : before anything was measured
    predicts : fact -> (value, standard deviation); a fact that is not named is as with sound meters
    makes_unreliable : quantities it makes untrustworthy. because, step : in words
    above : fact -> standard deviation above the value, where it is another
    """

    cause: str
    prior: float
    predicts: Mapping[str, tuple[float, float]]
    makes_unreliable: frozenset[str] = frozenset()
    because: str = ""
    step: str = ""
    above: Mapping[str, float] = field(default_factory=dict)

    def apparent(self, fact: str) -> float:
        """Metered over true value of a ratio, `cop_space` or `house`, if the hypothesis holds [-]; 1 where it
        predicts no one factor."""
        mean, spread = self.predicts.get(fact, (0.0, 0.0))
        return math.exp(mean) if spread < _ONE_FACTOR else 1.0


# A unit falls short of its rating more easily than it surpasses it, once the usual gain at part load is taken
# off: the rating leaves 4 % open, both meters 3 to 4 %, temperatures 2 %, that gain 4 % and a charge's rising
# temperatures 5 % (common practice; together by GUM 5.1.2).
ABOVE = {"cop_space": 0.08, "cop_hot": 0.10}
# The same beside an electricity meter that counts by a factor: half as much again, as the factor may differ.
_SURPASSED = {name: 1.5 * spread for name, spread in ABOVE.items()}
# Readings of correct meters, with the spread of healthy plants. Ratios as logarithms. Meter over flow and
# temperatures: classes together 12 % (limits: heat_meter_share). COP over rating: starts, frost and wear
# move it by 0.11 among 44 units of an independent simulator, in homes by half as much again and more.
# House over design: field studies find 0.5 to 1.5.
SOUND: dict[str, tuple[float, float]] = {
    "flow_space": (0.0, 0.10),
    "flow_hot": (0.0, 0.12),
    "cop_space": (0.0, 0.18),
    "cop_hot": (0.0, 0.21),
    "heater_seen": (0.0, 0.12),
    "contrast": (0.96, 0.06),
    "off_bursts": (0.0, 0.012),
    "house": (0.0, 0.40),
    "follows_heat": (0.9, 0.12),
    "carnot": (0.0, 0.15),
    "dry_days": (0.0, 0.03),
    # No unit gives less heat than it draws while the cylinder warms.
    "dry_charges": (0.0, 0.05),
}
COP_CORRELATION = 0.6
"""Of COP over rating in heating with that in charges, of one unit and one meter: starts, frost and rising
temperatures move the two apart by a sixth, with the spreads of `SOUND` (common practice)."""
_NONE = (math.log(FLOOR), 0.5)
# Where a charge is known by the cylinder's warming alone, minutes of heating before and after it count as its
# own: a tenth of its heat, within a factor of two and a half.
_HARDLY = (math.log(0.1), 0.9)
_ALL_DRY, _OFTEN_DRY = (0.95, 0.12), (0.8, 0.3)
HEAT_STEP = (
    "At the heat meter: follow the pipe from the flow sensor and note which circuits pass through it,"
    " in heating and while the cylinder is charged; read the display in both."
)
_CLAMP_STEP = (
    "Ask a licensed electrician to switch off the heat pump's own breaker for a minute and watch the"
    " meter: it must fall to zero, and no other appliance may switch off."
)


def hypotheses(declared_behind: bool) -> list[Hypothesis]:
    part = (-0.65, 0.30)
    found = [
        Hypothesis("", 0.90, {}),
        # A unit that fails loses a fifth to two fifths (common practice), and its house stays as it is.
        Hypothesis("", 0.06, {"cop_space": (-0.30, 0.20), "cop_hot": (-0.30, 0.25)}),
        # Oil return, a heater of the unit's own or a heat meter that answers late: steps of power that its
        # heat does not follow, of a unit whose days follow each other closely (common practice).
        Hypothesis("", 0.0015, {"dry_days": (0.6, 0.3), "follows_heat": (0.98, 0.03)}),
        Hypothesis(
            "one_branch_only",
            0.006,
            {"flow_hot": _HARDLY, "cop_hot": _HARDLY, "dry_charges": _ALL_DRY},
            HEAT_METERS,
            (
                "it counts almost no heat while the cylinder is charged, and all of it in heating: it is"
                " in the heating branch"
            ),
            HEAT_STEP,
        ),
        Hypothesis(
            "one_branch_only",
            0.006,
            {"flow_space": _NONE, "cop_space": _NONE, "house": (math.log(FLOOR), 0.7)},
            HEAT_METERS,
            (
                "it counts almost no heat in heating, and all of it while the cylinder is charged: it is"
                " in the cylinder branch"
            ),
            HEAT_STEP,
        ),
        Hypothesis(
            "one_branch_only",
            0.006,
            {"flow_space": part, "cop_space": part, "house": (-0.65, 0.5)},
            HEAT_METERS,
            (
                "it counts part of the heat in heating, and all of it while the cylinder is charged:"
                " another heating circuit bypasses it"
            ),
            HEAT_STEP,
        ),
        Hypothesis(
            "one_branch_only",
            0.006,
            {
                "flow_space": part,
                "flow_hot": part,
                "cop_space": part,
                "cop_hot": part,
                "house": (-0.65, 0.5),
                "dry_charges": _OFTEN_DRY,
            },
            HEAT_METERS,
            (
                "it counts the same part of the heat in heating and while the cylinder is charged: part of"
                " the water bypasses it"
            ),
            HEAT_STEP,
        ),
        Hypothesis(
            "behind_heater",
            0.02,
            {"heater_seen": (0.0, 0.25) if declared_behind else (1.0, 0.25)},
            HEAT_METERS,
            (
                ("its heat does not change when the back-up heater switches: it is upstream of the heater")
                if declared_behind
                else "its heat rises and falls with the back-up heater: it is downstream of the heater"
            ),
            (
                "Follow the flow pipe from the heat pump: is the heat meter's sensor upstream or"
                " downstream of the in-line heater? "
            )
            + (
                'Then remove includes = ["backup_heater"] from its point in the site file.'
                if declared_behind
                else 'If downstream, add includes = ["backup_heater"] to its point in the site file.'
            ),
        ),
        Hypothesis(
            "other_circuit",
            0.006,
            {
                "contrast": (0.0, 0.25),
                "off_bursts": (0.5, 0.4),
                "cop_space": (0.0, 1.2),
                "cop_hot": (0.0, 1.2),
                "dry_charges": (0.3, 0.4),
                "carnot": (0.3, 0.8),
                "follows_heat": (0.0, 0.25),
            },
            ELECTRICITY,
            "its reading is the same whether the unit runs or not",
            _CLAMP_STEP,
        ),
        Hypothesis(
            "other_load_inside",
            0.006,
            {
                "contrast": (0.75, 0.2),
                "off_bursts": (0.15, 0.12),
                "cop_space": (-0.2, 0.35),
                "cop_hot": (-0.2, 0.35),
                "follows_heat": (0.8, 0.25),
            },
            ELECTRICITY,
            (
                "it reads high while the unit is off, and higher while it runs: another load is connected"
                " to it"
            ),
            _CLAMP_STEP,
        ),
        Hypothesis(
            "other_load_inside",
            0.006,
            {
                "dry_days": (0.6, 0.3),
                "cop_space": (-0.2, 0.35),
                "cop_hot": (-0.2, 0.35),
                "follows_heat": (0.7, 0.25),
            },
            ELECTRICITY,
            (
                "its power steps by a kilowatt or more while the heat is unchanged: another load is"
                " connected to it"
            ),
            _CLAMP_STEP,
        ),
        # A car, a sauna or an oven, on some days and for hours, whether the unit runs or not.
        Hypothesis(
            "other_load_inside",
            0.006,
            {
                "contrast": (0.8, 0.12),
                "off_bursts": (0.05, 0.03),
                "dry_days": (0.25, 0.2),
                "cop_space": (-0.15, 0.2),
                "cop_hot": (-0.1, 0.25),
                "follows_heat": (0.75, 0.2),
            },
            ELECTRICITY,
            (
                "at times it reads a kilowatt or more that neither the unit's running nor its heat explains:"
                " another load is connected to it"
            ),
            _CLAMP_STEP,
        ),
    ]
    return [*found, *_wrong_pulse_values(), *(_phase_missing(k) for k in _PHASES)]


def _phase_missing(counted: float) -> Hypothesis:
    """An electricity meter that counts so much of a unit on three phases [-]."""
    log = math.log(counted)
    return Hypothesis(
        "phase_not_counted",
        0.003,
        {"cop_space": (-log, 0.25), "cop_hot": (-log, 0.30), "carnot": (-log, 0.3)},
        ELECTRICITY,
        (
            f"it shows {counted:.0%} of the electricity that heat and temperatures ask for, as if"
            f" {'one phase' if counted > 0.5 else 'two phases'} of three did not count"
        ),
        _PHASE_STEP,
        _SURPASSED,
    )


def _wrong_pulse_values() -> list[Hypothesis]:
    """A heat or an electricity meter whose pulses count too much or too little, by each usual factor."""
    found = []
    for k in _PULSE_FACTORS:
        log = math.log(k)
        few, many = (
            {"dry_charges": _OFTEN_DRY} if too_little else {} for too_little in (k < _DRY, 1.0 / k < _DRY)
        )
        found.append(
            Hypothesis(
                "pulse_value",
                0.002,
                {
                    "flow_space": (log, 0.12),
                    "flow_hot": (log, 0.14),
                    "cop_space": (log, 0.30),
                    "cop_hot": (log, 0.35),
                    "house": (log, 0.40),
                    "carnot": (max(log, 0.0), 0.3),
                    **few,
                },
                HEAT_METERS,
                f"its heat is {k:g} times what all other data show, in every operating state",
                "Compare the heat meter's pulse value (on its label) with the gateway's setting, and its"
                " display with the gateway's total.",
            )
        )
        found.append(
            Hypothesis(
                "pulse_value",
                0.002,
                {
                    "cop_space": (-log, 0.30),
                    "cop_hot": (-log, 0.35),
                    "carnot": (max(-log, 0.0), 0.3),
                    **many,
                },
                ELECTRICITY,
                f"its electricity is {k:g} times what all other data show, in every operating state",
                "Compare the electricity meter's pulse value (on its label) or transformer ratio with the"
                " gateway's setting, and its display with the gateway's total.",
                _SURPASSED,
            )
        )
    return found
