"""How the collector reaches its broker, and how much it holds at once."""

from __future__ import annotations

from dataclasses import dataclass, field
from pathlib import Path
from typing import NamedTuple
from urllib.parse import urlsplit

from fieldfare.analysis.errors import InputError


class Address(NamedTuple):
    """Where the broker listens."""

    host: str
    port: int
    tls: bool


@dataclass(frozen=True)
class MqttSettings:
    """The broker, who we are there, and the bounds of what is held unacknowledged.

    url : mqtt://host[:port] or mqtts://host[:port]. folder : where set-aside messages are kept (the data
        folder).
    client_id : the persistent session's name; two collectors must not share one.
    shared_group : collectors of one group share the messages between them; empty: this one takes all.
    batch_bytes, max_in_flight : a batch is committed when its payloads or its messages reach this.
    batch_seconds : or when its first message has waited this long [s].
    idle_seconds : or when nothing has come for this long [s], so that a quiet broker is not kept waiting.
    session_seconds : how long the broker keeps our messages while we are away [s].
    set_aside_messages, set_aside_bytes : what is kept of unreadable messages; beyond it the oldest go, and
        are counted.
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
    seen_seconds: float = 10.0
    set_aside_messages: int = 200_000
    set_aside_bytes: int = 256_000_000

    @property
    def address(self) -> Address:
        """Host, port and whether TLS is spoken. Raises InputError for a URL that names no broker."""
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
