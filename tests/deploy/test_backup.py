"""A backup taken while readings come in restores to a sound folder; a damaged one is told."""

import hashlib
import importlib.util
import io
import json
import shutil
import signal
import sqlite3
import subprocess
import sys
import tarfile
import threading
import time
from pathlib import Path

import numpy as np
import pytest

from fieldfare.analysis.readings import MS_PER_DAY, Samples
from fieldfare.api.core.service import opened
from fieldfare.api.core.settings import Settings
from fieldfare.collector.store.local import LocalStore

SCRIPT = Path(__file__).parents[2] / "deploy" / "backup.py"
_spec = importlib.util.spec_from_file_location("backup", SCRIPT)
backup = importlib.util.module_from_spec(_spec)
_spec.loader.exec_module(backup)
T = 1_767_225_600_000


def run(*args):
    return subprocess.run(
        [sys.executable, str(SCRIPT), *map(str, args)], capture_output=True, text=True, timeout=120
    )


def filled(folder):
    store = LocalStore(folder / "readings")
    times = T + np.arange(25_000, dtype=np.int64) * 60_000
    store.append("alder-row", {"flow": Samples(times, np.arange(25_000) * 1.0)})
    with sqlite3.connect(folder / "state.sqlite") as db:
        db.execute("PRAGMA journal_mode = WAL")
        db.execute("CREATE TABLE t (x)")
        db.execute("INSERT INTO t VALUES (7)")
    db.close()
    return store


def test_nothing_is_restored_under_a_running_process(tmp_path):
    data = tmp_path / "data"
    with opened(Settings(data=data)):
        archive = Path(run("backup", data, tmp_path / "backups").stdout.strip())
        with opened(Settings(data=data)):
            pass  # a command that ends leaves the mark of the service alone
        data.rename(tmp_path / "moved")
        done = run("restore", archive, data)
        assert done.returncode == 1
        assert done.stderr.startswith(f"{data} is in use: stop the service")
        assert not data.exists()
        assert run("restore", archive, tmp_path / "trial").returncode == 0
    assert run("restore", archive, data).returncode == 0


def test_what_was_appended_before_a_backup_is_in_it_though_writing_and_sealing_go_on(tmp_path):
    data, count = tmp_path / "data", 0
    data.mkdir()
    store, stop, firm = filled(data), threading.Event(), [0]

    def write():
        at = T + 20 * MS_PER_DAY
        while not stop.is_set():
            times = at + np.arange(50, dtype=np.int64)
            store.append("alder-row", {"rate": Samples(times, times % 7 * 1.0)})
            at += 6 * 3_600_000
            firm[0] += 50
            if firm[0] % 500 == 0:
                store.seal(at)

    writer = threading.Thread(target=write)
    writer.start()
    try:
        archives = []
        for _ in range(3):
            while firm[0] < count + 500:
                pass
            count = firm[0]
            archives.append((backup.backup(data, tmp_path / f"out{count}"), count))
    finally:
        stop.set()
        writer.join(30)
    store.close()
    for number, (archive, least) in enumerate(archives):
        target = tmp_path / f"back{number}"
        assert run("restore", archive, target).returncode == 0
        restored = LocalStore(target / "readings")
        assert restored.points("alder-row")["flow"].count == 25_000
        rate = restored.read("alder-row")["rate"]
        assert len(rate.time) >= least
        assert len(rate.time) % 50 == 0
        np.testing.assert_array_equal(rate.value, rate.time % 7)
        with sqlite3.connect(target / "state.sqlite") as db:
            assert db.execute("SELECT x FROM t").fetchall() == [(7,)]
        restored.close()


@pytest.fixture
def archive(tmp_path):
    data = tmp_path / "data"
    data.mkdir()
    filled(data).close()
    return backup.backup(data, tmp_path / "out")


def test_verify_counts_the_files(archive):
    done = run("verify", archive)
    assert done.returncode == 0
    assert "no damage" in done.stdout


def test_a_cut_off_archive_is_told(archive, tmp_path):
    short = tmp_path / "short.tar.gz"
    short.write_bytes(archive.read_bytes()[:-2000])
    done = run("restore", short, tmp_path / "new")
    assert done.returncode == 1
    assert "not a complete backup" in done.stderr
    assert not (tmp_path / "new").exists()


