"""Nightly work on a cluster: killing a worker loses no site."""

from __future__ import annotations

import os
import signal
from collections.abc import Iterator
from dataclasses import replace
from datetime import UTC, date, datetime
from pathlib import Path

import pytest

from fieldfare.api.alerts.alerts import Alerts
from fieldfare.api.alerts.notices import Notices
from fieldfare.api.core.facts_cache import KINDS
from fieldfare.api.core.service import Service, opened
from fieldfare.api.core.settings import Settings
from fieldfare.api.jobs.leases import JobLeases
from fieldfare.api.jobs.runner import Runner
from fieldfare.api.jobs.work import JobOutcome, work
from tests.api.conftest import add_site
from tests.api.sites import readings

NOW = datetime.now(UTC)
SITES = [f"home-{n}" for n in range(6)]
STRUCK = "home-2"
FIRST, LAST = date(2026, 1, 5), date(2026, 1, 8)


@pytest.fixture(scope="module")
def cluster() -> Iterator[str]:
    """The address of a scheduler with two workers on this machine."""
    distributed = pytest.importorskip("distributed")
    with distributed.LocalCluster(
        n_workers=2, threads_per_worker=1, host="127.0.0.1", dashboard_address=None, silence_logs=50
    ) as made:
        yield made.scheduler_address


def struck_once(settings: Settings, kind: str, site: str, key: str) -> JobOutcome:
    """The real work; but the first worker that comes to one site is killed when its facts are kept and its
    result is not."""
    mark = settings.data / "struck"
    if site == STRUCK and kind == "night" and not mark.exists():
        with opened(settings) as service:
            service.facts_cache.update(service.sites.get(site).site, FIRST, LAST)
        mark.touch()
        os.kill(os.getpid(), signal.SIGKILL)
    return work(settings, kind, site, key)


def fleet(settings: Settings) -> None:
    with opened(settings) as service:
        for n, site in enumerate(SITES):
            add_site(service, site)
            service.store.append(site, readings(4, power=1500.0 + 10.0 * n))


def runner(service: Service, do: object) -> Runner:
    database = service.database
    notices = Notices(database, service.settings)
    return Runner(service, Alerts(database), notices, JobLeases(database), do)  # type: ignore[arg-type]


def what_is_known(service: Service) -> dict[str, object]:
    """Of each site: the newest result, and its facts as text."""
    facts = {s: service.facts_cache.stored(s, FIRST, LAST) for s in SITES}
    return {
        s: (service.results.newest(s), [getattr(facts[s], k).frame().to_csv() for k in KINDS]) for s in SITES
    }


def test_a_worker_killed_in_the_middle_of_a_site_loses_nothing(
    settings: Settings, cluster: str, tmp_path: Path
) -> None:
    undisturbed = replace(settings, data=tmp_path / "undisturbed")
    on_cluster = replace(settings, cluster=cluster, workers=3)
    for each in (undisturbed, on_cluster):
        fleet(each)
    with opened(undisturbed) as service:
        for site in SITES:
            work(undisturbed, "night", site, "")
        expected = what_is_known(service)
    with opened(on_cluster) as service:
        made = runner(service, struck_once)
        made.tick(NOW)
        nights = {r.site: r for r in made.leases.page(0, 100, kind="night")[0]}
        assert (on_cluster.data / "struck").exists(), "no worker was killed"
        assert {r.state for r in nights.values()} == {"done"}, {s: r.told for s, r in nights.items()}
        assert sorted(nights) == SITES
        assert all(r.attempts == 1 for r in nights.values())
        assert what_is_known(service) == expected
        again = made.tick(NOW)
        assert again == {}, "what was done is not done again"
