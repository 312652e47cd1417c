"""The newest readings, and a stream of new ones."""

from __future__ import annotations

import asyncio
import time
from collections.abc import AsyncIterator, Awaitable, Callable
from typing import Any

import orjson

from fieldfare.analysis.plant.site import Site
from fieldfare.analysis.readings import MS_PER_DAY
from fieldfare.api.core.live_states import newest_of
from fieldfare.api.http.app_state import AppState
from fieldfare.collector.store.protocol import Store
from fieldfare.dashboards.text.live import live_summary

LOOK_EVERY_S = 2.0
HEARTBEAT_S = 15.0
LOOKS_BACK_MS = MS_PER_DAY


def newest_readings(store: Store, site: Site) -> dict[str, Any]:
    """Point -> {time [ms], value, unit} of its newest reading within the site's last day with readings."""
    span = store.span(site.id)
    if span is None:
        return {}
    return newest_of(site, store.read(site.id, None, span[1] - LOOKS_BACK_MS, None))


async def live_events(
    parts: AppState,
    site: Site,
    seconds: int,
    has_left: Callable[[], Awaitable[bool]],
    may_still_see: Callable[[], bool],
) -> AsyncIterator[bytes]:
    """Server-sent events: first all points, then changed ones, each preceded by the sentence on the operating
    state. Regular comments keep proxies from closing the connection.

    may_still_see : called before each event, so that the stream ends with its session, link or token
    """
    until, said, before = time.monotonic() + seconds, time.monotonic(), dict[str, Any]()
    yield b"retry: 3000\n\n"
    while time.monotonic() < until and not parts.stopping.is_set() and not await has_left():
        if not await asyncio.to_thread(may_still_see):
            return
        now = await asyncio.to_thread(newest_readings, parts.service.store, site)
        changed = {point: reading for point, reading in now.items() if before.get(point) != reading}
        if changed:
            before, said = now, time.monotonic()
            data = orjson.dumps(live_summary(site, now))
            yield b"event: told\ndata: " + data + b"\n\n"
            yield b"event: readings\ndata: " + orjson.dumps(changed) + b"\n\n"
        elif time.monotonic() - said > HEARTBEAT_S:
            said = time.monotonic()
            yield b": still here\n\n"
        await asyncio.sleep(min(LOOK_EVERY_S, max(0.05, until - time.monotonic())))
