"""The configured forecast, from a loopback server: fetched at night, stored until it ends, shown with its
source."""

from __future__ import annotations

import json
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from pathlib import Path

import pytest

from fieldfare.analysis.errors import InputError
from fieldfare.api.alerts.alerts import Alerts
from fieldfare.api.alerts.notices import Notices
from fieldfare.api.cli.entry import run
from fieldfare.api.core import outgoing
from fieldfare.api.core.forecast import NoForecast, fetch_forecast, kept_forecast
from fieldfare.api.core.service import Service, opened
from fieldfare.api.core.settings import Settings
from fieldfare.api.jobs.due import due_now
from fieldfare.api.jobs.leases import JobLeases
from fieldfare.api.jobs.runner import Runner
from fieldfare.api.records.erasure import erase_site
from fieldfare.dashboards.text.formats import day
from tests.api.conftest import add_site
from tests.api.sites import readings
from tests.api.web import OWN, Web, make_web

KEY = "letmein"


def rows(first: datetime, hours: int = 72) -> list[dict[str, object]]:
    return [{"time": (first + timedelta(hours=n)).isoformat(), "outdoor_c": -12.0} for n in range(hours)]


def as_csv(first: datetime) -> bytes:
    lines = [f"{r['time']},{r['outdoor_c']}" for r in rows(first)]
    return "\n".join(("time,outdoor_c", *lines)).encode()


NOW = datetime.now(UTC).replace(minute=0, second=0, microsecond=0)
GOOD = as_csv(NOW)


class Weather:
    """What the server answers, and what it was asked."""

    def __init__(self) -> None:
        self.status, self.body, self.location, self.drip_s = 200, GOOD, "", 0.0
        self.asked: list[str] = []
        self.port = 0

    @property
    def url(self) -> str:
        return f"http://127.0.0.1:{self.port}/forecast.csv?key={KEY}"


@contextmanager
def weather() -> Iterator[Weather]:
    told = Weather()

    class Handler(BaseHTTPRequestHandler):
        def do_GET(self) -> None:
            told.asked.append(self.path)
            self.send_response(told.status)
            if told.location:
                self.send_header("Location", told.location)
            self.end_headers()
            try:
                for at in range(0, len(told.body), 200_000 if not told.drip_s else 1):
                    self.wfile.write(told.body[at : at + (200_000 if not told.drip_s else 1)])
                    time.sleep(told.drip_s)
            except OSError:
                return

        def log_message(self, *args: object) -> None:
            """Say nothing."""

    made = ThreadingHTTPServer(("127.0.0.1", 0), Handler)
    made.daemon_threads = True
    told.port = made.server_port
    threading.Thread(target=made.serve_forever, daemon=True).start()
    try:
        yield told
    finally:
        made.shutdown()
        made.server_close()


@pytest.fixture
def there() -> Iterator[Weather]:
    with weather() as told:
        yield told


@pytest.fixture
def service(tmp_path: Path, there: Weather) -> Iterator[Service]:
    settings = Settings(
        data=tmp_path,
        workers=1,
        forecast_url=there.url,
        forecast_name="Example Weather",
        internal_hosts="127.0.0.1",
    )
    with opened(settings) as made:
        add_site(made, OWN)
        made.store.append(OWN, readings(3))
        yield made


@pytest.mark.parametrize("body", [GOOD, json.dumps(rows(NOW)).encode(), b"\xef\xbb\xbf" + GOOD])
def test_csv_and_json_are_fetched_and_kept(service: Service, there: Weather, body: bytes) -> None:
    there.body = body
    assert kept_forecast(service) is None
    fetched = fetch_forecast(service, NOW)
    kept = kept_forecast(service, NOW)
    assert kept == fetched
    assert there.asked == [f"/forecast.csv?key={KEY}"]
    assert (kept.source, kept.fetched, kept.until) == ("Example Weather", NOW, NOW + timedelta(hours=72))
    assert [home["site"] for home in (kept.outlook or {})["homes"]] == [OWN]


