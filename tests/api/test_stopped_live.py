"""A stopped unit is alerted within an hour: readings through a real broker, watch and alert."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from concurrent.futures import ThreadPoolExecutor

import pytest

from fieldfare.api.core import service as services
from fieldfare.api.core.service import Service, worker_service
from tests.services import Server, broker
from tests.situations.house import USUAL
from tests.situations.live import go_on, lock_out, lose_supply, time_to_alert

RICH = (*USUAL, "call", "target_flow", "fault")


@pytest.fixture(scope="module")
def mosquitto() -> Iterator[Server]:
    with broker() as server:
        yield server


@pytest.fixture(autouse=True)
def watched_here(service: Service, monkeypatch: pytest.MonkeyPatch) -> Iterator[None]:
    """Each look is a watch in a thread: the tests of jobs start the worker processes, a second each."""
    monkeypatch.setattr(
        "fieldfare.api.jobs.runner.make_executor", lambda _, workers: ThreadPoolExecutor(workers)
    )
    yield
    worker_service(service.settings).close()
    services._service_of_process.cache_clear()


@pytest.mark.parametrize(
    ("stop", "mean_c", "cause"),
    [(lose_supply, 3.0, "no_power"), (lock_out, 1.0, "locked_out")],
)
def test_a_stop_is_alerted_within_the_hour(
    service: Service, mosquitto: Server, stop: Callable[..., None], mean_c: float, cause: str
) -> None:
    told = time_to_alert(service, mosquitto, stop, mean_c=mean_c, points=RICH)
    assert told.alert is not None, f"no alert after {told.looks} looks"
    assert told.minutes is not None
    assert told.minutes <= 60.0
    assert told.alert.state == "open"
    assert told.alert.finding["causes"][0]["cause"] == cause


def test_a_unit_that_goes_on_alerts_nobody(service: Service, mosquitto: Server) -> None:
    told = time_to_alert(service, mosquitto, go_on, points=RICH, watched_minutes=46)
    assert told.alert is None
    assert told.looks >= 3
