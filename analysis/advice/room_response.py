"""Response of rooms to the flow temperature: emitter output, and throttling by valves."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from fieldfare.analysis.advice.heating_days import HeatingDays, loss_kw_per_k
from fieldfare.analysis.errors import NotAssessed
from fieldfare.analysis.facts.table import fill_nan
from fieldfare.analysis.figures.estimate import robust_fit
from fieldfare.analysis.findings.limits import limit_of
from fieldfare.analysis.physics.emitters import EXPONENTS
from fieldfare.analysis.plant.site import Site
from fieldfare.analysis.statistics.distributions import GAUSS_95

Floats = NDArray[np.float64]

HELD_K, FOLLOWS_K = 0.2, 20.0
"""Response of a room that a thermostat holds, and of one whose valves never move: the ends between which an
unmeasured home lies (common practice, no source)."""
THERMOSTAT_K = 0.5
"""Response of a room whose thermostat ends the runs: its switching difference (common practice)."""
_ALWAYS_OPEN = 1.5  # measured output over the rated one: data sheets are not further off (common practice)
_MOST_FALL_K = 15.0
_SPARED, _SPARED_DOUBT = 1.2, 0.3  # of emitters over what they gave at most (common practice, no source)
_HALVINGS = 40
_ONE_SPEED_FOLLOWS = (0.7, 0.3, 1.0)
"""What the water follows of a lower target where the unit has one speed, and its ends: it heats the water by
its own output until it stops, and overshoots the further the lower the target is (common practice)."""


@dataclass(frozen=True)
class RoomResponse:
    """exponent : of output over excess temperature. full : output of all emitters at 1 K excess [kW]
    opened : by day, share of it that was used. at_target : share used with rooms at their target
    opens_k : fall of the room at which valves would let e times as much through, as they stand [K]; small: a
    thermostat holds the room. zone_share : zone -> its room's movement over the house's
    influence : kelvins by which the controls make the water hotter for each kelvin that the room falls, and
    influence_most : what it may be [-]
    opens_doubt : factor by which `opens_k` may be wrong either way. full_doubt : relative, of `full`
    gap_closes : what of a lower target the water does not follow as it never was that hot, of its gap [-]
    follows : part of a lower target that the water of the runs follows, and its ends [-]
    acts : whether the days show that a valve, a thermostat or the controls act on the room
    loss, loss_low, loss_high : heat loss coefficient [kW/K]. known : whether the rooms were measured
    """

    exponent: float
    full: float
    opened: Floats
    at_target: float
    opens_k: float
    zone_share: Mapping[str, float]
    loss: float
    loss_low: float
    loss_high: float
    known: bool
    influence: float = 0.0
    influence_most: float = 0.0
    opens_doubt: float = 1.5
    full_doubt: float = 0.15
    gap_closes: float = 0.75
    acts: bool = True
    follows: tuple[float, float, float] = (1.0, 1.0, 1.0)

    @property
    def unheld(self) -> bool:
        """Whether neither valves nor controls act on the rooms' set temperature."""
        return self.known and self.opens_k >= FOLLOWS_K and self.influence == 0.0

    @property
    def open_most(self) -> float:
        """Share of the rated output that emitters may give with open valves, as far as data sheets can be
        trusted [-]."""
        return 1.0 + self.full_doubt / 2.0

    def stronger(self, factor: float) -> RoomResponse:
        """The same home with emitters of `factor` times the output."""
        return replace(
            self,
            full=self.full * factor,
            opened=self.opened / factor,
            at_target=min(self.at_target / factor, 1.0),
        )

    def following(self, part: float) -> RoomResponse:
        """The same home whose water follows so much of a lower target."""
        return replace(self, follows=(part, part, part))


@dataclass(frozen=True)
class Changed:
    """Of each day after a change: fall of the room [K], heat to the rooms [kW], flow [°C], share used of the
    emitters [-]."""

    fall: Floats
    load_kw: Floats
    flow: Floats
    opened: Floats


