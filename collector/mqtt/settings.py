"""MQTT settings: broker address, session and batch limits."""

from __future__ import annotations

from dataclasses import dataclass, field
from pathlib import Path
from typing import NamedTuple
from urllib.parse import urlsplit

from fieldfare.analysis.errors import InputError


class Address(NamedTuple):
    """Host, port and TLS of the broker."""

    host: str
    port: int
    tls: bool


@dataclass(frozen=True)
class MqttSettings:
    """The broker, this client's identity, and the limits of unacknowledged messages.

    url : mqtt://host[:port] or mqtts://host[:port]. folder : the data folder, for dead letters.
    client_id : name of the persistent session; two collectors must not share one.
    shared_group : collectors of one group share the messages; empty: this one receives all.
    batch_bytes, max_in_flight : commit the batch when its payloads or its messages reach this.
    batch_seconds : or when its first message has waited this long [s].
    idle_seconds : or when nothing has arrived for this long [s], so that a quiet broker does not wait.
    session_seconds : how long the broker keeps messages while the collector is away [s].
    set_aside_messages, set_aside_bytes : limits of dead letters; beyond them the oldest are dropped and
        counted.
    """

    url: str
    folder: Path
    user: str = ""
    password: str = field(default="", repr=False)
    ca_file: str = ""
    client_cert: str = ""
    client_key: str = ""
    client_id: str = "fieldfare"
    shared_group: str = ""
    protocol: int = 5
    keepalive_seconds: int = 30
    session_seconds: int = 30 * 86_400
    max_in_flight: int = 5_000
    batch_bytes: int = 8_000_000
    batch_seconds: float = 1.0
    idle_seconds: float = 0.05
    back_off_seconds: tuple[float, float] = (0.5, 60.0)
    sites_seconds: float = 2.0
    set_aside_messages: int = 200_000
    set_aside_bytes: int = 256_000_000

    @property
    def address(self) -> Address:
        """Host, port and TLS. Raises InputError for a URL without a broker."""
        parts = urlsplit(self.url)
        if parts.scheme not in ("mqtt", "mqtts") or not parts.hostname:
            raise InputError(
                f"broker {self.url!r}: use mqtt://host or mqtts://host, with :port if it is not 1883 or 8883"
            )
        try:
            port = parts.port
        except ValueError:
            raise InputError(f"broker {self.url!r}: the port must be a number from 1 to 65535") from None
        if parts.username or parts.password:
            raise InputError("broker: give user and password by their own settings, not in the URL")
        tls = parts.scheme == "mqtts"
        return Address(parts.hostname, port or (8883 if tls else 1883), tls)
