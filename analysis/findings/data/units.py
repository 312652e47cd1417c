"""A point that sends another unit than the site file declares."""

from __future__ import annotations

import numpy as np

from fieldfare.analysis.errors import NotAssessed
from fieldfare.analysis.facts.table import Table, day_of_year, fill_nan
from fieldfare.analysis.findings.confidence import Flags, Floats, confidence_of
from fieldfare.analysis.findings.context import Context, Rule
from fieldfare.analysis.findings.data.energy_units import energy_slips, rated_kw
from fieldfare.analysis.findings.data.unit_slips import Slip, SlipDays, times
from fieldfare.analysis.findings.episodes import Episode, latest_episode
from fieldfare.analysis.findings.model import Evidence, Finding
from fieldfare.analysis.findings.phrases import named
from fieldfare.analysis.physics.sun import clear_noon
from fieldfare.analysis.plant.site import Point, Site
from fieldfare.analysis.statistics.moving import moving_mean

_FAHRENHEIT = Slip("degF", "degC", lambda shown: (shown - 32.0) / 1.8)
_CELSIUS = Slip("degC", "degF", lambda shown: shown * 1.8 + 32.0)
_FLOW = (
    times("l/h", "m3/h", 1000.0),
    times("l/min", "m3/h", 1000.0 / 60.0),
    times("US gal/min", "m3/h", 4.403),
    times("l/s", "m3/h", 1.0 / 3.6),
    times("m3/h", "l/min", 0.06),
    times("m3/h", "l/h", 0.001),
)
_PRESSURE_UP = (times("kPa", "bar", 100.0), times("psi", "bar", 14.504), times("mbar", "bar", 1000.0))
_PRESSURE_DOWN = (times("bar", "kPa", 0.01),)

_WATER = frozenset(
    {
        "flow_temperature",
        "return_temperature",
        "distribution_flow_temperature",
        "distribution_return_temperature",
        "target_flow_temperature",
        "buffer_temperature",
    }
)
_BOILS_C = 100.0
_ROOMS = frozenset({"room_temperature", "target_room_temperature"})


def unit_mismatch(context: Context) -> Finding | None:
    """Readings that are impossible in the declared unit but plausible in another one."""
    days = context.all_days.days
    worst: tuple[Episode, Point, SlipDays] | None = None
    has_values = False
    for point in _numbers(context):
        has_values = True
        for slip_days in _possible(context, point):
            episode = latest_episode(days["day"], slip_days.fits_slip, slip_days.judged, hold_days=2)
            if episode is None or episode.share < 0.6:
                continue
            if worst is None or (episode.until is None, episode.days) > (
                worst[0].until is None,
                worst[0].days,
            ):
                worst = (episode, point, slip_days)
    if not has_values:
        raise NotAssessed("no numbers are measured here", "missing_quantity")
    return None if worst is None else _finding(context, *worst)


def _numbers(context: Context) -> list[Point]:
    """Points with readings, but for those known to be stuck: an error value is no other unit."""
    days = context.all_days.days
    return [p for p in context.site.point if f"raw.{p.id}" in days and p.quantity not in context.unreliable]


def _finding(context: Context, episode: Episode, point: Point, slip_days: SlipDays) -> Finding:
    days = context.all_days.days
    shown = days.floats(f"raw.{point.id}")[slip_days.fits_slip]
    meant = slip_days.slip.back(shown)
    unit = "W" if point.kind.energy else point.kind.unit
    typical, corrected = float(np.median(shown)), float(np.median(meant))
    is_temperature = point.kind.is_temperature
    declared = point.unit or slip_days.slip.declared
    sends = (
        slip_days.slip.sends
        if is_temperature or not point.kind.energy
        else _real_unit(declared, typical, corrected)
    )
    return Finding(
        "unit_mismatch",
        "note" if episode.until else "act",
        episode.since,
        confidence_of(3.0, episode.days, episode.share),
        (
            f"{named(point)} sends {sends} though the site file says {declared}: it reads"
            f" {_plain(typical)} {unit} where {_plain(corrected)} {unit} would fit."
        ),
        (
            Evidence("typical reading as declared", round(typical, 4), unit),
            Evidence(f"the same if it is {sends}", round(corrected, 4), unit),
            Evidence("days affected", float(episode.days), "days"),
        ),
        next_step=(
            ""
            if episode.until
            else (
                f"Set the unit of {point.id} to {sends} in the site file"
                + (
                    (
                        " (it changed mid-season: ask who changed the gateway's set-up, and have it"
                        " changed back)"
                    )
                    if _came_later(days, episode)
                    else ""
                )
                + "; the figures are then recalculated from the stored readings."
            )
        ),
        until=episode.until,
        visit="none" if episode.until else "setting",
    )


