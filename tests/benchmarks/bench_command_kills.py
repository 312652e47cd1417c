"""`kill -9` of commands at random moments: what is left, and what the same command makes of it afterwards.

    python -m tests.benchmarks.bench_command_kills [--kills 12] [--seed 1] [--only WORD,WORD] [--json FILE]

Each command works on a copy of a small data folder and is killed at a random moment of the time it takes.
Then the stored data must be sound (`check`), the same command again must end well, and readings, files and
archives must be as after one that nobody killed. The exit code is 1 where something is not.
"""

from __future__ import annotations

import argparse
import json
import os
import random
import select
import shutil
import signal
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Iterator
from contextlib import closing, contextmanager, suppress
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np

from fieldfare.analysis.plant.load import parse_site
from fieldfare.analysis.readings import MS_PER_DAY
from fieldfare.api.core.service import opened
from fieldfare.api.core.settings import Settings
from fieldfare.collector.export import export_readings
from fieldfare.collector.store.local import LocalStore
from tests.api.sites import readings, site_text
from tests.deploy import test_kept

ROOT = Path(__file__).parents[2]
HOMES = ("alder-row", "beech-end")
DAYS = 40
MOST_S = 60.0

RUNNER = """
import os, sys, importlib.util
from pathlib import Path
import numpy, pyarrow.parquet, pyarrow.csv, sqlalchemy.orm, pydantic, alembic.command
from fieldfare.analysis.reports import result
from fieldfare.api.cli import entry, root
from fieldfare.api.core import fact_tables, results, service
from fieldfare.api.records import erasure, file_imports, repair, repair_rows
from fieldfare.api.running import intake
from fieldfare.collector.csv import ingest
from fieldfare.collector.store import local_write
from fieldfare.dashboards.fleet import winter

spec = importlib.util.spec_from_file_location("backup", Path("deploy") / "backup.py")
backup = importlib.util.module_from_spec(spec)
spec.loader.exec_module(backup)
for line in sys.stdin:                              # a process for each line
    kind, *words = line.rstrip("\\n").split("\\t")
    if (pid := os.fork()) == 0:
        os.write(1, b"%d\\n" % os.getpid())
        out = os.open(os.devnull, os.O_WRONLY)
        os.dup2(out, 1), os.dup2(out, 2)
        os._exit(backup.main(words) if kind == "backup" else entry.run(words))
    code = os.waitpid(pid, 0)[1]
    os.write(1, b"%d\\n" % code)
"""


@dataclass(frozen=True)
class Act:
    """A command to kill. begin : what it works on, in an empty folder. words : the command, of the folder
    compare : complaints about the folder after the command was run again"""

    name: str
    kind: str
    begin: Callable[[Path], None]
    words: Callable[[Path], list[str]]
    compare: Callable[[Path], Iterator[str]]


class Runner:
    """A process that has imported what commands need, and forks one for each."""

    def __init__(self) -> None:
        self._process = subprocess.Popen(
            [sys.executable, "-c", RUNNER],
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            cwd=ROOT,
            bufsize=0,  # what a pipe holds, `select` sees
        )

    def run(self, kind: str, words: list[str], after: float | None = None) -> tuple[int, float]:
        """Run a command. after : kill it so many seconds after its start. Returns its exit code, -9 where it
        was killed, and how long it took [s]."""
        assert self._process.stdin is not None
        assert self._process.stdout is not None
        self._process.stdin.write(("\t".join([kind, *words]) + "\n").encode())
        pid, began = int(self._process.stdout.readline()), time.monotonic()
        if after is not None and not select.select([self._process.stdout], [], [], after)[0]:
            with suppress(ProcessLookupError):  # it ended just now
                os.kill(pid, signal.SIGKILL)
        status = int(self._process.stdout.readline())
        code = -os.WTERMSIG(status) if os.WIFSIGNALED(status) else os.WEXITSTATUS(status)
        return code, time.monotonic() - began

    def close(self) -> None:
        self._process.communicate(timeout=MOST_S)


@contextmanager
def runner() -> Iterator[Runner]:
    one = Runner()
    try:
        yield one
    finally:
        one.close()


def two_homes(folder: Path) -> None:
    """Two homes with some weeks of minutes, sealed and recent, facts and results."""
    with opened(Settings(data=folder / "data", workers=1)) as service:
        for n, site in enumerate(HOMES):
            text = site_text(site, site.title())
            service.sites.add([(text, parse_site(text))])
            made = readings(DAYS)
            service.store.append(site, {p: s._replace(value=s.value + n) for p, s in made.items()})
            last = max(int(s.time[-1]) for s in made.values())
            step = np.arange(200, dtype=np.int64) * 60_000 + last + 60_000
            service.store.append(
                site, {p: s._replace(time=step, value=s.value[:200]) for p, s in made.items()}
            )
            service.results.rolling_result(service.sites.get(site), 365)


