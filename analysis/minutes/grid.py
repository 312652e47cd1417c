"""Resample raw readings to a minute grid in canonical units.

Gauges are means of the minute's readings, interpolated linearly up to the point's usual interval; one that is
sent only when it changes holds until its next reading. Energies
are Wh per minute: shapes from powers, totals from registers. Unmeasured minutes are nan.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import date, timedelta
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from fieldfare.analysis.minutes.cascade import cascade_grid, is_cascade
from fieldfare.analysis.minutes.midnight import local_midnight
from fieldfare.analysis.minutes.plausible import error_words, implausible
from fieldfare.analysis.minutes.registers import RegisterEvent, change_points, whole_total
from fieldfare.analysis.minutes.resampling import (
    LINE_UP_TO_MIN,
    Between,
    canonical,
    interval_of_changes,
    is_change_driven,
    long_gap,
    mean_of,
    on_minutes,
    polling_interval,
    sampling_interval,
)
from fieldfare.analysis.plant.site import Point, Site
from fieldfare.analysis.readings import MS_PER_MINUTE, Readings, Samples
from fieldfare.analysis.statistics.quantiles import running_median

Floats = NDArray[np.float64]
Times = NDArray[np.int64]

# Above any dwelling's heat pump or heaters [kW]; a register that rises faster has jumped.
MOST_KW = 60.0
# A net heat register falls while a defrost draws heat back: at most about one defrost's worth [kWh].
DEFROST_FALL_KWH = 2.0
# Maximum hold time of a change-driven state: a unit at rest in summer still makes hot water
# every day.
_LONGEST_STATE_MIN = 24 * 60.0
# Readings of a home that is heard come at least this often, whichever point they are of.
_HEARD_MIN = 60.0
_MULTIPLIED = ("flow_rate", "flow_temperature", "return_temperature")


@dataclass(frozen=True)
class Anomaly:
    """An oddity in a point's readings; becomes a row of the notices table."""

    point: str
    time: int
    kind: str
    amount: float


@dataclass
class Grid:
    """A span of whole local days in minutes.

    time : int64 (n,) [ms], the start of each minute. day_start : int64 (d + 1,) [index into time], day limits
    gauges : quantity -> float64 (n,), canonical unit; rooms and calls by zone in `zones[quantity][zone]`
    energy : quantity -> float64 (n,) [Wh in the minute]; totals as registers have them
    counts : quantity -> float64 (n,) [in the minute], compressor starts and hours
    nearest : the same of water flow and temperatures that are read minutes apart, each minute with its
        nearest reading
        instead of a line between two: a product of two lines is not the line of the product
    spacing : quantity -> minutes between two facts that the readings can show
    from_register : energy quantities whose totals are a register's
    seen, sent : point -> bool (n,), minutes that its usable readings cover, and for points of which readings
        were left out, those that all of them cover
    step : quantity -> kWh of one step of the register that gives its shape; 0 or absent where steps do not
        matter
    units : each unit's own grid, where several share the load and have points of their own
    """

    days: list[date]
    time: Times
    day_start: NDArray[np.int64]
    gauges: dict[str, Floats] = field(default_factory=dict)
    zones: dict[str, dict[str, Floats]] = field(default_factory=dict)
    energy: dict[str, Floats] = field(default_factory=dict)
    counts: dict[str, Floats] = field(default_factory=dict)
    nearest: dict[str, Floats] = field(default_factory=dict)
    spacing: dict[str, float] = field(default_factory=dict)
    from_register: set[str] = field(default_factory=set)
    step: dict[str, float] = field(default_factory=dict)
    seen: dict[str, NDArray[np.bool_]] = field(default_factory=dict)
    sent: dict[str, NDArray[np.bool_]] = field(default_factory=dict)
    anomalies: list[Anomaly] = field(default_factory=list)
    units: tuple[Grid, ...] = ()

    def __len__(self) -> int:
        return len(self.time)

    @property
    def local_dates(self) -> NDArray[np.datetime64]:
        """datetime64 (d,), the local days without zone: the `day` of the facts tables."""
        return np.array(self.days, dtype="datetime64[us]")

    def gauge(self, quantity: str) -> Floats:
        """float64 (n,), all nan where the quantity is not measured."""
        found = self.gauges.get(quantity)
        return found if found is not None else np.full(len(self), np.nan)

    def sample(self, quantity: str) -> Floats:
        """A gauge for products with another, float64 (n,): nearest reading if readings are minutes apart."""
        found = self.nearest.get(quantity)
        return found if found is not None else self.gauge(quantity)

    def has(self, quantity: str) -> bool:
        return quantity in self.gauges or quantity in self.energy or quantity in self.zones

    def resolves(self, quantity: str, watts: float, minutes: float) -> bool:
        """Whether this power shows within this time: a register's step must not exceed that energy."""
        return self.step.get(quantity, 0.0) * 1000.0 <= watts * minutes / 60.0 + 1e-9

    def power(self, quantity: str) -> Floats:
        """Mean power of each minute, float64 (n,) [W]; all nan where not measured."""
        found = self.energy.get(quantity)
        return found * 60.0 if found is not None else np.full(len(self), np.nan)


