"""Texts of a cold-snap outlook, home by home."""

from __future__ import annotations

from datetime import datetime
from typing import Any

from fieldfare.dashboards.text import words

STATES = {
    "short": "Will not hold",
    "may_be_short": "May not hold",
    "not_known": "Not known",
    "holds": "Holds",
}
NOT_COUNTED = "Its back-up heat may help in this cold; how much is not known and not counted."
_DO = {
    "output": (
        "Today: end set-backs, heat rooms to target before the cold comes, make hot water in the warmest"
        " hours, and check that back-up heat is allowed."
    ),
    "emitters": (
        "Today: open all valves, end set-backs, and raise the heating curve by up to 2 K for these days; take"
        " it back after."
    ),
}


def cold_snap_rows(document: dict[str, Any]) -> list[dict[str, Any]]:
    """Rows of name, site, state, says and do."""
    return [_row(home) for home in document["homes"]]


def forecast_sentence(document: dict[str, Any]) -> str:
    """Source of the forecast, time of its fetch, and its end."""
    fetched, until = (_time(document[name]) for name in ("fetched", "until"))
    return f"Forecast of {document['source']}, fetched {fetched}, until {until}."


def _row(home: dict[str, Any]) -> dict[str, Any]:
    says = words.reason(home.get("reason", ""))
    short = home.get("short_kw")
    if short:
        needs, gives = (words.measure(home[name], "kW", 1) for name in ("load_kw", "gives_kw"))
        says = f"needs {needs} on the worst day, can give {gives}"
    fall = home.get("fall_k")
    if short and fall and home["state"] != "holds":
        low, high = (max(short[end], 0.0) for end in ("low", "high"))
        says += f"; short by {_range(max(short['value'], 0.0), low, high, 'kW')}"
        low, high = (max(fall[end], 0.0) for end in ("low", "high"))
        says += f"; rooms up to {_range(home['room_fall_k'], low, high, 'K')} under target"
        if home["since"]:
            zone = home.get("timezone", "UTC")
            since, until = (words.moment(datetime.fromisoformat(home[k]), zone) for k in ("since", "until"))
            says += f", {home['hours_short']} h between {since} and {until}"
    do = _DO.get(home.get("binds") or "", "")
    if home.get("backup") and home.get("binds") == "output":
        do = f"{do} {NOT_COUNTED}".strip()
    if home.get("findings"):
        named = ", ".join(words.finding_title(code) for code in home["findings"])
        do = f"Fix before it gets cold: {named}. {do}".strip()
    state = STATES[home["state"]]
    return {"site": home["site"], "name": home["name"], "state": state, "says": says, "do": do}


def _range(value: float, low: float, high: float, unit: str) -> str:
    return words.interval({"value": value, "low": low, "high": high}, unit, 1)


def _time(text: str) -> str:
    return f"{words.moment(datetime.fromisoformat(text), 'UTC')} UTC"