def test_it_is_kept_until_it_ends_and_for_its_address_alone(service: Service) -> None:
    fetch_forecast(service, NOW)
    ended = kept_forecast(service, NOW + timedelta(hours=72))
    assert ended is not None
    assert ended.outlook is None
    service.settings = replace(service.settings, forecast_url="http://127.0.0.1:1/other")
    assert kept_forecast(service, NOW) is None
    service.settings = replace(service.settings, forecast_url="")
    assert kept_forecast(service, NOW) is None


def test_an_erased_home_leaves_the_outlook(service: Service) -> None:
    add_site(service, "beech-end")
    fetch_forecast(service, NOW)
    erase_site(service, OWN)
    kept = kept_forecast(service, NOW)
    assert kept is not None
    assert kept.outlook is not None
    assert [home["site"] for home in kept.outlook["homes"]] == ["beech-end"]


def _large(there: Weather) -> None:
    there.body = GOOD + b"\n" * outgoing.LARGEST_ANSWER


def _slow(there: Weather) -> None:
    there.drip_s = 0.02


def _sends_elsewhere(there: Weather) -> None:
    there.status, there.location = 302, f"http://127.0.0.1:{there.port}/inside"


def _gone(there: Weather) -> None:
    there.status = 404


def body(text: bytes):  # type: ignore[no-untyped-def]
    def change(there: Weather) -> None:
        there.body = text

    return change


@pytest.mark.parametrize(
    ("change", "says"),
    [
        (_gone, "it answered 404"),
        (_sends_elsewhere, "it answered 302"),
        (_large, "its answer is larger than 1 MB"),
        (_slow, "it did not finish within 0.2 s"),
        (body(b"time,outdoor_c\n\xff\xfe,1\n"), "not text in UTF-8"),
        (body(b"<html>sign in</html>"), "needs columns time and outdoor_c"),
        (body(b"time,outdoor_c\n2026-01-10T00:00:00,1\n"), "row 1: time needs an offset"),
        (body(as_csv(NOW - timedelta(days=9))), "the forecast ended on"),
    ],
)
def test_each_failure_is_one_line_and_what_was_kept_stays(
    service: Service, there: Weather, monkeypatch: pytest.MonkeyPatch, change: object, says: str
) -> None:
    good = fetch_forecast(service, NOW)
    change(there)  # type: ignore[operator]
    monkeypatch.setattr(outgoing, "LONGEST_S", 0.2)
    with pytest.raises(NoForecast) as failed:
        fetch_forecast(service, NOW + timedelta(hours=1))
    told = str(failed.value)
    assert says in told
    assert told.startswith("Example Weather: ")
    assert "\n" not in told
    assert KEY not in told
    kept = kept_forecast(service, NOW + timedelta(hours=1))
    assert kept is not None
    assert (kept.problem, kept.outlook, kept.fetched) == (told, good.outlook, NOW)
    assert "/inside" not in there.asked


def test_a_private_address_is_refused_unless_the_operator_allows_it(service: Service, there: Weather) -> None:
    service.settings = replace(service.settings, internal_hosts="")
    with pytest.raises(NoForecast, match="private address; FIELDFARE_INTERNAL_HOSTS allows it"):
        fetch_forecast(service, NOW)
    assert there.asked == []


@pytest.mark.parametrize(
    "url", ["file:///etc/passwd", "forecast.csv", "ftp://weather.example/f", "http://[::1"]
)
def test_an_address_that_is_none_names_the_setting(service: Service, url: str) -> None:
    service.settings = replace(service.settings, forecast_url=url)
    with pytest.raises(InputError, match="FIELDFARE_FORECAST_URL: must be an http"):
        fetch_forecast(service, NOW)


def test_who_does_not_answer_is_told(service: Service) -> None:
    service.settings = replace(service.settings, forecast_url="http://127.0.0.1:1/", forecast_name="")
    with pytest.raises(NoForecast, match=r"^127\.0\.0\.1: it did not answer"):
        fetch_forecast(service, NOW)


def runner(service: Service) -> tuple[Runner, JobLeases]:
    book = JobLeases(service.database)
    notices = Notices(service.database, service.settings, lambda *a: None)
    return Runner(service, Alerts(service.database), notices, book), book