def room_response(site: Site, days: HeatingDays, result: Mapping[str, Any]) -> RoomResponse:
    """Measure how a home's rooms follow the water.

    Over the days, the used share of the emitters (EN 442: load over rated output at the day's excess
    temperature) goes down as the room gets warmer than its target. The slope is the reduced major axis of
    the two, as both vary by themselves: it tends to 0 where a thermostat holds the room, and grows where no
    valve moves. Raises NotAssessed without a heat loss.
    """
    loss = loss_kw_per_k(site, result)
    if loss is None:
        raise NotAssessed("needs the house's heat loss, measured or in [design]", "missing_quantity")
    if max((float(np.nanmean(room)) for room, _ in days.zones.values()), default=0.0) > limit_of(
        site, "advice_airing_c"
    ):
        # Windows are opened in such warm rooms: a kelvin less saves between the loss of the closed and of the
        # aired house.
        most = limit_of(site, "advice_airing_factor")
        loss = loss[0] * float(np.sqrt(most)), loss[1], loss[0] * most
    room = fill_nan(days.room, site.design.indoor_c)
    excess = np.maximum(days.flow - days.over - days.half - room, 1.0)
    exponent, full = emitters_at_1_k(site, excess)
    used = days.load_kw / excess**exponent
    doubt = limit_of(site, "advice_emitter_doubt")
    if not full:
        # Emitter output unknown: use the highest observed output, and the usual reserve.
        full, doubt = _SPARED * float(np.quantile(used, 0.98)), _SPARED_DOUBT
    if float(np.quantile(used, 0.95)) > _ALWAYS_OPEN * full:
        # More than emitters of this rating can give: the data sheet or the water temperatures are wrong.
        full, doubt = float(np.quantile(used, 0.95)), _SPARED_DOUBT
    if switched(site, days) == 1.0:
        # Emitters that a thermostat switches give all they can while it calls, and less and less after it:
        # the share of them that is used lies between the running time and what data sheets say.
        more = float(np.sqrt(max(np.median(used / full) / np.median(days.share), 1.0)))
        full, doubt = full * more, max(doubt, more - 1.0)
    opened = np.clip(used / full, 0.02, _ALWAYS_OPEN)
    warmer = days.room - fill_nan(days.target, site.design.indoor_c)
    known = days.load_measured and np.isfinite(warmer).sum() >= limit_of(site, "advice_fewest_days")
    is_known = np.isfinite(warmer)
    opens_k = _opens(site, opened[is_known], warmer[is_known], days.outdoor[is_known]) if known else HELD_K
    if held_by_thermostat(site, days):
        opens_k = min(opens_k, THERMOSTAT_K)
    at_target = float(np.quantile(opened, 0.98))
    if known:
        usual = np.array([np.exp(np.log(opened[is_known]).mean())])
        at_target = float(opened_after(usual, np.array([warmer[is_known].mean()]), opens_k)[0])
    each = {zone: _axis(opened, pair[0] - fill_nan(pair[1], 0.0)) for zone, pair in days.zones.items()}
    mean = float(np.nanmean(list(each.values()))) if each else 1.0
    shares = {zone: value / mean if np.isfinite(value) and mean else 1.0 for zone, value in each.items()}
    influence, influence_most = _influence(site, days) if known else (0.0, 0.0)
    return RoomResponse(
        exponent,
        full,
        opened,
        min(at_target, 1.0),
        opens_k,
        shares,
        *loss,
        bool(known),
        influence,
        influence_most,
        opens_doubt(site, opened[is_known], warmer[is_known]),
        doubt,
        follows=_ONE_SPEED_FOLLOWS if _one_speed(site, days) else (1.0, 1.0, 1.0),
        acts=not known
        or influence > 0.0
        or held_by_thermostat(site, days)
        or switched(site, days) == 1.0
        or _move(site, opened[is_known], warmer[is_known], days.outdoor[is_known]),
    )


def _one_speed(site: Site, days: HeatingDays) -> bool:
    """Whether a unit that can't give less stops and starts: its water overshoots by its own output."""
    pump = site.heat_pump
    if pump.min_output_kw is None or pump.rated_output_kw is None:
        return False
    steady = pump.min_output_kw >= limit_of(site, "advice_one_speed") * pump.rated_output_kw
    return steady and float(np.median(days.share)) < limit_of(site, "advice_running_share")


def held_by_thermostat(site: Site, days: HeatingDays) -> bool:
    """Whether runs end before the water is as hot as the curve asks: then a thermostat was satisfied, however
    the room's daily mean varies by its night set-back."""
    resting = float(np.median(days.share)) < limit_of(site, "advice_running_share")
    return resting and float(np.median(days.gap)) >= limit_of(site, "advice_floats_k")


