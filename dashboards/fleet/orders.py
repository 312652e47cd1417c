"""Sort orders of the fleet list. It imports nothing: the state database's indexes follow it."""

from __future__ import annotations

_HARM = ("tier", "lost", "sure", "name", "site")
ORDERS: dict[str, tuple[str, ...]] = {
    "harm": _HARM,
    "cost": ("cost", *_HARM),
    "age": ("since", *_HARM),
    "efficiency": ("efficiency", *_HARM),
    "heard": ("heard", *_HARM),
    "name": ("name", "tier", "lost", "sure", "site"),
    "area": ("no_area", "area", *_HARM),
}
"""Sort -> keys of `list_keys`, all upwards. Lists in memory and in the database follow it."""