def test_a_changed_byte_in_a_file_is_told(archive, tmp_path):
    unpacked = tmp_path / "unpacked"
    with tarfile.open(archive) as tar:
        tar.extractall(unpacked, filter="data")
    victim = next((unpacked / "data").rglob("*.parquet"))
    raw = bytearray(victim.read_bytes())
    raw[len(raw) // 2] ^= 1
    victim.write_bytes(raw)
    bad = tmp_path / "bad.tar.gz"
    with tarfile.open(bad, "w:gz") as tar:
        for path in sorted(unpacked.iterdir()):
            tar.add(path, arcname=path.name)
    done = run("verify", bad)
    assert done.returncode == 1
    assert "parquet is damaged" in done.stderr


def test_restore_overwrites_nothing(archive, tmp_path):
    (tmp_path / "new").mkdir()
    (tmp_path / "new" / "file").write_text("mine")
    done = run("restore", archive, tmp_path / "new")
    assert done.returncode == 1
    assert "not empty" in done.stderr
    assert (tmp_path / "new" / "file").read_text() == "mine"


def test_only_the_newest_are_kept(tmp_path):
    data, out = tmp_path / "data", tmp_path / "out"
    data.mkdir()
    (data / "a").write_text("x")
    out.mkdir()
    for day in range(1, 5):
        (out / f"fieldfare-2026010{day}T000000.tar.gz").write_text("old")
    (out / "other.tar.gz").write_text("not ours")
    made = run("backup", data, out, "--keep", "2").stdout.strip()
    assert sorted(p.name for p in out.iterdir()) == sorted(
        ["fieldfare-20260104T000000.tar.gz", Path(made).name, "other.tar.gz"]
    )


def test_a_missing_folder_is_told(tmp_path):
    done = run("backup", tmp_path / "nope", tmp_path / "out")
    assert done.returncode == 1
    assert "no such folder" in done.stderr


def test_a_backup_that_fails_leaves_no_half_archive(tmp_path, monkeypatch):
    data, out = tmp_path / "data", tmp_path / "out"
    data.mkdir()
    (data / "a").write_text("x")
    monkeypatch.setattr(backup, "verify", lambda _: (_ for _ in ()).throw(backup.BackupError("damaged")))
    with pytest.raises(backup.BackupError):
        backup.backup(data, out)
    assert list(out.iterdir()) == []
    shutil.rmtree(out)


def month_of(data):
    return next((data / "readings" / "sealed").rglob("*.parquet"))


def flip(data):
    raw = bytearray(month_of(data).read_bytes())
    raw[len(raw) // 3] ^= 1
    month_of(data).write_bytes(raw)


DAMAGES = {
    "flipped bit": flip,
    "cut off month": lambda data: month_of(data).write_bytes(month_of(data).read_bytes()[:-50]),
    "empty month": lambda data: month_of(data).write_bytes(b""),
    "database written over": lambda data: (data / "state.sqlite").write_bytes(b"junk" * 4000),
    "database cut off": (
        lambda data: (data / "state.sqlite").write_bytes((data / "state.sqlite").read_bytes()[:5000])
    ),
    "lost database": lambda data: (data / "readings" / "hot.sqlite").unlink(),
}


# The others differ in what is damaged, not in what the backup does.
AT_ONCE = ("flipped bit", "database cut off", "lost database")


@pytest.mark.parametrize(
    "damage", [pytest.param(d, marks=() if d in AT_ONCE else pytest.mark.slow) for d in DAMAGES]
)
def test_a_backup_of_damaged_data_says_so_and_removes_no_whole_one(tmp_path, damage):
    data, out = tmp_path / "data", tmp_path / "out"
    data.mkdir()
    filled(data).close()
    with sqlite3.connect(data / "state.sqlite") as db:
        db.executemany("INSERT INTO t VALUES (?)", [(n,) for n in range(5000)])
        db.commit()
        db.execute("PRAGMA wal_checkpoint(TRUNCATE)")
    db.close()
    whole = backup.backup(data, out)
    DAMAGES[damage](data)
    for side in ("-wal", "-shm"):
        (data / f"state.sqlite{side}").unlink(missing_ok=True)
    time.sleep(1.1)  # archives are named by the second
    done = run("backup", data, out, "--keep", "1")
    assert done.returncode == 1
    assert "the data are damaged" in done.stderr
    assert len(done.stderr.strip().splitlines()) == 1
    (kept,) = out.glob("*-damaged.tar.gz")
    assert whole.exists()
    assert "the data are damaged" in run("verify", kept).stderr
    assert run("verify", whole).returncode == 0
    time.sleep(1.1)
    run("backup", data, out, "--keep", "1")
    assert len(list(out.glob("*-damaged.tar.gz"))) == 1
    assert whole.exists()


def test_archives_and_what_is_restored_are_the_owners_alone(tmp_path):
    data, out = tmp_path / "data", tmp_path / "out"
    data.mkdir()
    filled(data).close()
    made = Path(run("backup", data, out).stdout.strip())
    assert out.stat().st_mode & 0o077 == 0
    assert made.stat().st_mode & 0o077 == 0


@pytest.mark.filterwarnings(
    "ignore:Python 3.14 will:DeprecationWarning"
)  # of a newer Python that acts as one
def test_an_older_python_restores_the_same_and_nothing_outside(archive, tmp_path, monkeypatch):
    """Debian 12's Python 3.11.2 has no filters for archives."""
    monkeypatch.delattr(tarfile, "data_filter", raising=False)
    assert backup.restore(archive, tmp_path / "again") > 0
    assert (tmp_path / "again" / "state.sqlite").is_file()
    with tarfile.open(tmp_path / "evil.tar.gz", "w:gz") as evil:
        evil.add(SCRIPT, "../outside.py")
    with pytest.raises(backup.BackupError, match="no plain file inside"):
        backup.verify(tmp_path / "evil.tar.gz")
    assert not (tmp_path / "outside.py").exists()


def test_what_a_killed_run_left_is_removed_by_the_next_one(tmp_path):
    """It holds the data of households, which an erasure promises to be gone."""
    data, out = tmp_path / "data", tmp_path / "out"
    data.mkdir()
    filled(data).close()
    killed = (
        "import importlib.util, os, signal;"
        f" spec = importlib.util.spec_from_file_location('b', {str(SCRIPT)!r});"
        " b = importlib.util.module_from_spec(spec); spec.loader.exec_module(b);"
        " b.verify = lambda _: os.kill(os.getpid(), signal.SIGKILL);"
        f" b.backup(b.Path({str(data)!r}), b.Path({str(out)!r}))"
    )
    assert subprocess.run([sys.executable, "-c", killed], timeout=60).returncode == -signal.SIGKILL
    left = list(out.iterdir())
    assert [path.name[:19] for path in left] == [".fieldfare-scratch-"]
    assert list(left[0].glob("*.tar.gz"))
    with backup._scratch(out) as in_use:
        made = Path(run("backup", data, out).stdout.strip())
        assert set(out.iterdir()) == {made, in_use}
    assert list(out.iterdir()) == [made]


def link(archive, kind, name, target):
    entry = tarfile.TarInfo(name)
    entry.type, entry.linkname = kind, target
    archive.addfile(entry)


def text(archive, name, content):
    entry = tarfile.TarInfo(name)
    entry.size = len(content)
    archive.addfile(entry, io.BytesIO(content))


MANIFEST_OF_ONE = json.dumps({"files": {"a": hashlib.sha256(b"x").hexdigest()}}).encode()
HOSTILE = {
    "link inside": (lambda t: link(t, tarfile.SYMTYPE, "data/b", "../elsewhere"), "no plain file"),
    "link outside": (lambda t: link(t, tarfile.SYMTYPE, "data/b", "/etc/passwd"), "no plain file"),
    "hard link": (lambda t: link(t, tarfile.LNKTYPE, "data/b", "data/a"), "no plain file"),
    "device": (lambda t: link(t, tarfile.CHRTYPE, "data/b", ""), "no plain file"),
    "pipe": (lambda t: link(t, tarfile.FIFOTYPE, "data/b", ""), "no plain file"),
    "absolute name": (lambda t: text(t, "/data/b", b"y"), "no plain file"),
    "name above": (lambda t: text(t, "data/../../b", b"y"), "no plain file"),
    "file that no manifest lists": (lambda t: text(t, "data/b", b"y"), "in it, but not in its manifest"),
    "manifest of a list": (lambda t: text(t, "manifest.json", b'{"files": [1]}'), "not a complete backup"),
    "manifest of depth": (lambda t: text(t, "manifest.json", b"[" * 200_000), "not a complete backup"),
    "manifest of a number": (lambda t: text(t, "manifest.json", b"1"), "not a complete backup"),
    "name in the manifest": (
        lambda t: text(t, "manifest.json", json.dumps({"files": {"../../x": "0"}}).encode()),
        "is damaged or missing",
    ),
}


@pytest.mark.parametrize("name", HOSTILE)
@pytest.mark.parametrize("has_filters", [True, False])
def test_a_hostile_archive_is_refused_and_puts_nothing_in_place(tmp_path, monkeypatch, name, has_filters):
    if not has_filters:
        monkeypatch.delattr(tarfile, "data_filter", raising=False)
    make, said = HOSTILE[name]
    with tarfile.open(tmp_path / "evil.tar.gz", "w:gz") as archive:
        text(archive, "data/a", b"x")
        text(archive, "manifest.json", MANIFEST_OF_ONE)
        make(archive)
    inside = tmp_path / "inside"
    inside.mkdir()
    with pytest.raises(backup.BackupError, match=said):
        backup.restore(tmp_path / "evil.tar.gz", inside / "data")
    assert list(inside.iterdir()) == []
    assert {path.name for path in tmp_path.iterdir()} == {"evil.tar.gz", "inside"}
