"""Occupants: presence, internal gains, room targets and hot-water draws with habit."""

from dataclasses import dataclass

import numpy as np

# Draws of a day like the EN 16147 profiles, simplified (from memory): hour, litres at 40 degC, spread [h].
DRAWS = {
    "S": ((7.1, 8, 0.4), (7.6, 16, 0.3), (12.5, 7, 0.7), (18.2, 8, 0.8), (20.5, 18, 0.7)),
    "M": (
        (7.0, 6, 0.3),
        (7.2, 42, 0.3),
        (8.2, 6, 0.5),
        (12.7, 9, 0.8),
        (18.1, 10, 0.7),
        (20.6, 16, 0.6),
        (21.4, 42, 0.6),
    ),
    "L": (
        (6.8, 6, 0.3),
        (7.1, 45, 0.3),
        (7.7, 45, 0.3),
        (8.4, 8, 0.5),
        (12.7, 10, 0.8),
        (17.9, 14, 0.8),
        (20.4, 20, 0.6),
        (20.9, 75, 0.7),
        (21.7, 8, 0.5),
    ),
}


@dataclass
class Habits:
    """How a household lives: set by `draw_habits`, changed by situations."""

    profile: str = "M"
    scale: float = 1.0
    target_c: float = 20.5
    setback_k: float = 0.0
    setback_from: float = 22.5
    setback_to: float = 5.5
    base_w: float = 220.0
    people_w: float = 250.0
    home_by_day: bool = True
    absences: tuple[tuple[int, int], ...] = ()
    parties: tuple[int, ...] = ()
    second_target_c: float = 19.5
    away_setback_k: float = 4.0


def draw_habits(rng: np.random.Generator, days: int, area_m2: float) -> Habits:
    """Return a random household for a home of `area_m2`."""
    absences, parties = [], []
    if rng.random() < 0.35:
        start = int(rng.integers(15, max(days - 15, 16)))
        absences.append((start, start + int(rng.integers(2, 11))))
    if rng.random() < 0.5:
        parties = [int(v) for v in rng.integers(5, days, size=int(rng.integers(1, 3)))]
    target = float(rng.choice([20.0, 20.5, 21.0, 21.5]))
    setback = float(rng.choice([0.0, 0.0, 1.0, 1.5, 2.0]))
    return Habits(
        profile=str(rng.choice(["S", "M", "M", "L"])),
        scale=float(rng.uniform(0.8, 1.15)),
        target_c=target,
        setback_k=setback,
        setback_from=float(rng.choice([22.0, 22.5, 23.0])),
        setback_to=float(rng.choice([4.5, 5.0, 5.5, 6.0])),
        base_w=float(rng.uniform(1.2, 2.2) * area_m2),
        people_w=float(rng.uniform(120, 320)),
        home_by_day=bool(rng.random() < 0.55),
        absences=tuple(absences),
        parties=tuple(parties),
        second_target_c=target - float(rng.choice([0.0, 0.5, 1.5, 2.0])),
    )


def away_days(habits: Habits, days: int) -> np.ndarray:
    """Return a mask of the days on which nobody is home."""
    away = np.zeros(days, bool)
    for a, b in habits.absences:
        away[a:b] = True
    return away


def fill_people(
    drive: np.ndarray, habits: Habits, rng: np.random.Generator, run_in: int, dst: np.ndarray, two_zones: bool
) -> None:
    """Write gains, targets and draws into `drive`, a row a minute of standard time; `dst` [h] is added."""
    n = len(drive)
    days = n // 1440
    away = np.concatenate([np.zeros(run_in, bool), away_days(habits, days - run_in)])
    hour = (np.arange(n) / 60.0 + dst) % 24.0
    awake = np.clip(np.minimum(hour - 6.0, 23.0 - hour), 0.0, 1.0)
    present = 0.55 + 0.45 * awake
    if not habits.home_by_day:
        weekday = (np.arange(n) // 1440) % 7 < 5
        present = np.where(weekday & (hour > 8.5) & (hour < 17.0), 0.05, present)
    present = present * ~np.repeat(away, 1440)
    gains = habits.base_w * (0.55 + 0.9 * awake * (present > 0.1)) + habits.people_w * present
    gains *= np.repeat(np.exp(0.12 * rng.standard_normal(days)), 1440)
    for day in habits.parties:
        a = (day + run_in) * 1440 + 19 * 60
        gains[a : a + 300] += 1100.0
    drive["g1"], drive["g2"] = (0.6 * gains, 0.4 * gains) if two_zones else (gains, 0.0)
    night = (hour >= habits.setback_from) | (hour < habits.setback_to)
    drop = np.where(night, habits.setback_k, 0.0)
    drop = np.maximum(drop, np.where(np.repeat(away, 1440), habits.away_setback_k, 0.0))
    # the household turns the heating up again in the morning before it comes home
    for a, b in habits.absences:
        i = (b + run_in) * 1440
        drop[max(i - 1200, (a + run_in) * 1440) : i] = 0.0
    drive["set1"], drive["set2"] = habits.target_c - drop, habits.second_target_c - drop
    fill_draws(drive, habits, rng, away, run_in, dst)


def fill_draws(
    drive: np.ndarray,
    habits: Habits,
    rng: np.random.Generator,
    away: np.ndarray,
    run_in: int,
    dst: np.ndarray,
) -> None:
    """Write the draws [l/min at 40 degC]: the profile's taps, moved and scaled day by day."""
    n = len(drive)
    for day in range(n // 1440):
        if away[day]:
            continue
        busy = float(np.exp(0.2 * rng.standard_normal()))
        if day - run_in in habits.parties:
            busy *= 1.5
        for at, litres, spread in DRAWS[habits.profile]:
            if rng.random() < 0.12:
                continue
            late = (0.8 if day % 7 >= 5 and at < 9 else 0.0) - dst[day * 1440 + 720]
            start = int(day * 1440 + (at + late + spread * rng.standard_normal()) * 60)
            volume = litres * habits.scale * busy * rng.uniform(0.7, 1.3)
            minutes = max(1, round(volume / 7.0))
            start = min(max(start, 0), n - minutes)
            drive["draw"][start : start + minutes] += volume / minutes
