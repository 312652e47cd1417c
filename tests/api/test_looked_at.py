"""New readings do not invalidate the pages' caches at once: results are not recomputed for each write."""

from __future__ import annotations

from datetime import date
from typing import Any

import numpy as np
import pytest

from fieldfare.analysis.plant.load import parse_site
from fieldfare.analysis.plant.site import Site
from fieldfare.analysis.readings import Samples
from fieldfare.api.core.fleet_table import Chosen
from fieldfare.api.core.results import RECENT_KEPT, Results
from fieldfare.api.core.service import Service
from fieldfare.api.http.html.page_rows import told_month
from fieldfare.dashboards.text.units import reading_in
from tests.api.web import OWN, Web, make_web

PAGES = ("/", f"/sites/{OWN}", f"/sites/{OWN}/home", f"/sites/{OWN}/winter")


@pytest.fixture
def counted(service: Service, monkeypatch: pytest.MonkeyPatch) -> tuple[Web, list[tuple[date, date]]]:
    """A web, and the periods that were worked out since."""
    web, periods = make_web(service), []
    real = Results._compute_result

    def count(self: Results, site: object, first: date, last: date) -> object:
        periods.append((first, last))
        return real(self, site, first, last)  # type: ignore[arg-type]

    monkeypatch.setattr(Results, "_compute_result", count)
    return web, periods


def write(web: Web, minutes: int) -> None:
    """One more reading in the day that is not over."""
    store = web.parts.service.store
    span = store.span(OWN)
    assert span is not None
    time = np.array([span[1] + 60_000 * minutes])
    store.append(OWN, {"flow": Samples(time, np.array([35.0]))})


@pytest.mark.parametrize("page", PAGES)
def test_pages_are_not_worked_out_again_for_each_reading(
    counted: tuple[Web, list[tuple[date, date]]], page: str
) -> None:
    web, periods = counted
    write(web, 2)  # begins the day that is not over: a reading at midnight closes the day before
    assert web["installer"].get(page).status_code == 200
    periods.clear()
    for _ in range(5):
        write(web, 1)
        assert web["installer"].get(page).status_code == 200
    assert periods == []


def test_a_change_of_days_that_are_over_counts_at_once(
    counted: tuple[Web, list[tuple[date, date]]],
) -> None:
    web, periods = counted
    web["installer"].get(f"/sites/{OWN}/home")
    periods.clear()
    store = web.parts.service.store
    span = store.span(OWN)
    assert span is not None
    store.append(OWN, {"flow": Samples(np.array([span[0] + 30_000]), np.array([35.0]))})
    web["installer"].get(f"/sites/{OWN}/home")
    assert periods


def test_a_paper_that_is_kept_is_of_all_readings(counted: tuple[Web, list[tuple[date, date]]]) -> None:
    from fieldfare.api.records.papers import month_paper

    web, periods = counted
    plant = web.parts.service.sites.get(OWN)
    month_paper(web.parts.service, plant, "2026-01", looked_at=True)
    periods.clear()
    write(web, 1)
    month_paper(web.parts.service, plant, "2026-01")
    assert periods


def test_the_oldest_document_makes_room_not_all(
    counted: tuple[Web, list[tuple[date, date]]], monkeypatch: pytest.MonkeyPatch
) -> None:
    from fieldfare.api.core import results

    assert RECENT_KEPT > 100
    monkeypatch.setattr(results, "RECENT_KEPT", 2)
    web, _ = counted
    service, plant = web.parts.service, web.parts.service.sites.get(OWN)
    days = [date(2026, 1, n) for n in (5, 6, 7)]
    for day in days:
        service.results.recent(plant, day, day)
    assert [key[1] for key in service.results._recent] == days[1:]


def test_figures_are_drawn_once_for_all_who_read_the_same(
    service: Service, monkeypatch: pytest.MonkeyPatch
) -> None:
    from fieldfare.api.http.html import page_rows

    drawn: list[str] = []
    real = page_rows.drawn_of

    def counted(site: Site, *given: Any) -> dict[str, Any]:
        drawn.append(site.id)
        return real(site, *given)

    monkeypatch.setattr(page_rows, "drawn_of", counted)
    web, page = make_web(service), f"/sites/{OWN}"
    write(web, 2)  # begins the day that is not over: a reading at midnight closes the day before
    first = web["installer"].get(page).text
    write(web, 1)
    assert "<svg" in web["engineer"].get(page).text
    assert drawn == [OWN]
    assert "?from=2026-01-05" in web["installer"].get(f"{page}?from=2026-01-05&to=2026-01-06").text
    with reading_in({"energy": "MJ"}):
        found = page_rows.period_result(web.parts, service.sites.get(OWN), {})
        page_rows.drawn(web.parts, service.sites.get(OWN), {}, found)  # other units
    assert drawn == [OWN] * 3
    again = web["installer"].get(page).text
    assert drawn == [OWN] * 3
    assert len(again) == pytest.approx(len(first), rel=0.02)


def test_days_of_like_weather_are_compared_once(service: Service, monkeypatch: pytest.MonkeyPatch) -> None:
    from fieldfare.analysis.figures import like_weather as module
    from fieldfare.api.records.papers import month_paper

    compared: list[str] = []
    real = module.like_weather

    def counted(site: Site, *tables: Any) -> Any:
        compared.append(site.id)
        return real(site, *tables)

    monkeypatch.setattr(module, "like_weather", counted)
    web = make_web(service)
    store, plant = service.store, service.sites.get(OWN)
    span = store.span(OWN)
    assert span is not None
    day = np.arange(span[0] - 40 * 86_400_000, span[0], 600_000)
    store.append(OWN, {"flow": Samples(day, np.full(len(day), 35.0))})
    for _ in range(2):
        month_paper(service, plant, "2026-01", looked_at=True)
    assert compared == [OWN]
    month_paper(service, plant, "2026-01")  # a paper that is kept is worked out for itself
    assert compared == [OWN] * 2
    assert web["installer"].get(f"/sites/{OWN}/home").status_code == 200


def test_a_changed_home_that_is_looked_at_keeps_its_verdict_in_the_list(service: Service) -> None:
    web = make_web(service)
    plant = service.sites.get(OWN)
    service.results.rolling_result(plant, service.settings.rolling_days)
    text = plant.file.replace('name = "', 'name = "New ', 1)
    service.sites.add([(text, parse_site(text))])
    assert web["installer"].get(f"/sites/{OWN}").status_code == 200
    service.fleet.refresh()
    row = next(row for row in service.fleet.rows(Chosen()) if row["id"] == OWN)
    assert row["result"] is not None
    assert service.results.newest(OWN) is not None


@pytest.mark.parametrize(
    ("first", "last", "month"),
    [
        ("2025-10-01", "2025-12-01", "2025-11"),
        ("2025-10-01", "2025-12-06", "2025-11"),
        ("2025-10-01", "2025-12-07", "2025-12"),
        ("2025-11-28", "2025-12-03", "2025-12"),
        ("2025-12-30", "2026-01-02", "2026-01"),
    ],
)
def test_a_home_s_page_waits_a_week_before_it_shows_a_new_month(first: str, last: str, month: str) -> None:
    """One day of a month says nothing about warmth, hot water or cost."""
    assert told_month(date.fromisoformat(first), date.fromisoformat(last)) == month