def _plain(value: float) -> str:
    """Three digits that count, written out."""
    return f"{float(f'{value:.3g}'):,.10g}"


def _came_later(days: Table, episode: Episode) -> bool:
    return bool((days["day"] < np.datetime64(episode.since)).sum() > 3)


def _real_unit(declared: str, shown: float, meant: float) -> str:
    """The unit that makes the declared one's numbers right, in the words of the declared one."""
    ratio = meant / shown if shown else 1.0
    ladder = (
        ["mW", "W", "kW", "MW"] if not declared.lower().endswith("h") else ["mWh", "Wh", "kWh", "MWh", "GWh"]
    )
    if declared in ladder and abs(abs(np.log10(ratio)) - 3.0) < 0.2:
        at = ladder.index(declared) + (1 if ratio > 1 else -1)
        if 0 <= at < len(ladder):
            return ladder[at]
    if 200.0 < ratio < 400.0 and declared == "kWh":
        return "GJ"
    return f"about {ratio:.3g} {declared} for each unit"


def _possible(context: Context, point: Point) -> list[SlipDays]:
    """The tellings whose slip this point can make: a point declared in degC can't be degC taken for degF."""
    possible = _all_slips(context, point)
    if not point.kind.is_temperature:
        return possible
    scale, _ = point.to_canonical
    declared = _CELSIUS if abs(scale - 1.0 / 1.8) < 1e-6 else _FAHRENHEIT
    return [t for t in possible if t.slip is declared]


def _all_slips(context: Context, point: Point) -> list[SlipDays]:
    days, site = context.all_days.days, context.site
    raw = days.floats(f"raw.{point.id}")
    quantity = point.quantity
    if quantity == "outdoor_temperature":
        return _outdoor(context, raw)
    if quantity in _ROOMS:
        home, true = (8.0, 36.0), (12.0, 30.0)
        return [_by_range(slip, raw, home, true) for slip in (_FAHRENHEIT, _CELSIUS)]
    if quantity in _WATER:
        top = (site.heat_pump.max_flow_c or 70.0) + 8.0
        worked = days.floats("minutes_running") >= 120.0
        hot = _by_range(_FAHRENHEIT, raw, (-20.0, top), (15.0, top), surely=(-20.0, 60.0))
        cold = _by_range(_CELSIUS, np.where(worked, raw, np.nan), (10.0, 99.0), (20.0, top))
        return [hot, cold]
    if quantity == "cylinder_temperature":
        charged = days.floats("minutes_hot_water") >= 20.0
        # Water may be as hot as it boils, whatever heats it: that is a danger and no other unit.
        hot = _by_range(_FAHRENHEIT, raw, (-20.0, _BOILS_C), (25.0, 80.0))
        return [hot, _by_range(_CELSIUS, np.where(charged, raw, np.nan), (22.0, 99.0), (30.0, 80.0))]
    if quantity == "system_pressure":
        low = _by_range(_PRESSURE_DOWN[0], raw, (0.05, 6.0), (0.5, 4.0))
        return [*(_by_range(s, raw, (-0.5, 6.0), (0.4, 4.0)) for s in _PRESSURE_UP), _from_the_start(low)]
    if quantity == "outdoor_humidity":
        share = np.where(raw > 0.05, raw, np.nan)
        return [_by_range(times("a share of 1", "%", 0.01), share, (2.0, 110.0), (20.0, 101.0))]
    if quantity == "flow_rate":
        return _flow_rate(context, raw)
    if point.kind.energy and quantity != "compressor_starts" and quantity != "compressor_hours":
        return energy_slips(context, point, raw)
    return []


Range = tuple[float, float]


def _by_range(slip: Slip, raw: Floats, home: Range, true: Range, *, surely: Range | None = None) -> SlipDays:
    """so where the reading is not at home in its own unit and would be in the other; surely : where that is
    ruled out."""
    meant = slip.back(raw)
    known = np.isfinite(raw)
    at_home = known & (raw >= home[0]) & (raw <= home[1])
    fits = known & (meant >= true[0]) & (meant <= true[1])
    low, high = surely or home
    fits_slip = known & ~at_home & fits
    return SlipDays(slip, fits_slip, fits_slip | (known & (raw >= low) & (raw <= high)))


def _from_the_start(slip_days: SlipDays) -> SlipDays:
    """Only a mismatch from the first day on: a later slide to such values is a plant fault."""
    judged = np.flatnonzero(slip_days.judged)
    if len(judged) and slip_days.fits_slip[judged[0]]:
        return slip_days
    return SlipDays(slip_days.slip, np.zeros_like(slip_days.fits_slip), slip_days.judged)


