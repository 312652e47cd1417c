"""The table of attacks: what was tried from outside and what came of it, with figures.

    python -m tests.benchmarks.bench_attacks [--only WORD,WORD] [--flips 60] [--readings 1000000] [--json
    FILE]

Each line runs the tests' own functions, more often where they allow it: routes by roles, made-up requests and
messages, bombs, guesses, slow clients, crowds, damaged files one by one, a restore, and kills. `--only` runs
the lines whose name holds one of the words, in that order. The exit code is 1 where a line did not hold.
"""

from __future__ import annotations

import argparse
import contextlib
import json
import logging
import math
import re
import socket
import statistics
import sys
import tempfile
import time
from collections import Counter
from collections.abc import Callable, Iterator
from dataclasses import asdict, dataclass
from functools import partial
from pathlib import Path
from typing import Any

import httpx
import pytest

from fieldfare.api.core.service import opened
from fieldfare.api.core.settings import Settings
from fieldfare.api.people.throttle import FREE_TRIES
from tests.analysis import test_site_fuzz
from tests.api import test_access, test_attacks, test_description
from tests.api.web import ROLES, Web, make_web
from tests.benchmarks import bench_command_kills, bench_kills
from tests.benchmarks.yardstick import peak_mb
from tests.collector import test_damage, test_fuzz
from tests.deploy import test_deployment, test_each_file, test_kept
from tests.services import free_port

CROWD, CROWD_S = 2000, 20.0
"""Connections of the crowd, and how long health is asked for meanwhile."""
COMMAND_KILLS = 8
"""Of each command."""


@dataclass(frozen=True)
class Line:
    """One line of the table. held : nothing happened that should not"""

    attack: str
    tried: str
    found: str
    held: bool


@contextlib.contextmanager
def folder() -> Iterator[Path]:
    with tempfile.TemporaryDirectory(prefix="attacks-") as name:
        yield Path(name)


@contextlib.contextmanager
def a_web() -> Iterator[Web]:
    with folder() as made, opened(Settings(data=made / "data", workers=1)) as service:
        yield make_web(service)


class Folders:
    """Stands for pytest's factory of temporary folders."""

    def __init__(self, root: Path) -> None:
        self._root, self._count = root, 0

    def mktemp(self, name: str) -> Path:
        self._count += 1
        made = self._root / f"{name}{self._count}"
        made.mkdir()
        return made


def broken(run: Callable[[], object]) -> str:
    """Empty where a test's function passes, else its first line of complaint."""
    try:
        run()
    except (AssertionError, Exception, ExceptionGroup) as error:
        return (str(error).splitlines() or [type(error).__name__])[0][:160]
    return ""


def told(failures: list[str]) -> str:
    return f"{len(failures)} wrong" + (f": {failures[0]}" if failures else "")


def routes_by_roles() -> Line:
    """Every route of the description as every role, at the own home, at another's and at none."""
    asked: Counter[int] = Counter()
    real = test_access.ask

    def counted(*given: Any) -> int:
        status = real(*given)
        asked[status] += 1
        return status

    failures = []
    with a_web() as web, pytest.MonkeyPatch.context() as patch:
        patch.setattr(test_access, "ask", counted)
        for method, path in sorted(test_access.MAY.keys() - test_access.LASTS):
            for role in ROLES:
                failures.append(
                    broken(partial(test_access.test_a_role_may_or_may_not, web, role, method, path))
                )
                if "{site_id}" in path and role in ("householder", "link", "device"):
                    failures.append(
                        broken(partial(test_access.test_another_s_home_is_not_there, web, role, method, path))
                    )
    wrong = [f for f in failures if f]
    statuses = ", ".join(f"{status}: {n}" for status, n in sorted(asked.items()))
    tried = f"{len(test_access.MAY)} routes, {len(ROLES)} roles, {asked.total()} requests"
    return Line("routes by roles", tried, f"{told(wrong)}; {statuses}", not wrong)


def made_up_requests(examples: int) -> Line:
    """Generated requests for the whole description, as each role."""
    asked: Counter[int] = Counter()
    real = test_description.send

    def counted(client: Any, case: Any) -> Any:
        answer = real(client, case)
        asked[answer.status_code] += 1
        return answer

    failures = []
    with a_web() as web, pytest.MonkeyPatch.context() as patch:
        patch.setattr(test_description, "send", counted)
        patch.setattr(test_description, "EXAMPLES", examples)
        import schemathesis

        description = schemathesis.openapi.from_dict(web["nobody"].app.openapi())
        for method, path in sorted(test_description.routes() - test_description.UNTRIED):
            failures.append(
                broken(partial(test_description.test_made_up_requests, description, web, method, path))
            )
    wrong = [f for f in failures if f]
    server = sum(n for status, n in asked.items() if status >= 500)
    return Line(
        "made-up requests", f"{asked.total()} requests", f"{told(wrong)}; {server} answers of 500", not wrong
    )


