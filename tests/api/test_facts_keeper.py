"""Facts cache: computed once, recomputed only after changes, equal in parts and as a whole."""

from __future__ import annotations

from datetime import date, timedelta
from typing import Any

import numpy as np
import pandas as pd
import pytest
from sqlalchemy import select, update

from fieldfare.analysis.facts.build import MARGIN_DAYS, build_facts
from fieldfare.analysis.facts.table import Table
from fieldfare.analysis.plant.load import parse_site
from fieldfare.analysis.readings import Samples
from fieldfare.api.core.facts_cache import KINDS, FactsCache
from fieldfare.api.core.service import Service
from fieldfare.api.state.site_tables import FACT_CHUNKS
from tests.api.conftest import add_site
from tests.api.sites import START, readings, site_text

FIRST = date(2026, 1, 5)


def days(count: int) -> tuple[date, date]:
    return FIRST, FIRST + timedelta(days=count - 1)


def plant(service: Service):
    return service.sites.get("alder-row")


def same(a: Table, b: Table) -> None:
    pd.testing.assert_frame_equal(a.frame(), b.frame(), check_dtype=False, check_like=True)


def test_kept_facts_are_what_one_piece_gives(either_service: Service) -> None:
    add_site(either_service, "alder-row")
    found = readings(40)
    either_service.store.append("alder-row", found)
    kept = either_service.facts_cache.facts(plant(either_service).site, *days(40))
    direct = build_facts(plant(either_service).site, found, *days(40))
    for kind in KINDS:
        same(getattr(kept, kind), getattr(direct, kind))


def test_nothing_is_worked_out_twice(plant_here: Service) -> None:
    site = plant(plant_here).site
    assert plant_here.facts_cache.update(site, *days(4)).days == 4
    assert plant_here.facts_cache.update(site, *days(4)).days == 0
    assert plant_here.facts_cache.update(site, FIRST, FIRST).days == 0


def test_late_readings_make_their_days_and_the_margin_stale(plant_here: Service) -> None:
    site = plant(plant_here).site
    plant_here.facts_cache.update(site, *days(4))
    late = readings(4)["room"]
    changed = Samples(late.time[1440 + 600 : 1440 + 660], np.full(60, 23.0))
    plant_here.store.append("alder-row", {"room": changed})
    worked = []
    done = plant_here.facts_cache.update(site, *days(4), lambda a, b: worked.append((a, b)))
    assert done.days == 1 + 2 * MARGIN_DAYS
    facts = plant_here.facts_cache.stored("alder-row", *days(4))
    assert facts.days["room"][1] == pytest.approx(20.5 + 2.5 * 60 / 1440)
    assert worked == [(FIRST, FIRST + timedelta(days=2))]


def test_the_next_day_costs_the_next_day(plant_here: Service) -> None:
    site = plant(plant_here).site
    plant_here.facts_cache.update(site, *days(4))
    more = readings(1, START + timedelta(days=4))
    plant_here.store.append("alder-row", more)
    assert plant_here.facts_cache.update(site, *days(5)).days == 1 + MARGIN_DAYS


@pytest.mark.parametrize(
    ("old", "new", "is_stale"),
    [
        ('name = "Alder Row"', 'name = "Another"', False),
        ('[[point]]\nid = "room"', '[limits]\n[[point]]\nid = "room"', False),
        ("electricity = 0.27", "electricity = 0.31", True),
        ('id = "elec"', 'id = "elec"\nincludes = ["circulation_pump"]', True),
    ],
)
def test_a_changed_site_file_counts_where_facts_depend_on_it(
    plant_here: Service, old: str, new: str, is_stale: bool
) -> None:
    from fieldfare.analysis.plant.load import parse_site

    plant_here.facts_cache.update(plant(plant_here).site, *days(4))
    text = site_text().replace(old, new)
    assert text != site_text()
    plant_here.sites.add([(text, parse_site(text))])
    assert plant_here.facts_cache.update(plant(plant_here).site, *days(4)).days == (4 if is_stale else 0)


def test_a_new_method_makes_all_stale(plant_here: Service, monkeypatch: pytest.MonkeyPatch) -> None:
    plant_here.facts_cache.update(plant(plant_here).site, *days(4))
    monkeypatch.setattr("fieldfare.api.core.facts_cache.METHOD_VERSION", "another")
    assert plant_here.facts_cache.update(plant(plant_here).site, *days(4)).days == 4


@pytest.mark.parametrize(("threads", "pieces"), [(1, [2, 2]), (2, [4])])
def test_long_spans_are_worked_out_in_pieces(
    plant_here: Service, monkeypatch: pytest.MonkeyPatch, threads: int, pieces: list[int]
) -> None:
    """Whoever is alone works on two at once; what comes out is the same."""
    for module in ("fieldfare.api.core.facts_cache", "fieldfare.analysis.facts.build"):
        monkeypatch.setattr(f"{module}.SPAN_DAYS", 2)
    monkeypatch.setattr("fieldfare.api.core.facts_cache.CHUNK_READINGS", 1)
    worked = []
    keeper = FactsCache(plant_here.database, plant_here.store, plant_here.sites, threads)
    keeper.update(plant(plant_here).site, *days(4), lambda a, b: worked.append((b - a).days + 1))
    assert worked == pieces
    monkeypatch.undo()
    direct = build_facts(plant(plant_here).site, readings(4), *days(4))
    kept = plant_here.facts_cache.stored("alder-row", *days(4))
    for kind in KINDS:
        same(getattr(kept, kind), getattr(direct, kind))