def switched(site: Site, days: HeatingDays) -> float:
    """1 where a thermostat switches the unit: it rests by day though it could give less. 0 where it goes down
    to what is asked for, or rests because that is below its least output; between where this is not known."""
    least = site.heat_pump.min_output_kw
    if least is None:
        return 0.5
    resting = float(np.median(days.share)) < limit_of(site, "advice_running_share")
    above = float(np.median(days.load_kw / days.share)) > limit_of(site, "advice_above_least") * least
    return float(resting and above)


def _opens(site: Site, opened: Floats, warmer: Floats, outdoor: Floats) -> float:
    """Fall of the room at which valves pass e times as much [K]. Valves that are open in rooms well above
    target, also on warmer days, never move; nor do those that are half open where any would be shut."""
    over, used = float(np.median(warmer)), float(np.median(opened))
    above = over >= limit_of(site, "advice_valves_shut_k")
    stand_open = used >= limit_of(site, "advice_valves_open")
    far_above = over >= limit_of(site, "advice_valves_gone_k")
    half_open = used >= limit_of(site, "advice_valves_half_open")
    if ((above and stand_open) or (far_above and half_open)) and not _move(site, opened, warmer, outdoor):
        return FOLLOWS_K
    return _axis(opened, warmer)


def _move(site: Site, opened: Floats, warmer: Floats, outdoor: Floats) -> bool:
    """Whether the used share of emitters is smaller on days with a warmer room, at comparable weather."""
    together = _correlation_at_like_weather(np.log(opened), warmer, outdoor)
    return together <= -limit_of(site, "advice_valves_move")


def _correlation_at_like_weather(x: Floats, y: Floats, outdoor: Floats) -> float:
    """Partial correlation, given a line over outdoor temperature; nan without residuals."""
    line = np.column_stack([np.ones(len(x)), outdoor])
    left = [z - line @ np.linalg.lstsq(line, z, rcond=None)[0] for z in (x, y)]
    spread = float(np.std(left[0]) * np.std(left[1]))
    return float(np.mean(left[0] * left[1])) / spread if spread > 0.0 else float("nan")


def opens_doubt(site: Site, opened: Floats, warmer: Floats) -> float:
    """Factor by which the response may be wrong: where both vary by themselves the truth lies between the two
    regressions (Frisch 1934), each the correlation away from their axis."""
    least, most = limit_of(site, "advice_response_doubt"), limit_of(site, "advice_response_doubt_most")
    if len(warmer) < 2 or not (np.std(warmer) > 0.0 and np.std(opened) > 0.0):
        return least
    related = abs(float(np.corrcoef(np.log(opened), warmer)[0, 1]))
    return min(max(1.0 / max(related, 1e-6), least), most)


def _influence(site: Site, days: HeatingDays) -> tuple[float, float]:
    """Rise of the set flow temperature per kelvin of room deficit, at equal outdoor temperature, 0 if
    uncertain; and its upper limit [-]."""
    short = days.target - days.room
    is_known = np.isfinite(short + days.asked)
    if is_known.sum() < limit_of(site, "advice_fewest_days"):
        return 0.0, 0.0
    outdoor = days.outdoor
    before = np.concatenate([outdoor[:1], outdoor[:-1]])  # controls damp the outdoor temperature
    x = np.column_stack([short, np.ones(len(days)), outdoor, outdoor**2, before])
    fit = robust_fit(x[is_known], days.asked[is_known])
    found, doubt = float(fit.coefficients[0]), float(np.sqrt(fit.covariance[0, 0]))
    sure = found - GAUSS_95 * doubt >= limit_of(site, "advice_influence_least")
    greatest = limit_of(site, "advice_influence_most")
    most = float(np.clip(found + GAUSS_95 * doubt, 0.0, greatest))
    return (min(found, greatest), most) if sure else (0.0, most)


def emitters_at_1_k(site: Site, excess: Floats) -> tuple[float, float]:
    """Exponent of all emitters together and their output at 1 K; 0 where the site file has none."""
    middle = float(np.median(excess))
    each = [(e, EXPONENTS[e.kind]) for e in site.emitter]
    gives = np.array([e.output_kw * (middle / e.output_excess_k) ** n for e, n in each])
    if not len(gives):
        return EXPONENTS["radiator"], 0.0
    exponent = float(np.sum(gives * np.array([n for _, n in each])) / gives.sum())
    return exponent, float(gives.sum() / middle**exponent)


