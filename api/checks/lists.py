"""The firm's own check items: a TOML file in the data folder, added to the built-in ones."""

from __future__ import annotations

import os
from pathlib import Path

from fieldfare.analysis.errors import InputError, SiteError
from fieldfare.analysis.reports.checklists import Item, parse_items
from fieldfare.api.core.settings import Settings
from fieldfare.dashboards.checks.lists import built_in

FILE = "checks.toml"
EXAMPLE = """\
[[item]]
id = "snow_cover"
lists = ["winter"]
title = "Roof above the outdoor unit sheds no snow onto it"
where = "air"
caution = "Work at height: only with safe access."

[[item]]
id = "meter_reading"
lists = ["winter", "service"]
title = "Electricity meter read"
[[item.found]]
id = "total"
name = "Meter"
unit = "kWh"
low = 0
"""


def lists_file(settings: Settings) -> Path:
    return settings.data / FILE


def own_text(settings: Settings) -> str:
    """The firm's own list; empty without a file. Raises InputError if it can't be read."""
    path = lists_file(settings)
    try:
        return path.read_text(encoding="utf-8") if path.exists() else ""
    except (OSError, UnicodeDecodeError) as error:
        raise InputError(f"{path}: can't be read: {error}") from None


def parse_own(text: str) -> tuple[Item, ...]:
    """Raises SiteError with every problem."""
    return parse_items(text, FILE, (item.id for item in built_in()))


def own_items(settings: Settings) -> tuple[Item, ...]:
    """The firm's own items; empty while its file is invalid, which `fieldfare check` and the page report."""
    try:
        return parse_own(own_text(settings))
    except InputError:
        return ()


def lists_trouble(settings: Settings) -> list[str]:
    """Problems of the firm's file, one line each."""
    try:
        parse_own(own_text(settings))
    except SiteError as error:
        return [f"{FILE}: {problem}" for problem in error.problems]
    except InputError as error:
        return [str(error)]
    return []


def keep_own(settings: Settings, text: str) -> tuple[Item, ...]:
    """Check the firm's items and keep them. Raises SiteError, with the kept file unchanged."""
    items = parse_own(text)
    path = lists_file(settings)
    path.parent.mkdir(mode=0o700, parents=True, exist_ok=True)
    beside = path.with_name(f".{FILE}.{os.getpid()}.part")
    beside.write_text(text, encoding="utf-8")
    beside.replace(path)
    return items