def test_another_site_lends_its_outdoor_sensor(service: Service) -> None:
    lent = site_text("elm", outdoor_from='"alder-row"').replace(
        '[[point]]\nid = "outdoor"\nquantity = "outdoor_temperature"\n', ""
    )
    service.sites.add([(lent, parse_site(lent))])
    add_site(service, "alder-row")
    own = readings()
    outdoor = own.pop("outdoor")
    service.store.append("elm", own)
    site = service.sites.get("elm").site
    service.store.append("alder-row", {"outdoor": outdoor})
    facts = service.facts_cache.facts(site, *days(4))
    assert facts.days["outdoor"][0] == pytest.approx(5.0, abs=0.1)
    assert service.facts_cache.update(site, *days(4)).days == 0
    warmer = Samples(outdoor.time[-10:], outdoor.value[-10:] + 9.0)
    service.store.append("alder-row", {"outdoor": warmer})
    assert service.facts_cache.update(site, *days(4)).days == 1 + MARGIN_DAYS


def test_an_own_sensor_is_never_replaced(service: Service) -> None:
    add_site(service, "alder-row")
    add_site(service, "elm", outdoor_from='"alder-row"')
    site = service.sites.get("elm").site
    assert service.facts_cache.with_borrowed_weather(site) == site


def test_a_year_of_kept_facts_is_read_in_a_blink(service: Service) -> None:
    import time

    add_site(service, "alder-row")
    service.store.append(
        "alder-row", {k: Samples(s.time[::15], s.value[::15]) for k, s in readings(365).items()}
    )
    service.facts_cache.update(plant(service).site, *days(365))
    best = 9.0
    for _ in range(5):
        began = time.perf_counter()
        facts = service.facts_cache.stored("alder-row", *days(365))
        best = min(best, time.perf_counter() - began)
    assert len(facts.days) == 365
    assert best < 0.25


def test_facts_of_one_site_are_not_another_s(plant_here: Service) -> None:
    add_site(plant_here, "elm")
    plant_here.facts_cache.update(plant(plant_here).site, *days(4))
    assert plant_here.facts_cache.stored("elm", *days(4)).days.names == ["day"]


@pytest.mark.parametrize("every", [1, 30])
def test_a_register_loses_nothing_over_a_silence_met_night_by_night(service: Service, every: int) -> None:
    """An outage of nine days, and a meter read by hand each month: made day by day or at once, the energy is
    the same."""
    text = site_text().replace(
        'quantity = "heat_pump_electricity"\nas = "power"',
        'quantity = "heat_pump_electricity"\nas = "register"\nunit = "kWh"',
    )
    service.sites.add([(text, parse_site(text))])
    site = plant(service).site
    begin, day = int(START.timestamp()) * 1000, 86_400_000
    times = begin + np.arange(0, 70 * day, every * day if every > 1 else 3_600_000)
    times = times[(times < begin + 20 * day) | (times > begin + 29 * day) | (every > 1)]
    total = Samples(times, (times - begin) / 3_600_000 * 0.5)
    point = "elec"
    for n in range(70):
        now = begin + n * day
        today = (times >= now) & (times < now + day)
        if today.any():
            service.store.append("alder-row", {point: Samples(times[today], total.value[today])})
        service.facts_cache.update(site, FIRST, FIRST + timedelta(days=n))
    nightly = service.facts_cache.facts(site, *days(70))
    whole = build_facts(site, {point: total}, *days(70))
    assert nightly.days["day"].tolist() == whole.days["day"].tolist()
    assert nightly.days["electricity_total_kwh"] == pytest.approx(
        whole.days["electricity_total_kwh"], nan_ok=True
    )
    assert whole.days.total("electricity_total_kwh") == pytest.approx(total.value[-1], rel=0.02)


@pytest.mark.parametrize(
    "harm", [lambda p: b"ARROW1\x00\x00" + p, lambda p: p[:-9] + bytes(9), lambda p: b"", lambda p: p[:20]]
)
@pytest.mark.parametrize("looks", ["facts", "recent"])
def test_kept_tables_that_can_not_be_read_are_made_anew(plant_here: Service, harm: Any, looks: str) -> None:
    """Of the first release's form, flipped, emptied, cut off: facts come from the readings again."""
    site = plant_here.sites.get("alder-row").site
    first, last = date(2026, 1, 5), date(2026, 1, 8)
    before = plant_here.facts_cache.facts(site, first, last)
    with plant_here.database.writing() as db:
        for row in db.execute(select(FACT_CHUNKS)).all():
            changed = update(FACT_CHUNKS).where(
                FACT_CHUNKS.c.kind == row.kind, FACT_CHUNKS.c.month == row.month
            )
            db.execute(changed.values(payload=harm(row.payload)))
    after = getattr(plant_here.facts_cache, looks)(site, first, last)
    assert before.days.names == after.days.names
    for name in before.days.names:
        np.testing.assert_array_equal(before.days[name], after.days[name])