def fuzzed(attack: str, module: Any, names: list[str]) -> Line:
    """Runs tests of made-up input and counts what they tried."""
    count, failures = 0, []
    for name in names:
        test = getattr(module, name)
        inner = test.hypothesis.inner_test

        def counted(*given: Any, _inner: Any = inner, **more: Any) -> Any:
            nonlocal count
            count += 1
            return _inner(*given, **more)

        with folder() as made, pytest.MonkeyPatch.context() as patch:
            patch.setattr(test.hypothesis, "inner_test", counted)
            needs = {"tmp_path_factory": Folders(made)} if "tmp_path_factory" in _arguments(inner) else {}
            failures.append(broken(partial(test, **needs)))
    wrong = [f for f in failures if f]
    return Line(attack, f"{count} made-up inputs of {len(names)} kinds", told(wrong), not wrong)


def _arguments(function: Any) -> tuple[str, ...]:
    return tuple(function.__code__.co_varnames[: function.__code__.co_argcount])


def bombs() -> Iterator[Line]:
    """Memory of a process that reads a file made to take all of it."""
    for name, (make, file, _) in test_fuzz.HEAVY.items():
        with folder() as made:
            make(made / file)
            megabytes, said = test_fuzz.ingested(made / file)
        held = megabytes < test_fuzz.MEMORY_MB
        yield Line(f"ingest: {name}", f"limit {test_fuzz.MEMORY_MB} MB", f"{megabytes} MB; {said[:70]}", held)


def uploads() -> Iterator[Line]:
    """The same files by the browser's form into a running service: how much its memory grows."""
    port = free_port()
    with folder() as made:
        server = test_deployment.start_service(made, port, FIELDFARE_PUBLIC_URL=f"http://localhost:{port}")
        assert server.process is not None
        try:
            client = first_user(made, port)
            for name, (make, file, _) in test_fuzz.HEAVY.items():
                make(made / file)
                before = peak_mb(server.process.pid)
                began = time.monotonic()
                said = upload(client, made / file)
                grown = peak_mb(server.process.pid) - before
                yield Line(
                    f"upload: {name}",
                    f"{(made / file).stat().st_size / 1e6:.0f} MB sent",
                    f"+{grown:.0f} MB on {before:.0f} in {time.monotonic() - began:.0f} s; {said[:60]}",
                    grown < test_fuzz.MEMORY_MB,
                )
                (made / file).unlink()
        finally:
            server.stop()


def first_user(made: Path, port: int) -> httpx.Client:
    """An installer of a new service, with a home that has two points."""
    for _ in range(600):  # it listens before it says so
        log = (made / "service.log").read_text()
        if found := re.search(r"http://localhost:\d+(/first/\S+)", log):
            break
        time.sleep(0.2)
    assert found, log
    client = httpx.Client(base_url=f"http://localhost:{port}", timeout=300.0, follow_redirects=True)
    person = {"email": test_deployment.EMAIL, "name": "Boss", "password": test_deployment.PASSWORD}
    client.post(found[1], data=person).raise_for_status()
    client.headers["X-CSRF-Token"] = client.get("/api/v1/session").json()["csrf"]
    points = "".join(
        f'[[point]]\nid = "{name}"\nquantity = "{quantity}"\n'
        for name, quantity in (("flow", "flow_temperature"), ("back", "return_temperature"))
    )
    file = f'[site]\nid = "alder-row"\nname = "Alder Row"\ntimezone = "Europe/London"\n{points}'
    client.post("/api/v1/sites", json={"file": file}).raise_for_status()
    return client


def upload(client: httpx.Client, path: Path) -> str:
    """Send a file by the form. Returns what the page says of it once it was read."""
    with path.open("rb") as file:
        answer = client.post(
            "/sites/alder-row/readings",
            data={"csrf": client.headers["X-CSRF-Token"]},
            files={"file": (path.name, file)},
        )
    if answer.status_code >= 400:
        return f"refused with {answer.status_code}"
    for _ in range(1200):
        page = client.get("/sites/alder-row/progress").text
        text = " ".join(re.sub(r"<[^>]+>", " ", page.partition("<main")[2]).split())
        if "came in" in text or not re.search(r"reading the file|working out", text, re.I):
            return text
        time.sleep(0.25)
    return "did not end"