def csv_of(folder: Path, path: Path) -> None:
    """A file of the first home with other values, from within its readings to beyond them."""
    with opened(Settings(data=folder / "data", workers=1)) as service:
        site = service.sites.get(HOMES[0]).site
        held = service.store.read(HOMES[0])
    points = sorted(p for p in held if p in {q.id for q in site.point})
    start = int(held[points[0]].time[0]) + 5 * MS_PER_DAY
    rng = np.random.default_rng(3)
    rows = [",".join(["time", *points])]
    for n in range(0, (DAYS + 30) * 1440, 2):
        moment = np.datetime64(start + n * 60_000, "ms").astype("datetime64[s]")
        rows.append(",".join([f"{moment}Z", *(f"{v:.1f}" for v in rng.uniform(20, 30, len(points)))]))
    path.write_text("\n".join(rows) + "\n", encoding="utf-8")


def content(folder: Path) -> dict[str, bytes]:
    """The readings of every home, as exported."""
    found = {}
    with opened(Settings(data=folder, workers=1)) as service, tempfile.TemporaryDirectory() as made:
        for site in service.sites.ids():
            out = Path(made) / "x.csv"
            if service.store.span(site) is not None:
                export_readings(service.sites.get(site).site, service.store, out)
                found[site] = out.read_bytes()
    return found


