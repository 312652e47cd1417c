"""A killed writer loses no acknowledged reading."""

from __future__ import annotations

import os
import random
import signal
import subprocess
import sys
import time as clock
from pathlib import Path

import numpy as np
import pytest

from fieldfare.analysis.readings import MS_PER_DAY
from fieldfare.collector.store.local import LocalStore

T = 1_760_000_000_000 // MS_PER_DAY * MS_PER_DAY
KILLS = 60
ROWS = 120
POINTS = ("a", "b")

WRITERS = """
import os, sys
from pathlib import Path
import numpy as np
from fieldfare.analysis.readings import MS_PER_DAY, Samples
from fieldfare.collector.store import local_write
from fieldfare.collector.store.local import LocalStore

folder, T, rows = Path(sys.argv[1]), int(sys.argv[2]), int(sys.argv[3])

def say(word):
    os.write(1, f"{word}\\n".encode())

def write(first):
    store = LocalStore(folder, hot_days=0)
    for batch in range(first, first + 100000):
        time = T + (batch * rows + np.arange(rows)) * 600_000      # 20 hours a batch: months pass quickly
        local_write.BULK = 1 if batch % 5 == 4 else 20_000  # every fifth goes straight to sealed files
        store.append("ash-lane", {p: Samples(time, batch + np.arange(rows) / 1000) for p in ("a", "b")})
        say(batch)
        if batch % 2:
            store.seal(int(time[-1]) - MS_PER_DAY)

for line in sys.stdin:                                             # a process for each line: its first batch
    pid = os.fork()
    if pid == 0:
        say(os.getpid())
        write(int(line))
    say("killed" if os.waitpid(pid, 0)[1] == 9 else "ended")
"""


def batch_times(batch: int) -> np.ndarray:
    return T + (batch * ROWS + np.arange(ROWS)) * 600_000


@pytest.mark.timeout(120)
def test_acknowledged_readings_survive_kills_at_any_moment(tmp_path: Path) -> None:
    """Each round goes on after the last acknowledged batch, so an unacknowledged one is sent again."""
    folder = tmp_path / "store"
    random_moment = random.Random(2025)
    acknowledged = sealed_at_kill = 0
    writers = subprocess.Popen(
        [sys.executable, "-c", WRITERS, str(folder), str(T), str(ROWS)],
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        text=True,
        bufsize=1,
    )
    assert writers.stdin is not None
    assert writers.stdout is not None
    for kill in range(KILLS):
        writers.stdin.write(f"{acknowledged}\n")
        pid, lines = int(writers.stdout.readline()), [writers.stdout.readline()]
        clock.sleep(random_moment.uniform(0, 0.12))
        os.kill(pid, signal.SIGKILL)
        while (line := writers.stdout.readline()) not in ("killed\n", "ended\n"):
            lines.append(line)
        assert line == "killed\n", f"kill {kill}: the writer ended by itself"
        assert [int(line) for line in lines] == list(range(acknowledged, acknowledged + len(lines)))
        acknowledged += len(lines)
        sealed_at_kill += bool(list(folder.rglob("*.new")))
        store = LocalStore(folder)
        held = store.read("ash-lane", None, None, int(batch_times(acknowledged)[0]))
        for point in POINTS:
            assert len(held[point].time) == acknowledged * ROWS, f"kill {kill}"
        store.close()
    writers.stdin.close()
    assert writers.wait(timeout=30) == 0
    store = LocalStore(folder)
    held = store.read("ash-lane", None, None, int(batch_times(acknowledged)[0]))
    time = np.concatenate([batch_times(b) for b in range(acknowledged)])
    value = np.concatenate([b + np.arange(ROWS) / 1000 for b in range(acknowledged)])
    for point in POINTS:
        assert np.array_equal(held[point].time, time)
        assert np.array_equal(held[point].value, value)
    days = set((time // MS_PER_DAY).tolist())
    assert days <= store.revisions("ash-lane").keys()
    store.seal(int(time[-1]) + 400 * MS_PER_DAY)
    assert store.points("ash-lane")["a"].count >= len(time)
    assert np.array_equal(store.read("ash-lane", ["a"], None, int(time[-1]) + 1)["a"].value, value)
    print(
        f"{KILLS} kills, {acknowledged} batches acknowledged, {sealed_at_kill} kills while a month was"
        " written"
    )


DIES = """
import os, sys
from pathlib import Path
import numpy as np
from fieldfare.analysis.readings import MS_PER_DAY, Samples
from fieldfare.collector.store import local_write
from fieldfare.collector.store.local import LocalStore
from fieldfare.collector.store.sealed import Sealed

folder, where, how, T = Path(sys.argv[1]), sys.argv[2], sys.argv[3], int(sys.argv[4])
store = LocalStore(folder)
name = {"before rename": "publish", "after rename": "publish"}[where]
real = Sealed.publish
def publish(self, *args):
    if where == "after rename":
        real(self, *args)
    os._exit(9)
Sealed.publish = publish
time = T + np.arange(50) * 60_000
if how == "seal":
    store.seal(T + 100 * MS_PER_DAY)
else:
    local_write.BULK = 1
    store.append("ash-lane", {"a": Samples(time, np.arange(50) + 0.5)})
"""


@pytest.mark.parametrize("where", ["before rename", "after rename"])
@pytest.mark.parametrize("how", ["seal", "bulk"])
def test_a_kill_between_the_new_file_and_the_hot_rows_leaves_one_of_each(
    tmp_path: Path, where: str, how: str
) -> None:
    from fieldfare.analysis.readings import Samples

    store = LocalStore(tmp_path)
    time = T + np.arange(100) * 60_000
    old = {"a": Samples(time, np.arange(100.0))}
    store.append("ash-lane", old)
    before = store.revisions("ash-lane")
    store.close()
    ended = subprocess.run(
        [sys.executable, "-c", DIES, str(tmp_path), where, how, str(T)], timeout=60, check=False
    )
    assert ended.returncode == 9
    assert bool(list(tmp_path.rglob("*.parquet"))) == (where == "after rename")
    store = LocalStore(tmp_path)
    got = store.read("ash-lane")["a"]
    assert np.array_equal(got.time, time)
    assert np.array_equal(got.value, np.arange(100.0))  # never acknowledged: the hot rows still count
    assert store.points("ash-lane")["a"].count == 100
    if how == "bulk":
        assert store.revisions("ash-lane") != before, "the day may have changed and must be looked at again"
    new = {"a": Samples(time[:50], np.arange(50) + 0.5)}
    assert store.append("ash-lane", new) == (0, 50, 0)
    for _ in range(2):
        assert store.read("ash-lane")["a"].value[:50].tolist() == (np.arange(50) + 0.5).tolist()
        assert store.points("ash-lane")["a"].count == 100
        store.seal(T + 100 * MS_PER_DAY)
    assert list(tmp_path.rglob("*.new")) == []


def test_readings_that_only_the_sealed_file_holds_after_a_kill_are_announced_to_readers(
    tmp_path: Path,
) -> None:
    """A bulk append cut off after its rename: its days get a new revision when the store is next opened."""
    store = LocalStore(tmp_path)
    store.close()
    ended = subprocess.run(
        [sys.executable, "-c", DIES, str(tmp_path), "after rename", "bulk", str(T)], timeout=60, check=False
    )
    assert ended.returncode == 9
    store = LocalStore(tmp_path)
    assert len(store.read("ash-lane")["a"].time) == 50
    assert set(store.revisions("ash-lane")) == {T // MS_PER_DAY}