def brake() -> Iterator[Line]:
    """Guesses at a password."""
    with a_web() as web, pytest.MonkeyPatch.context() as patch:
        from fieldfare.api.people import sign_in as module

        patch.setattr(module, "is_password", lambda kept, password: password == test_attacks.PASSWORD)
        row = [
            test_attacks.guess(web.parts.sign_in, test_attacks.ENGINEER, f"192.0.2.{n % 250}")
            for n in range(400)
        ]
        yield Line(
            "guesses in a row",
            "400",
            f"{row.count('refused')} were checked",
            row.count("refused") == FREE_TRIES,
        )
    with folder() as made, opened(Settings(data=made / "data", workers=1)) as service:
        failure = broken(
            partial(test_attacks.test_parallel_guesses_are_braked_like_guesses_in_a_row, service)
        )
    yield Line("guesses at once", "60 in 16 threads", failure or f"{FREE_TRIES} were checked", not failure)
    for name in (
        "test_guesses_from_elsewhere_do_not_lock_a_known_device_out",
        "test_one_address_with_many_failures_leaves_others_behind_it_a_known_device",
        "test_a_forged_device_is_no_way_round_the_brake",
    ):
        with a_web() as web, pytest.MonkeyPatch.context() as patch:
            patch.setattr(
                module,
                "is_password",
                lambda kept, password: kept is not None and password == test_attacks.PASSWORD,
            )
            failure = broken(partial(getattr(test_attacks, name), web))
        yield Line(name.removeprefix("test_").replace("_", " "), "", failure or "held", not failure)


def slow_clients() -> Line:
    """Heads, bodies and refused bodies that drip."""
    port, seconds = free_port(), 2
    with folder() as made:
        server = test_deployment.start_service(made, port, FIELDFARE_REQUEST_SECONDS=str(seconds))
        try:
            failure = broken(
                lambda: test_deployment.test_slow_clients_are_closed_and_the_service_goes_on_answering(port)
            )
        finally:
            server.stop()
    tried = f"{len(test_deployment.SLOW)} kinds, limit {seconds} s"
    return Line("slow clients", tried, failure or "all closed, health answered", not failure)


def crowd() -> Line:
    """More connections than the service takes, none of which asks for anything."""
    port = free_port()
    with folder() as made:
        server = test_deployment.start_service(made, port)
        assert server.process is not None
        lines: list[socket.socket] = []
        try:
            before = peak_mb(server.process.pid)
            for _ in range(CROWD):
                lines.append(socket.create_connection(("127.0.0.1", port), timeout=10.0))
            took, missed, until = [], Counter[str](), time.monotonic() + CROWD_S
            while time.monotonic() < until:
                began = time.perf_counter()
                try:
                    httpx.get(f"http://127.0.0.1:{port}/healthz", timeout=10.0).raise_for_status()
                    took.append(time.perf_counter() - began)
                except httpx.HTTPError as error:
                    missed[type(error).__name__] += 1
                time.sleep(0.2)
            log = (made / "service.log").stat().st_size
            grown = peak_mb(server.process.pid) - before
        finally:
            for line in lines:
                line.close()
            server.stop()
    p95 = statistics.quantiles(took, n=20)[-1] * 1000 if len(took) > 1 else math.nan
    found = (
        f"health answered {len(took)} times (p95 {p95:.0f} ms), not {dict(missed) or 0}; log {log}"
        f" bytes, +{grown:.0f} MB"
    )
    return Line("a crowd", f"{CROWD} idle connections", found, bool(took) and not missed and log < 100_000)


def damaged_files(flips: int) -> Iterator[Line]:
    """Each file of a data folder: cut off, emptied, zeroed, written over, removed, and with flipped bits."""
    with folder() as made:
        data = test_each_file.whole_folder(made)
        good = test_each_file.stored(data)
        seen: dict[str, list[test_each_file.Outcome]] = {}
        for path, _, changed in test_each_file.trials(data, flips):
            outcome = test_each_file.damaged(data, good, path, changed, made / "copy")
            kind = "sealed months" if "sealed" in path.parts else str(path)
            seen.setdefault(kind, []).append(outcome)
    for kind, outcomes in seen.items():
        named = sum(o.code == 1 for o in outcomes)
        wrong, silent = sum(o.wrong for o in outcomes), sum(o.is_silent for o in outcomes)
        yield Line(
            f"damaged: {kind}",
            f"{len(outcomes)} damages",
            f"{named} named, {len(outcomes) - named - silent} without effect on readings, {silent} silent;"
            f" {wrong} wrong readings",
            not wrong and not silent,
        )


