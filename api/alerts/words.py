"""Texts of notices, as pure functions of alerts."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import datetime, time, timedelta
from zoneinfo import ZoneInfo

from fieldfare.api.alerts.alerts import AlertRow
from fieldfare.api.alerts.life import GRAVER
from fieldfare.dashboards.text.letters import month_letter

WHAT = {
    "opened": "new",
    "reopened": "back again",
    "worsened": "worse",
    "woke": "no longer snoozed",
    "resolved": "gone",
}


def urgent_message(alert: AlertRow, site_name: str, address: str) -> tuple[str, str]:
    """Subject and body of an urgent notice."""
    finding = alert.finding
    lines = [f"{site_name}: {alert.headline}", ""]
    lines += _evidence(finding)
    for key, label in (("next_step", "Next step"), ("caution", "Caution")):
        if finding.get(key):
            lines += [f"{label}: {finding[key]}", ""]
    lines.append(f"{address}/sites/{alert.site}")
    return f"{alert.severity.capitalize()}: {site_name}: {alert.headline}", "\n".join(lines)


def digest_message(
    happened: Sequence[tuple[AlertRow, str]], live: int, names: Mapping[str, str], address: str
) -> tuple[str, str] | None:
    """Subject and body of the morning digest; None without events.

    Only the last event of each alert counts.
    """
    newest = {alert.id: (alert, what) for alert, what in happened}
    if not newest:
        return None
    rows = sorted(
        newest.values(), key=lambda r: (r[1] == "resolved", -GRAVER.get(r[0].severity, 0), r[0].site)
    )
    lines = []
    for alert, what in rows:
        lines.append(
            f"{alert.severity.upper()}  {names.get(alert.site, alert.site)}: {alert.headline} ({WHAT[what]})"
        )
        if what != "resolved" and alert.finding.get("next_step"):
            lines.append(f"    {alert.finding['next_step']}")
        lines.append(f"    {address}/sites/{alert.site}")
    lines += ["", f"Open alerts in all: {live}. {address}/"]
    fresh = sum(what != "resolved" for _, what in rows)
    gone = len(rows) - fresh
    subject = f"{fresh} to look at" + (f", {gone} gone" if gone else "")
    return subject, "\n".join(lines)


def month_message(
    site_name: str, month: str, address: str, site: str, firm: Mapping[str, str]
) -> tuple[str, str]:
    """Subject and body of the message that announces a monthly report, signed by the firm; in the language of
    `speaking`."""
    where = f"{address}/sites/{site}/papers/month/{month}"
    signed = "".join(f"\n{line}" for line in (firm["name"], firm["contact"]) if line)
    subject, text = month_letter(site_name, month, where)
    return subject, f"{text}\n{signed}"


def not_before(now: datetime, zone: ZoneInfo, quiet_from: int, quiet_to: int) -> datetime:
    """Earliest time for a notice that is not urgent: now, or the end of the quiet hours."""
    local = now.astimezone(zone)
    quiet = (
        quiet_from <= local.hour < quiet_to
        if quiet_from <= quiet_to
        else local.hour >= quiet_from or local.hour < quiet_to
    )
    if not quiet:
        return now
    day = local.date() + timedelta(days=1 if local.hour >= quiet_to else 0)
    return datetime.combine(day, time(quiet_to), zone).astimezone(now.tzinfo)


def _evidence(finding: Mapping[str, object]) -> list[str]:
    rows = finding.get("evidence")
    if not isinstance(rows, list) or not rows:
        return []
    return [f"{row['label']}: {row['value']} {row['unit']}".rstrip() for row in rows] + [""]