# ---- outdoor temperature


def _outdoor(context: Context, raw: Floats) -> list[SlipDays]:
    """Fahrenheit judged by implausible warmth; Celsius by weeks far below design."""
    days, site = context.all_days.days, context.site
    ceiling = _warmest(site, days)
    lowest = (site.design.outdoor_c if site.design.outdoor_c is not None else -15.0) - 8.0
    heats = _heats(context)
    known = np.isfinite(raw)
    meant = _FAHRENHEIT.back(raw)
    beyond = known & ((raw > ceiling) | ((raw > 26.0) & heats)) & (meant > lowest - 10.0) & (meant < 30.0)
    against = known & ~beyond & (meant < lowest)
    hot = SlipDays(_FAHRENHEIT, beyond, beyond | against)
    meant = _CELSIUS.back(raw)
    # 14 degC read as degF is -10 degC, and summer's 30 degC never gets above 0.
    deep = known & (raw < lowest) & (meant > lowest) & (meant < 30.0)
    weeks = moving_mean(deep.astype(np.float64), 10, 10, centred=False)
    fits_slip = deep & (np.nan_to_num(_widened(weeks >= 0.9, 10)) > 0)
    return [hot, SlipDays(_CELSIUS, fits_slip, fits_slip | (known & (raw > 2.0)))]


def _widened(flags: Flags, width: int) -> Flags:
    """True for all days of the windows that end at a True."""
    out = flags.copy()
    for k in range(1, width):
        out[:-k] |= flags[k:]
    return out


def _warmest(site: Site, days: Table) -> Floats:
    """A daily mean that no inhabited place of this latitude has at this time of the year [°C].

    The record daily means of January at 52 and 36 degrees lie at about 14 and 22 °C, of July at about 32 and
    38 °C (common practice); the line lies some 6 K above them.
    """
    if site.latitude is None:
        return np.full(len(days), 45.0)
    noon = clear_noon(day_of_year(days["day"]), site.latitude)
    return np.asarray(14.0 + 32.0 * np.clip(noon / 1000.0, 0.0, 1.0))


def _heats(context: Context) -> Flags:
    """Days with real heating: hours of running, warm water and no heat drawn from it."""
    days = context.all_days.days
    ran = days.floats("minutes_running") >= 480.0
    water = np.full(len(days), np.nan)
    for point in context.site.points_of("flow_temperature"):
        water = np.fmax(water, days.floats(f"raw.{point.id}"))
    gave = fill_nan(days.floats("heat_total_kwh"), 0.0) > 15.0
    return ran & ((fill_nan(water, 0.0) > 28.0) | gave)


# ---- flow rate


def _flow_rate(context: Context, raw: Floats) -> list[SlipDays]:
    pump, days = context.site.heat_pump, context.all_days.days
    usual = pump.flow_m3_per_h or rated_kw(context.site) / (1.16 * 5.0)
    level = raw / usual
    meter, flow = days.floats("check_meter"), days.floats("check_flow")
    compared = (np.abs(meter) > 3.0) & (np.abs(flow) > 1e-6)
    ratio = np.divide(flow, meter, out=np.full(len(days), np.nan), where=compared)
    out = []
    for slip in _FLOW:
        factor = 1.0 / float(slip.back(np.array([1.0]))[0])
        meant = level / factor
        known = np.isfinite(raw) & (raw > 0)
        by_size = known & ((level > 6.0) | (level < 0.1)) & (meant > 0.25) & (meant < 3.0)
        # A heat meter that agrees once the factor is taken off leaves no doubt.
        agrees = np.isfinite(ratio) & (np.abs(np.log(np.abs(ratio) / factor)) < 0.15)
        by_meter = known & agrees & (meant > 0.3) & (meant < 2.5) & ~((level > 0.6) & (level < 1.6))
        against = known & (level >= 0.3) & (level <= 2.5) & ~by_meter
        fits_slip = (by_size & (agrees | ~np.isfinite(ratio))) | by_meter
        out.append(SlipDays(slip, fits_slip, fits_slip | against))
    return out


def _unreliable(context: Context, finding: Finding) -> frozenset[str]:
    """The quantities of every point with a wrong unit, not only of the one the finding names."""
    days = context.all_days.days
    out = set()
    for point in _numbers(context):
        for slip_days in _possible(context, point):
            episode = latest_episode(days["day"], slip_days.fits_slip, slip_days.judged, hold_days=2)
            if episode is not None and episode.share >= 0.6 and episode.until is None:
                out.add(point.quantity)
    return frozenset(out)


UNIT_RULES: tuple[Rule, ...] = (Rule("unit_mismatch", unit_mismatch, makes_unreliable=_unreliable),)