def test_the_night_fetches_it(service: Service, there: Weather) -> None:
    made, book = runner(service)
    made.tick(NOW)
    [job], _ = book.page(0, 10, kind="forecast")
    assert (job.site, job.state) == ("", "done")
    assert job.told.startswith("Example Weather: until ")
    assert len(there.asked) == 1
    made.tick(NOW)
    assert len(there.asked) == 1, "once a night"


def test_a_failed_night_says_why_in_one_line(service: Service, there: Weather) -> None:
    there.status = 503
    made, book = runner(service)
    made.tick(NOW)
    [job], _ = book.page(0, 10, kind="forecast")
    assert (job.state, job.told) == ("failed", "Example Weather: it answered 503")


def test_without_an_address_nothing_is_due_or_fetched(service: Service) -> None:
    zone = service.sites.get(OWN).site.zone
    assert "forecast" not in {d.kind for d in due_now(NOW, {OWN: zone}, zone, 7)}
    assert "forecast" in {d.kind for d in due_now(NOW, {OWN: zone}, zone, 7, forecast=True)}
    service.settings = Settings(data=service.settings.data)
    with pytest.raises(InputError, match="FIELDFARE_FORECAST_URL names its address"):
        fetch_forecast(service, NOW)


@pytest.fixture
def web(service: Service) -> Web:
    return make_web(service)


def test_the_page_shows_its_time_and_source(web: Web, there: Weather) -> None:
    before = web["installer"].get("/cold-snap").text
    assert "The forecast of Example Weather" in before
    assert "Fetch it now" in before
    sent = web["installer"].post(
        "/cold-snap/fetch", data={"csrf": web["installer"].headers["X-CSRF-Token"]}, follow_redirects=True
    )
    assert sent.status_code == 200
    assert f"Forecast of Example Weather, fetched {day(NOW.date())}, " in sent.text
    assert "Alder Row" in sent.text
    assert KEY not in sent.text
    engineer = web["engineer"].get("/cold-snap").text
    assert "Alder Row" in engineer
    assert "Fetch it now" not in engineer
    document = web["engineer"].get("/api/v1/fleet/cold-snap").json()
    assert document["source"] == "Example Weather"
    assert {home["site"] for home in document["homes"]} >= {OWN}


def test_a_second_try_by_hand_waits(web: Web, there: Weather) -> None:
    form = {"csrf": web["installer"].headers["X-CSRF-Token"]}
    for _ in range(3):
        web["installer"].post("/cold-snap/fetch", data=form)
    assert len(there.asked) == 1


@pytest.mark.parametrize("role", ["engineer", "householder", "link", "device", "nobody"])
def test_only_an_installer_fetches(web: Web, there: Weather, role: str) -> None:
    form = {"csrf": web[role].headers.get("X-CSRF-Token", "")}
    sent = web[role].post("/cold-snap/fetch", data=form, follow_redirects=False)
    assert sent.status_code in (303, 401, 403)
    assert there.asked == []


def test_a_failure_stands_on_the_page(web: Web, there: Weather) -> None:
    there.status = 503
    form = {"csrf": web["installer"].headers["X-CSRF-Token"]}
    sent = web["installer"].post("/cold-snap/fetch", data=form)
    assert sent.status_code == 502
    assert "Example Weather: it answered 503" in sent.text
    told = web["engineer"].get("/api/v1/fleet/cold-snap").json()
    assert (told["homes"], told["problem"]) == (None, "Example Weather: it answered 503")


def test_the_command_takes_it(
    service: Service, there: Weather, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setenv("FIELDFARE_FORECAST_URL", there.url)
    monkeypatch.setenv("FIELDFARE_INTERNAL_HOSTS", "127.0.0.1")
    data = str(service.settings.data)
    assert run(["--data", data, "cold-snap"]) == 0
    assert "Forecast of 127.0.0.1, fetched" in capsys.readouterr().out
    there.status = 500
    assert run(["--data", data, "cold-snap", "--format", "json"]) == 0
    told = capsys.readouterr()
    assert json.loads(told.out)["homes"]
    assert told.err.startswith("note: 127.0.0.1: it answered 500; this is the forecast fetched before")
