"""Run the MQTT collector with the service's settings."""

from __future__ import annotations

import signal
import threading
from collections.abc import Callable
from pathlib import Path
from typing import Any

from fieldfare.api.core.service import Service, opened
from fieldfare.api.core.settings import Settings
from fieldfare.collector.mqtt.settings import MqttSettings


def mqtt_settings(settings: Settings) -> MqttSettings:
    """Collector settings. Raises InputError for an address without a broker."""
    own = MqttSettings(
        url=settings.broker_url,
        folder=Path(settings.data),
        user=settings.broker_user,
        password=settings.broker_password,
        ca_file=settings.broker_ca,
        client_cert=settings.broker_cert,
        client_key=settings.broker_key,
        client_id=settings.broker_client,
        shared_group=settings.broker_group,
    )
    own.address  # noqa: B018  # validate before anything starts
    return own


def run_collector(service: Service, stop: threading.Event) -> Any:
    """Collect until stopped. Return the totals."""
    from fieldfare.collector.mqtt.collect import collect

    def sites() -> list[Any]:
        return [record.site for record in service.sites.all()]

    return collect(mqtt_settings(service.settings), sites, service.store, stop)


def collect_until_stopped(settings: Settings, announce: Callable[[str], None]) -> None:
    """Collect until SIGINT or SIGTERM, then commit held messages."""
    own = mqtt_settings(settings)
    stop = threading.Event()
    for number in (signal.SIGINT, signal.SIGTERM):
        signal.signal(number, lambda *_: stop.set())
    with opened(settings) as service:
        announce(f"collecting from {own.url}; Ctrl-C stops")
        totals = run_collector(service, stop)
    announce(f"stopped: {totals.stored} readings stored, {totals.set_aside} messages set aside")