def opened_after(opened: Floats, fall: Floats, opens_k: float, most: float = 1.0) -> Floats:
    """Used share of the emitters after the room fell [-].

    opened : share now. fall : of the room less that of its set temperature [K], negative where it rises
    opens_k : fall at which it would be e times as much, as the valves stand. most : share with open valves
    A valve that opens further lets more water through, and the emitter gives less and less more (EN 442 at
    less water): the odds of the share grow by the exponential, so that it ends at all that emitters give.
    """
    open_now = np.clip(opened / most, 1e-3, 1.0 - 1e-3)
    odds = open_now / (1.0 - open_now) * np.exp(np.minimum(fall / (opens_k * (1.0 - open_now)), 50.0))
    opens = np.maximum(most * odds / (1.0 + odds), opened)
    closes = opened * np.exp(np.minimum(fall, 0.0) / opens_k)
    return np.asarray(np.where(fall > 0.0, opens, closes))


def _axis(opened: Floats, warmer: Floats) -> float:
    """Reduced major axis of the room's warmth over the logarithm of the used share [K]."""
    is_known = np.isfinite(warmer)
    if is_known.sum() < 2:
        return float("nan")
    spread = float(np.std(np.log(opened[is_known])))
    return min(max(float(np.std(warmer[is_known])) / max(spread, 1e-6), HELD_K), FOLLOWS_K)


def changed(
    days: HeatingDays,
    response: RoomResponse,
    lower_k: Floats | float,
    wider: float = 1.0,
    cooler_k: Floats | float = 0.0,
) -> Changed:
    """Simulate each day with another curve, water flow or set temperature.

    lower_k : by how much the curve is lower [K]. wider : factor of flow less return at the same heat
    cooler_k : by how much the rooms' set temperature is lower, negative where it is higher [K]

    The room falls until what emitters give at the new water is what the house takes: its load less the loss
    coefficient times the fall. Valves open as it falls, up to the emitters' full output. Where the unit
    cycles, its flow is below the target by `gap`; the gap goes as the spare output goes. It may also be that
    runs end before the water is hot: then a lower target takes off the gap first. Controls with room
    influence make the water hotter again as the room falls. Rooms that nobody measured count as held.
    Valves and room influence act on the room less its set temperature.
    """
    lower_k = response.follows[0] * lower_k
    if not response.known and response.opens_k <= HELD_K:
        fall = np.zeros(len(days)) + cooler_k
        load = np.maximum(days.load_kw - response.loss * fall, 0.0)
        opened = response.opened * load / days.load_kw
        return Changed(fall, load, days.flow - lower_k, opened)
    room = fill_nan(days.room, float(np.nanmean(days.room)) if np.isfinite(days.room).any() else 20.0)
    most = np.maximum(response.opened, response.open_most)
    spare = np.maximum(1.0 - response.opened, 0.05)
    closes = response.gap_closes * np.clip(lower_k, 0.0, days.gap)

    def state(fall: Floats) -> tuple[Floats, Floats, Floats, Floats]:
        opened = opened_after(response.opened, fall - cooler_k, response.opens_k, response.open_most)
        load = np.maximum(days.load_kw - response.loss * fall, 0.0)
        gap = np.maximum(days.gap * np.clip((1.0 - opened) / spare, 0.0, 1.0) - closes, 0.0)
        flow = days.flow + days.gap - gap - lower_k + response.influence * (fall - cooler_k)
        half = days.half * wider * load / days.load_kw
        excess = np.maximum(flow - days.over - half - room + fall, 0.0)
        return opened, load, flow, opened * response.full * excess**response.exponent

    low, high = np.zeros(len(days)) + np.minimum(cooler_k, 0.0), np.full(len(days), _MOST_FALL_K)
    for _ in range(_HALVINGS):
        fall = (low + high) / 2.0
        _, load, _, gives = state(fall)
        short = gives < load
        low, high = np.where(short, fall, low), np.where(short, high, fall)
    fall = (low + high) / 2.0
    _, load, flow, _ = state(fall)
    excess = np.maximum(flow - days.over - days.half * wider * load / days.load_kw - room + fall, 1e-3)
    opened = np.clip(load / (response.full * excess**response.exponent), 0.02, most)
    return Changed(fall, load, flow, opened)
