"""A first upload in the browser: proposed columns and times, confirmed again if nothing could be read."""

from __future__ import annotations

import html
import re
import time

from fieldfare.api.core.service import Service
from tests.api.web import Web, make_web

FORM = {
    "name": "Elm Bank",
    "id": "elm-bank",
    "timezone": "Europe/London",
    "site.name": "Elm Bank",
    "site.id": "elm-bank",
    "site.timezone": "Europe/London",
    "heat_pump.source": "air",
    "heat_pump.antifreeze": "none",
    "cost.previous_fuel": "none",
}
ROWS = "\n".join(
    f"{1 + h // 24:02d}/02/2026 {h % 24:02d}:{m:02d};1200;{30 + m % 5}"
    for h in range(72)
    for m in (0, 15, 30, 45)
)
EXPORT = f"When;Power [W];Vorlauf [°C]\n{ROWS}\n".replace("When", "Time")


def send(web: Web, url: str, form: dict[str, str], export: str | bytes = "") -> str:
    csrf = {"csrf": web["installer"].headers["X-CSRF-Token"]}
    data = export.encode() if isinstance(export, str) else export
    files = {"file": ("export.csv", data, "text/csv")} if data else None
    answer = web["installer"].post(url, data=form | csrf, files=files, follow_redirects=True)
    assert answer.status_code < 400, answer.text[:2000]
    return html.unescape(answer.text)


def told(web: Web, site: str) -> str:
    """What the page of progress says once the work is over."""
    for _ in range(300):
        text = html.unescape(web["installer"].get(f"/sites/{site}/progress").text)
        if "came in" in text or "can't be read" in text:
            return text
        time.sleep(0.1)
    raise AssertionError(text)


def agreed(time_format: str) -> dict[str, str]:
    return {
        "time_column": "Time",
        "timezone": "Europe/London",
        "time_format": time_format,
        "delimiter": ";",
        "decimal": ".",
        "column.0": "Power [W]",
        "quantity.0": "heat_pump_electricity",
        "as.0": "power",
        "unit.0": "W",
        "column.1": "Vorlauf [°C]",
        "quantity.1": "flow_temperature",
        "as.1": "gauge",
        "unit.1": "degC",
    }


def test_times_by_day_and_month_are_proposed_and_a_wrong_form_can_be_mended(service: Service) -> None:
    own_web = make_web(service)
    send(own_web, "/first-run/site", FORM)
    proposed = send(own_web, "/sites/elm-bank/readings", {}, EXPORT)
    assert '<option value="%d/%m/%Y %H:%M" selected>' in proposed
    send(own_web, "/sites/elm-bank/points", agreed("iso"))
    failed = told(own_web, "elm-bank")
    assert "its times can't be read" in failed.lower() or "times can't be read" in failed.lower()
    assert "uploads" not in failed
    again = send(own_web, "/sites/elm-bank/readings", {}, EXPORT)
    assert '<option value="%d/%m/%Y %H:%M" selected>' in again
    send(own_web, "/sites/elm-bank/points", agreed("%d/%m/%Y %H:%M"))
    assert "576 readings came in" in told(own_web, "elm-bank")
    assert own_web.parts.service.sites.get("elm-bank").file.count("[csv]") == 1


def filled(page: str) -> dict[str, str]:
    """What a browser sends where nobody changes the proposed form."""
    form = dict(re.findall(r'<input[^>]*name="([^"]+)"[^>]*value="([^"]*)"', page))
    for name, options in re.findall(r'<select[^>]*name="([^"]+)".*?>(.*?)</select>', page, re.S):
        chosen = re.search(r'value="([^"]*)" selected', options) or re.search(r'value="([^"]*)"', options)
        form[name] = chosen[1] if chosen else ""
    return form


def test_an_awkward_export_is_read_as_it_was_proposed(service: Service) -> None:
    rows = "\n".join(
        f"{1 + h // 24:02d}.02.2026;{h % 24:02d}:00;{1_000 + h:,}".replace(",", ".") + f",50;{30 + h % 5},0"
        for h in range(72)
    )
    export = f"Anlage;Haus am Bach\n\nDatum;Uhrzeit;Wärme [kWh];Vorlauf [°C]\n{rows}\n".encode("windows-1252")
    own_web = make_web(service)
    send(own_web, "/first-run/site", FORM)
    form = filled(send(own_web, "/sites/elm-bank/readings", {}, export))
    assert (form["date_column"], form["encoding"], form["thousands"]) == ("Datum", "windows-1252", ".")
    send(own_web, "/sites/elm-bank/points", form)
    assert "144 readings came in" in told(own_web, "elm-bank")