def flipped_bits() -> Line:
    """One bit at a time in a sealed month."""
    with folder() as made:
        store = test_damage.LocalStore(made / "readings")
        for site in (test_damage.SITE, test_damage.OTHER):
            for start in (test_damage.DECEMBER, test_damage.JANUARY):
                store.append(site, test_damage.month(start))
        store.seal(test_damage.JANUARY + 60 * test_damage.MS_PER_DAY)
        failure = broken(lambda: test_damage.test_no_flipped_bit_is_read_as_a_value(store))
        store.close()
    tried = f"{test_damage.FLIPS} flipped bits of a sealed month"
    return Line("silent values", tried, failure or "0 read as another value", not failure)


def restored() -> Line:
    with folder() as made:
        failure = broken(lambda: test_kept.test_a_restored_folder_is_the_same_byte_for_byte(made))
    tried = "readings, facts, state, key"
    return Line("backup and restore", tried, failure or "the same byte for byte", not failure)


def kills(readings: int) -> Line:
    found = bench_kills.run(readings, 70, 35, 1, bench_kills.REMEMBER_S)
    bad = bench_kills.faults(found)
    tried = (
        f"{found['readings_published']} readings, {found['collector_kills']} + {found['broker_kills']} kills"
    )
    cost = ", ".join(f"{found[f'bare_{what}_after_broker_kills']} {what}" for what in ("missing", "twice"))
    said = (
        f"{bad or 'none missing, doubled or wrong'}; values without a time after the broker's kills: {cost}"
    )
    return Line("kill -9 of collector and broker", tried, said, not bad)


def killed_commands() -> Iterator[Line]:
    """Ingest, undo, erase, repair, backup, restore, upgrade and analyse, each killed at random moments."""
    for row in bench_command_kills.rows(COMMAND_KILLS, 1):
        wrong = row["wrong"]
        found = f"{len(wrong)} wrong: {wrong[0]}" if wrong else "the same again ended as without a kill"
        yield Line(f"kill -9: {row['command']}", f"{row['kills']} moments", found, not wrong)


def lines(given: argparse.Namespace) -> Iterator[tuple[str, Callable[[], Line | Iterator[Line]]]]:
    messages = ["test_messages_are_read_or_refused_with_a_reason", "test_a_pack_by_http_is_stored_or_refused"]
    files = [
        "test_csv_is_read_or_refused",
        "test_parquet_is_imported_or_refused",
        "test_texts_survive_export_and_import",
    ]
    site_files = [
        "test_any_structure_is_read_or_refused",
        "test_a_site_file_with_one_wrong_value_is_read_or_refused",
        "test_any_text_in_the_middle_is_read_or_refused",
    ]
    yield "routes", routes_by_roles
    yield "requests", lambda: made_up_requests(given.examples)
    yield "messages", lambda: fuzzed("messages and packs", test_fuzz, messages)
    yield "files", lambda: fuzzed("CSV, Parquet, cells", test_fuzz, files)
    yield "site files", lambda: fuzzed("site files", test_site_fuzz, site_files)
    yield "bombs", bombs
    yield "uploads", uploads
    yield "brake", brake
    yield "slow", slow_clients
    yield "crowd", crowd
    yield "damaged", lambda: damaged_files(given.flips)
    yield "flips", flipped_bits
    yield "restore", restored
    yield "commands", killed_commands
    yield "kills", lambda: kills(given.readings)


def main() -> int:
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--only", default="", help="words of the names of the lines to run")
    parser.add_argument("--examples", type=int, default=12, help="made-up requests a route and role")
    parser.add_argument("--flips", type=int, default=60, help="flipped bits a file")
    parser.add_argument("--readings", type=int, default=1_000_000)
    parser.add_argument("--json", type=Path)
    given = parser.parse_args()
    logging.disable(logging.ERROR)  # refusals are what the table counts
    table: list[Line] = []
    chosen = [(n, run) for word in given.only.split(",") for n, run in lines(given) if word in n]
    for _, run in chosen:
        made = run()
        for line in [made] if isinstance(made, Line) else made:
            table.append(line)
            print(
                f"{'held' if line.held else 'BROKE':6}| {line.attack} | {line.tried} | {line.found}",
                flush=True,
            )
    if given.json:
        given.json.write_text(json.dumps([asdict(line) for line in table], indent=1), encoding="utf-8")
    return 0 if all(line.held for line in table) else 1


if __name__ == "__main__":
    sys.exit(main())