def build_grid(site: Site, readings: Readings, first: date, last: date) -> Grid:
    """Resample readings to the minutes of the local days first..last, inclusive.

    readings : Readings in the points' declared units; may reach beyond the span, which helps its edges
    Returns Grid. Raises nothing for thin data: what is not measured is absent or nan.
    """
    if is_cascade(site):
        return cascade_grid(site, lambda part: build_grid(part, readings, first, last))
    days = [first + timedelta(n) for n in range((last - first).days + 1)]
    limits = np.array([local_midnight(site, d) for d in [*days, last + timedelta(1)]], dtype=np.int64)
    time = np.arange(limits[0], limits[-1], MS_PER_MINUTE, dtype=np.int64)
    grid = Grid(days, time, (limits - limits[0]) // MS_PER_MINUTE)
    by_quantity: dict[str, list[Point]] = {}
    for point in site.point:
        if point.id in readings and len(readings[point.id].time) and not point.kind.is_text:
            by_quantity.setdefault(point.quantity, []).append(point)
    for quantity, points in by_quantity.items():
        kind = points[0].kind
        if kind.energy and "power" in kind.forms:
            _lay_energy(grid, site, quantity, points, readings)
        elif kind.energy:
            _lay_count(grid, quantity, points[0], readings)
        else:
            _lay_gauge(grid, site, quantity, points, readings)
    return grid


def _lay_gauge(grid: Grid, site: Site, quantity: str, points: list[Point], readings: Readings) -> None:
    zones: dict[str, list[Floats]] = {}
    samples_of: list[Floats] = []
    for point in points:
        samples = _likely(grid, site, point, canonical(point, readings[point.id]))
        usual, longest = sampling_interval(samples.time)
        hold = point.form == "state"
        if hold and is_change_driven(samples, usual):
            usual, longest = polling_interval(samples.time), _LONGEST_STATE_MIN
        elif not hold and (sent := interval_of_changes(samples)) is not None:
            hold, usual, longest = True, *sent
        grid.spacing[quantity] = max(grid.spacing.get(quantity, 0.0), usual)
        laid, has_reading = (
            _held(grid, samples, longest, readings)
            if hold and point.form != "state"
            else on_minutes(grid.time, samples, longest, between="last" if hold else "line")
        )
        grid.seen[point.id] = has_reading
        zones.setdefault(point.zone, []).append(laid)
        if quantity in _MULTIPLIED and usual > LINE_UP_TO_MIN:
            # A value that was sent on change holds: it is not the one that comes next.
            nearest = laid if hold else on_minutes(grid.time, samples, longest, between="nearest")[0]
            samples_of.append(nearest)
    if samples_of:
        grid.nearest[quantity] = mean_of(samples_of)
    by_zone = {zone: mean_of(parts) for zone, parts in zones.items()}
    if points[0].quantity in ("room_temperature", "target_room_temperature", "heat_call"):
        grid.zones[quantity] = by_zone
        if quantity == "heat_call":
            grid.gauges[quantity] = np.fmax.reduce(list(by_zone.values()))
            return
    grid.gauges[quantity] = mean_of(list(by_zone.values()))


def _held(
    grid: Grid, samples: Samples, longest: float, readings: Readings
) -> tuple[Floats, NDArray[np.bool_]]:
    """`on_minutes` of readings that are sent on change.

    Where none repeats the one before, no sign of life tells a value that stays from a sensor that is away: it
    holds for up to a day while others of the home are heard as often as usual.
    """
    gaps = np.diff(samples.time)
    long = np.flatnonzero(gaps > _HEARD_MIN * MS_PER_MINUTE)
    if not len(long) or bool((samples.value[1:] == samples.value[:-1]).any()):
        return on_minutes(grid.time, samples, longest, between="last")
    laid, seen = on_minutes(grid.time, samples, _LONGEST_STATE_MIN, between="last")
    heard = np.unique(np.concatenate([s.time // MS_PER_MINUTE for s in readings.values()])) * MS_PER_MINUTE
    apart = np.diff(heard)
    pauses = np.flatnonzero(apart > max(_HEARD_MIN * MS_PER_MINUTE, 1.5 * long_gap(apart)))
    for i in long.tolist():
        begin, end = samples.time[i], samples.time[i + 1]
        if bool(((heard[pauses] < end) & (heard[pauses + 1] > begin)).any()):
            a, b = np.searchsorted(grid.time, (begin + MS_PER_MINUTE, end - MS_PER_MINUTE))
            laid[a:b], seen[a:b] = np.nan, False
    return laid, seen


def _likely(grid: Grid, site: Site, point: Point, samples: Samples) -> Samples:
    unlikely = implausible(site, point, samples)
    keep = ~unlikely & np.isfinite(samples.value)
    if keep.all():
        return samples
    _note_unlikely(grid, point, samples.time, unlikely)
    grid.sent[point.id] = _covered(grid.time, samples, sampling_interval(samples.time)[1])
    return Samples(samples.time[keep], samples.value[keep])


def _note_unlikely(grid: Grid, point: Point, time: Times, unlikely: NDArray[np.bool_]) -> None:
    """One notice a day for left-out readings, with their share of the day's readings."""
    if not unlikely.any():
        return
    edges = np.append(grid.time, grid.time[-1] + MS_PER_MINUTE)[grid.day_start]
    at = np.searchsorted(time, edges)
    for a, b in pairwise(at):
        out = np.flatnonzero(unlikely[a:b])
        if len(out):
            grid.anomalies.append(
                Anomaly(point.id, int(time[a + out[0]]), "unlikely", float(len(out) / (b - a)))
            )


def register_limits(point: Point) -> tuple[float, float]:
    """The most that a register counts in an hour, and the largest real fall between two readings (heat drawn
    back by a defrost), in its canonical unit."""
    if point.quantity == "compressor_starts":
        return 60.0, 0.0
    if point.quantity == "compressor_hours":
        return 1.2, 0.0
    drawn_back = "heat" in point.quantity and "heater" not in point.quantity
    return MOST_KW, DEFROST_FALL_KWH if drawn_back else 0.0


def _lay_count(grid: Grid, quantity: str, point: Point, readings: Readings) -> None:
    samples = canonical(point, readings[point.id])
    usual, longest = sampling_interval(samples.time)
    total = whole_total(samples, most_per_hour=register_limits(point)[0])
    edges = np.append(grid.time, grid.time[-1] + MS_PER_MINUTE)
    grid.counts[quantity] = np.diff(total.at(edges))
    grid.spacing[quantity] = usual
    grid.seen[point.id] = _covered(grid.time, samples, longest)
    _note(grid, point, total.events)


def _covered(time: Times, samples: Samples, longest: float) -> NDArray[np.bool_]:
    return on_minutes(time, Samples(samples.time, np.zeros(len(samples.time))), longest)[1]


def _note(grid: Grid, point: Point, events: list[RegisterEvent]) -> None:
    begin, end = grid.time[0], grid.time[-1] + MS_PER_MINUTE
    grid.anomalies.extend(
        Anomaly(point.id, e.time, e.kind, e.amount) for e in events if begin <= e.time < end
    )


def _lay_energy(grid: Grid, site: Site, quantity: str, points: list[Point], readings: Readings) -> None:
    """Energy of each minute [Wh]: shapes from powers and intervals, totals from registers."""
    by_form: dict[str, list[Floats]] = {}
    spacing: dict[str, float] = {}
    coarse_step = 0.0
    for point in points:
        samples = canonical(point, readings[point.id])
        if point.form == "power":
            laid, shown = _from_power(grid, site, point, samples, readings)
        elif point.form == "interval":
            laid, shown = _from_intervals(grid, point, samples)
        else:
            laid, shown, step = _from_register(grid, point, samples)
            coarse_step = max(coarse_step, step)
        by_form.setdefault(point.form, []).append(laid)
        spacing[point.form] = max(spacing.get(point.form, 0.0), shown)
    total = {form: np.sum(parts, axis=0) for form, parts in by_form.items()}
    # At minutes' spacing a power is a sample. A register that moves as often is complete and has the better
    # shape.
    sampled = min(spacing.values()) > LINE_UP_TO_MIN
    shape_form = min(spacing, key=lambda f: (spacing[f], (f == "register") != sampled))
    grid.spacing[quantity] = spacing[shape_form]
    if "register" not in total:
        grid.energy[quantity] = total[shape_form]
        return
    grid.from_register.add(quantity)
    if shape_form == "register":
        grid.energy[quantity] = total["register"]
        grid.step[quantity] = coarse_step
        return
    grid.energy[quantity] = _fit_shape(grid, total[shape_form], total["register"])


def _fit_shape(grid: Grid, shape: Floats, register: Floats) -> Floats:
    """Scale a power's shape to a register's totals, block by block between known register values."""
    known = np.isfinite(register)
    both = known & np.isfinite(shape)
    out = np.where(np.isfinite(shape), shape, register)
    # A quarter of a day: long against a register's step, short against drift. Blocks follow UTC,
    # so that a day has the same blocks in every span.
    block = grid.time // (360 * MS_PER_MINUTE)
    block = block - block[0]
    begin = np.flatnonzero(np.diff(block, prepend=-1))

    def summed(values: Floats) -> Floats:
        return np.asarray(np.add.reduceat(np.where(both, values, 0.0), begin))

    reg, own, drawn_back = summed(register), summed(shape), summed(np.minimum(shape, 0.0))
    if _counts_only_forward(register, drawn_back):
        reg = reg + drawn_back
    # Spread the difference in proportion to the shape's size, so that idle minutes stay idle.
    size = summed(np.abs(shape))
    share = np.divide(reg - own, size, out=np.zeros(len(begin)), where=size > 1e-9)
    share = np.clip(share, -0.5, 0.5)
    return np.where(both, shape + np.abs(np.where(both, shape, 0.0)) * share[block], out)


def _counts_only_forward(register: Floats, drawn_back: Floats) -> bool:
    """Whether a heat register ignores heat drawn back by defrosts (MID meters need not count it)."""
    return bool(drawn_back.sum() < -500.0 and np.nanmin(register) >= -1e-6)


def _from_power(
    grid: Grid, site: Site, point: Point, samples: Samples, readings: Readings
) -> tuple[Floats, float]:
    samples = _likely(grid, site, point, samples)
    usual, longest = sampling_interval(samples.time)
    # Nearest, not linear: interpolation would mix the heat of two uses.
    between: Between = "nearest" if usual > LINE_UP_TO_MIN else "line"
    if (sent := interval_of_changes(samples)) is not None:
        usual, longest = sent
        laid, grid.seen[point.id] = _held(grid, samples, longest, readings)
        return laid / 60.0, usual
    laid, grid.seen[point.id] = on_minutes(grid.time, samples, longest, between=between)
    return laid / 60.0, usual


def _from_intervals(grid: Grid, point: Point, samples: Samples) -> tuple[Floats, float]:
    """Spread interval energies evenly over their intervals; after a gap keep the interval's own length."""
    if len(samples.time) < 2:
        grid.seen[point.id] = np.zeros(len(grid), dtype=bool)
        return np.full(len(grid), np.nan), 60.0
    gaps = np.diff(samples.time)
    usual = float(np.median(gaps))
    # A logger's interval may change: each has the length of its neighbours.
    about = running_median(gaps.astype(np.float64), 4, 4)
    if point.stamp == "start":
        start, own = samples.time, np.append(about, about[-1])
        end = np.minimum(np.append(samples.time[1:], 2**62), start + (1.5 * own).astype(np.int64))
        end[-1] = start[-1] + int(own[-1])
    else:
        end, own = samples.time, np.concatenate((about[:1], about))
        start = np.maximum(
            np.concatenate(([-(2**62)], samples.time[:-1])), end - (1.5 * own).astype(np.int64)
        )
        start[0] = end[0] - int(own[0])
    low, high = point.kind.likely
    watts = samples.value * 3.6e9 / (end - start)
    fits = (watts >= low) & (watts <= high) & ~error_words(point, samples)
    _note_unlikely(grid, point, samples.time, ~fits)
    if not fits.any():
        grid.seen[point.id] = np.zeros(len(grid), dtype=bool)
        return np.full(len(grid), np.nan), usual / MS_PER_MINUTE
    start, end, energy = start[fits], end[fits], samples.value[fits]
    knots = np.empty(2 * len(start), dtype=np.int64)
    knots[0::2], knots[1::2] = start, end
    total = np.empty(2 * len(start))
    total[1::2] = np.cumsum(energy)
    total[0::2] = total[1::2] - energy
    edges = np.append(grid.time, grid.time[-1] + MS_PER_MINUTE)
    wh = np.diff(np.interp(edges, knots, total)) * 1000.0
    inside = np.searchsorted(knots, grid.time, side="right")
    covered = inside % 2 == 1
    grid.seen[point.id] = covered
    return np.where(covered, wh, np.nan), usual / MS_PER_MINUTE


def _from_register(grid: Grid, point: Point, samples: Samples) -> tuple[Floats, float, float]:
    """Wh of each minute, spacing [minutes] of the shape, and the register's step [kWh], 0 if fine."""
    most, fall = register_limits(point)
    total = whole_total(samples, most_per_hour=most, may_fall=fall)
    _note(grid, point, total.events)
    usual, longest = sampling_interval(samples.time)
    if (sent := interval_of_changes(samples)) is not None:
        longest = max(longest, sent[1])
    grid.seen[point.id] = _covered(grid.time, samples, longest)
    edges = np.append(grid.time, grid.time[-1] + MS_PER_MINUTE)
    shape = change_points(total.time, total.value, usual, longest)
    at = np.interp(edges, shape.time, shape.value, left=np.nan, right=np.nan)
    return np.diff(at) * 1000.0, shape.spacing, shape.step
