"""A logged change of one setting, and the size of the next."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date

from fieldfare.analysis.advice.curve import MILD_C
from fieldfare.analysis.advice.plan import Advice
from fieldfare.analysis.findings.limits import limit_of
from fieldfare.analysis.plant.site import Site

Values = tuple[float, ...]

UNITS = {
    "heating_curve": "°C",
    "set_back": "K",
    "pump_speed": "K",
    "hot_water_setpoint": "°C",
    "hot_water_reheat": "°C",
}
"""Unit of each setting's values; the pump's is flow less return at the design load."""
OF_ROOMS = frozenset({"heating_curve", "set_back", "pump_speed"})
"""Settings that the rooms feel; the others are the cylinder's."""
_WATER = frozenset({"hot_water_setpoint", "hot_water_reheat"})
COUPLED = {
    "heating_curve": OF_ROOMS,
    "set_back": OF_ROOMS,
    "set_back_alone": frozenset({"set_back"}),
    "pump_speed": frozenset({"pump_speed"}),
    "hot_water_setpoint": _WATER,
    "hot_water_reheat": _WATER,
}
"""Settings whose change starts new days for a setting's own advice; `set_back_alone` is for its depth."""
SAME = 0.25
"""Values nearer than this are one setting [K]: controls take half kelvins at best (common practice)."""


@dataclass(frozen=True)
class TuningStep:
    """A logged change. before, after : in the setting's unit; for a curve the flow at its cold and its mild
    end"""

    day: date
    code: str
    before: Values
    after: Values

    @property
    def saves(self) -> bool:
        """Whether it takes away from rooms or cylinder, which the week after has to answer for."""
        rises = sum(self.after) > sum(self.before)
        return rises if self.code in ("set_back", "pump_speed") else not rises


def curve_ends(site: Site) -> list[float]:
    """Outdoor temperatures of a curve's two ends, as its advice has them [°C]."""
    return [site.design.outdoor_c if site.design.outdoor_c is not None else 0.0, MILD_C]


def toward(site: Site, code: str, now: Values, goal: Values) -> Values:
    """The next values on the way to a goal: kelvins by at most `advice_step_k` a week; the pump's limit is in
    its goal."""
    most = limit_of(site, "advice_step_k")
    if code == "pump_speed":
        return tuple(round(v, 1) for v in goal)
    return tuple(round(a + min(max(b - a, -most), most), 1) for a, b in zip(now, goal, strict=True))


def is_reached(now: Values, goal: Values) -> bool:
    return all(abs(a - b) < SAME for a, b in zip(now, goal, strict=True))


def values_of(advice: Advice) -> tuple[Values, Values]:
    """Present and advised values of a setting."""
    if advice.curve is None:
        return (advice.now,), (advice.to,)
    now, to = (tuple(round(flow, 1) for _, flow in advice.curve[key]) for key in ("points_now", "points"))
    return now, to


def stepped_back(log: Sequence[TuningStep], code: str) -> TuningStep | None:
    """The last own step of a setting where it gave warmth back after one that took it away."""
    own = [step for step in log if step.code == code]
    if own and not own[-1].saves and any(step.saves for step in own):
        return own[-1]
    return None


def as_set(site: Site, log: Iterable[TuningStep]) -> Site:
    """The plant with the cylinder's settings as the log left them; what else is set is read from the data."""
    keys = {"hot_water_setpoint": "setpoint_c", "hot_water_reheat": "reheat_below_c"}
    changed = {keys[step.code]: step.after[0] for step in log if step.code in keys}
    if not changed or site.hot_water is None:
        return site
    setpoint = changed.get("setpoint_c", site.hot_water.setpoint_c)
    reheat = changed.get("reheat_below_c", site.hot_water.reheat_below_c)
    if (
        reheat is not None and reheat >= setpoint
    ):  # controls keep a difference when only the setpoint is moved
        changed["reheat_below_c"] = setpoint - 1.0
    return site.model_copy(update={"hot_water": site.hot_water.model_copy(update=changed)})