class Case:
    """What acts begin with and are compared with, made once."""

    def __init__(self, folder: Path, run: Runner) -> None:
        self.folder, self._run = folder, run
        whole, ingested = folder / "whole", folder / "ingested"
        whole.mkdir()
        two_homes(whole)
        csv_of(whole, folder / "new.csv")
        shutil.copytree(whole, ingested)
        self.command("ingest", str(folder / "new.csv"), folder=ingested)
        self.before, self.after = content(whole / "data"), content(ingested / "data")
        assert self.before[HOMES[0]] != self.after[HOMES[0]]
        backup = test_kept.backup
        self.archive = backup.backup(whole / "data", folder / "archives")
        backup.restore(self.archive, folder / "good")
        with closing(LocalStore(whole / "data" / "readings")) as store:
            month = store._sealed.path(HOMES[0], max(store._sealed.months(HOMES[0])) - 1)
        self.month = month.relative_to(whole)

    def command(self, *words: str, folder: Path) -> None:
        code, _ = self._run.run("fieldfare", ["--data", str(folder / "data"), words[0], HOMES[0], *words[1:]])
        assert code in (0, 3), (words, code)

    def copy(self, name: str) -> Callable[[Path], None]:
        return lambda folder: shutil.copytree(self.folder / name, folder, dirs_exist_ok=True) and None

    def damaged(self, folder: Path) -> None:
        self.copy("whole")(folder)
        data = (folder / self.month).read_bytes()
        (folder / self.month).write_bytes(data[: len(data) // 2])

    def same(self, expected: dict[str, bytes]) -> Callable[[Path], Iterator[str]]:
        def compare(folder: Path) -> Iterator[str]:
            found = content(folder / "data")
            yield from (f"readings of {s} differ" for s in expected if found.get(s) != expected[s])
            yield from (f"readings of {s} came from nowhere" for s in found.keys() - expected.keys())

        return compare

    def ingested(self, folder: Path) -> Iterator[str]:
        """After the same file again, and after undoing every file: as before the first one."""
        yield from self.same(self.after)(folder)
        for _ in range(3):
            code, _ = self._run.run(
                "fieldfare", ["--data", str(folder / "data"), "ingest", HOMES[0], "--undo"]
            )
            if code == 2:
                break
            if code:
                yield f"an undo ended with {code}"
                return
        yield from self.same(self.before)(folder)
        yield from (f"{p} is left" for p in (folder / "data" / "undo" / HOMES[0]).glob("*"))

    def erased(self, folder: Path) -> Iterator[str]:
        yield from self.same({HOMES[1]: self.before[HOMES[1]]})(folder)
        mark = HOMES[0].encode()
        for path in sorted((folder / "data").rglob("*")):
            if path.is_file() and path.name != "fieldfare.log" and mark in path.read_bytes():
                yield f"{path.relative_to(folder)} names the home"
            if mark in path.name.encode():
                yield f"{path.relative_to(folder)} is left"

    def backed_up(self, folder: Path) -> Iterator[str]:
        yield from self.same(self.before)(folder)
        archives = folder / "archives"
        for path in archives.iterdir():
            if not (path.name.startswith("fieldfare-") and path.name.endswith(".tar.gz")):
                yield f"{path.name} is left"
            elif test_kept.backup.verify(path).damage:
                yield f"{path.name} is damaged"

    def restored(self, folder: Path) -> Iterator[str]:
        yield from self.same(self.before)(folder)
        yield from (f"{path.name} is left" for path in folder.iterdir() if path.name != "data")

    def upgraded(self, folder: Path) -> Iterator[str]:
        with opened(Settings(data=folder / "data", workers=1)) as service:
            if test_kept.marks(service.store, HOMES[0]) != test_kept.OLDEST_READINGS:
                yield "readings of the oldest release differ"
            if len(test_kept.Accounts(service.database).all()) != 2:
                yield "people are missing"

    def oldest(self, folder: Path) -> None:
        shutil.unpack_archive(test_kept.OLDEST, folder / "out", filter="data")
        inner = folder / "out"
        (inner / "data" if (inner / "data").exists() else inner).rename(folder / "data")


def acts(case: Case) -> list[Act]:
    def on(*words: str) -> Callable[[Path], list[str]]:
        return lambda folder: ["--data", str(folder / "data"), *words]

    file, good, home = str(case.folder / "new.csv"), str(case.folder / "good"), HOMES[0]
    return [
        Act("ingest", "fieldfare", case.copy("whole"), on("ingest", home, file), case.ingested),
        Act("undo", "fieldfare", case.copy("ingested"), on("ingest", home, "--undo"), case.same(case.before)),
        Act("erase", "fieldfare", case.copy("ingested"), on("site", "remove", home, "--yes"), case.erased),
        Act("repair", "fieldfare", case.damaged, on("repair", good), case.same(case.before)),
        Act(
            "backup",
            "backup",
            case.copy("whole"),
            lambda folder: ["backup", str(folder / "data"), str(folder / "archives")],
            case.backed_up,
        ),
        Act(
            "restore",
            "backup",
            lambda folder: None,
            lambda folder: ["restore", str(case.archive), str(folder / "data")],
            case.restored,
        ),
        Act("upgrade", "fieldfare", case.oldest, on("fleet"), case.upgraded),
        Act("analyse", "fieldfare", case.copy("ingested"), on("analyse", home), case.same(case.after)),
    ]


DONE_ALREADY = {"undo": 2, "erase": 2, "restore": 1}
"""Exit codes of a command again, where the killed one had ended its work."""


def killed(act: Act, run: Runner, folder: Path, after: float) -> list[str]:
    """Complaints about one kill."""
    act.begin(folder)
    run.run(act.kind, act.words(folder), after)
    data = folder / "data"
    wrong = []
    if data.exists() and act.name not in ("repair", "upgrade"):
        with opened(Settings(data=data, workers=1)) as service:
            wrong += [
                f"after the kill: {t.file}: {t.what}"
                for site in service.store.sites()
                for t in service.store.check(site)
            ]
    if act.name == "backup":
        time.sleep(1.0)  # an archive is named by its second
    code, _ = run.run(act.kind, act.words(folder))
    if code not in (0, DONE_ALREADY.get(act.name, 0)):
        wrong.append(f"the same command again ended with {code}")
    if data.exists():
        code, _ = run.run("fieldfare", ["--data", str(data), "check"])
        wrong += [f"check ended with {code}"] if code else []
    return wrong + list(act.compare(folder))


def tried(act: Act, run: Runner, kills: int, rng: random.Random) -> dict[str, Any]:
    with tempfile.TemporaryDirectory(prefix="command-kills-") as name:
        folder = Path(name)
        act.begin(folder)
        code, took = run.run(act.kind, act.words(folder))
        first = list(act.compare(folder))
    assert not first, (act.name, code, first)
    wrong: list[str] = []
    for _ in range(kills):
        after = rng.uniform(0.0, took)
        with tempfile.TemporaryDirectory(prefix="command-kills-") as name:
            wrong += [f"{after:.3f} s: {text}" for text in killed(act, run, Path(name), after)]
    return {"command": act.name, "kills": kills, "takes_s": round(took, 2), "wrong": wrong}


def rows(kills: int, seed: int, only: str = "") -> Iterator[dict[str, Any]]:
    """What came of killing each command. only : words of the names of those to kill"""
    with tempfile.TemporaryDirectory(prefix="command-kills-") as name, runner() as run:
        case, rng = Case(Path(name), run), random.Random(seed)
        for act in acts(case):
            if any(word in act.name for word in only.split(",")):
                yield tried(act, run, kills, rng)


def main() -> int:
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--kills", type=int, default=12)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--only", default="", help="words of the names of the commands to kill")
    parser.add_argument("--json", type=Path)
    given = parser.parse_args()
    table = []
    for row in rows(given.kills, given.seed, given.only):
        table.append(row)
        print(f"{row['command']:<9} {row['kills']} kills within {row['takes_s']} s: ", end="")
        print("; ".join(row["wrong"][:4]) or "all as without", flush=True)
    if given.json:
        given.json.write_text(json.dumps(table, indent=1), encoding="utf-8")
    return 1 if any(row["wrong"] for row in table) else 0


if __name__ == "__main__":
    sys.exit(main())
