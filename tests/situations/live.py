"""A unit that stops while its readings come in live: broker, collector, watch, alert. The clock of the watch
is driven.

The days before are put into the store; the last minutes are published to a broker one by one, and after each
the watch is
due as the scheduler would have it.
"""

from __future__ import annotations

import json
import time
from collections.abc import Callable
from contextlib import closing
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta

import numpy as np
from paho.mqtt import client as paho

from fieldfare.analysis.plant.load import parse_site
from fieldfare.analysis.readings import Readings, Samples
from fieldfare.api.alerts.alerts import AlertRow, Alerts
from fieldfare.api.alerts.notices import Notices
from fieldfare.api.core.service import Service
from fieldfare.api.jobs.leases import JobLeases
from fieldfare.api.jobs.runner import Runner
from fieldfare.api.jobs.work import work
from fieldfare.collector.mqtt.settings import MqttSettings
from tests.services import Server, collecting, wait_until
from tests.situations.house import USUAL, House

MODES = ("off", "heating", "hot_water")
LOOKS_EVERY_MIN = 5
"""The scheduler asks so often whether a watch is due."""
FAST = {"back_off_seconds": (0.05, 0.3), "sites_seconds": 0.1, "batch_seconds": 0.3}


@dataclass(frozen=True)
class Told:
    """minutes : from the last heat to the alert, None where none came. alert : as it stood then. looks :
    watches done
    """

    minutes: float | None
    alert: AlertRow | None
    looks: int


def time_to_alert(
    service: Service,
    server: Server,
    stop: Callable[[House, np.ndarray], None],
    *,
    mean_c: float = 3.0,
    points: tuple[str, ...] = USUAL,
    watched_minutes: int = 100,
    every: int = 1,
) -> Told:
    """Let a house live up to now, stop its unit in the run about `watched_minutes` ago, and watch it minute
    by minute.

    stop : changes the house in the given minutes, bool (n,). every : minutes between readings
    """
    now = int(time.time()) // 60 * 60_000
    today = datetime.fromtimestamp(now / 1000, UTC).date()
    house = House(first=today - timedelta(6), days=7, mean_c=mean_c, points=points, every=every)
    begin = within_a_run(house, now - watched_minutes * 60_000)
    stop(house, house.time >= begin)
    readings = {p: s.between(0, now) for p, s in house.made().readings.items()}
    site = parse_site(house.site_text)
    service.sites.add([(house.site_text, site)])
    service.store.append(site.id, {p: s.between(0, begin) for p, s in readings.items()})
    alerts = Alerts(service.database)
    runner = Runner(
        service, alerts, Notices(service.database, service.settings), JobLeases(service.database), work
    )
    heat = readings["elec"]
    last_heat = int(heat.time[heat.value > 200.0][-1])
    settings = MqttSettings(
        f"mqtt://127.0.0.1:{server.port}", service.settings.data, client_id=f"live-{now}", **FAST
    )
    looks = 0
    with (
        collecting(settings, lambda: [site], service.store) as collector,
        closing(_Publisher(server.port)) as out,
    ):
        wait_until(lambda: bool(collector._link.filters))
        for moment in range(begin, now, 60_000):
            out.send(site.id, {p: s.between(moment, moment + 60_000) for p, s in readings.items()})
            if (moment - begin) // 60_000 % LOOKS_EVERY_MIN:
                continue
            newest = max(int(s.between(0, moment + 60_000).time[-1]) for s in readings.values())
            wait_until(lambda newest=newest: _span(service, site.id) >= newest, 30)
            looks += sum(runner.watch(datetime.fromtimestamp(moment / 1000 + 60, UTC)).values())
            for alert in alerts.page(0, 10, live=True)[0]:
                if alert.code == "unit_stopped":
                    return Told((moment + 60_000 - last_heat) / 60_000.0, alert, looks)
    return Told(None, None, looks)


def within_a_run(house: House, about: int) -> int:
    """The newest moment [ms] up to `about` at which the unit had run for ten minutes and would have run
    on.
    """
    heat = house.made().readings["elec"]
    on = heat.value > 200.0
    steady = np.convolve(on, np.ones(21), "same") > 20.5
    return int(heat.time[steady & (heat.time <= about)][-1])


def _span(service: Service, site: str) -> int:
    found = service.store.span(site)
    return found[1] if found else 0


class _Publisher:
    """Readings of a minute as one SenML pack, acknowledged by the broker."""

    def __init__(self, port: int) -> None:
        self._client = paho.Client(paho.CallbackAPIVersion.VERSION2, protocol=paho.MQTTv5)
        self._client.connect("127.0.0.1", port)
        self._client.loop_start()

    def send(self, site: str, readings: Readings) -> None:
        pack = [record for point, samples in readings.items() for record in _records(point, samples)]
        if pack:
            self._client.publish(f"fieldfare/{site}/readings", json.dumps(pack), 1).wait_for_publish(20)

    def close(self) -> None:
        self._client.disconnect()
        self._client.loop_stop()


def _records(point: str, samples: Samples) -> list[dict[str, object]]:
    out: list[dict[str, object]] = []
    for t, v in zip(samples.time.tolist(), samples.value.tolist(), strict=True):
        value: dict[str, object] = {"v": v}
        if point == "mode":
            value = {"vs": MODES[int(v)]}
        elif point in ("fault", "call"):
            value = {"vs": str(v) if point == "fault" else str(int(v))}
        out.append({"n": point, "t": t / 1000.0, **value})
    return out


def lose_supply(house: House, since: np.ndarray) -> None:
    """The breaker trips."""
    house.supply[since] = False


def lock_out(house: House, since: np.ndarray) -> None:
    """The compressor locks out; supply, pump and controls go on."""
    house.free[since] = False


def report_fault(house: House, since: np.ndarray) -> None:
    """The same, with a fault code."""
    house.free[since] = False
    house.fault[since] = "E7"


def go_on(house: House, since: np.ndarray) -> None:
    """Nothing happens."""
