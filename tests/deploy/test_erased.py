"""Erased data are gone: from every byte of the data folder, and from later backups."""

from __future__ import annotations

import importlib.util
import os
import tarfile
import time
import zipfile
from pathlib import Path

import numpy as np
import orjson
import pytest

from fieldfare.analysis.plant.load import parse_site
from fieldfare.analysis.readings import Samples
from fieldfare.api.core.service import Service, opened
from fieldfare.api.core.settings import Settings
from fieldfare.api.http.app_state import AppState
from fieldfare.api.people.access import Actor
from fieldfare.api.people.invitations import take_in
from fieldfare.api.records.data_protection import export_home, give_consent
from fieldfare.api.records.erasure import erase_site
from tests.api.sites import readings, site_text

_spec = importlib.util.spec_from_file_location("backup", Path(__file__).parents[2] / "deploy" / "backup.py")
assert _spec is not None
assert _spec.loader is not None
backup = importlib.util.module_from_spec(_spec)
_spec.loader.exec_module(backup)
MARKS = (b"xylophone-lane", b"Xylophone Lane", b"quincy@home.example", b"Quincy Zebedee", b"E-QX-77")
FIRM = Actor("kim@heating.example", "installer", None, 1)


def lived_in(service: Service) -> AppState:
    """A home with all that can be kept about one, and a neighbour."""
    parts = AppState(service)
    for site, name in (("xylophone-lane", "Xylophone Lane"), ("elm", "Elm")):
        text = site_text(site, name)
        service.sites.add([(text, parse_site(text))])
        service.store.append(site, readings(4))
        service.results.rolling_result(service.sites.get(site), 365)
    last = np.array([1_767_960_000_000])
    service.store.append("xylophone-lane", {"fault": Samples(last, np.array(["E-QX-77"], dtype=object))})
    owner = take_in(
        parts.accounts,
        parts.audit,
        FIRM,
        "quincy@home.example",
        "Quincy Zebedee",
        "householder",
        ["xylophone-lane"],
    )
    session = parts.sign_in.open_for_person(owner.id)
    visit = parts.sign_in.live_session(session)
    assert visit is not None
    parts.audit.note_access(visit.actor, "xylophone-lane")
    give_consent(service, "xylophone-lane", "monitoring", True, visit.actor)
    parts.links.make("xylophone-lane", 30, FIRM.name)
    parts.tokens.make("gateway", "readings", "xylophone-lane", 30)
    return parts


def holding(folder: Path, mark: bytes) -> list[str]:
    return [str(p.relative_to(folder)) for p in folder.rglob("*") if p.is_file() and mark in p.read_bytes()]


def unpacked(archive: Path, into: Path) -> Path:
    with tarfile.open(archive) as tar:
        tar.extractall(into, filter="data")
    return into


@pytest.mark.parametrize("is_sealed", [False, True])
def test_what_was_erased_is_in_no_file_and_in_no_archive_that_stays(tmp_path: Path, is_sealed: bool) -> None:
    data, folder = tmp_path / "data", tmp_path / "backups"
    with opened(Settings(data=data, workers=1)) as service:
        lived_in(service)
        if is_sealed:
            service.store.seal(1_800_000_000_000)
        old = backup.backup(data, folder)
        assert [m for m in MARKS if holding(unpacked(old, tmp_path / "before"), m)]
        erase_site(service, "xylophone-lane")
        assert service.sites.ids() == ["elm"]
    left = {mark: found for mark in MARKS if (found := holding(data, mark))}
    assert left == {}
    renamed = old.with_name("fieldfare-20250101T000000.tar.gz")
    old.rename(renamed)
    new = backup.backup(data, folder, keep=1)
    assert list(folder.glob("*.tar.gz")) == [new]
    assert {m: f for m in MARKS if (f := holding(unpacked(new, tmp_path / "after"), m))} == {}


def test_an_archive_of_damaged_data_does_not_outlive_the_promise(tmp_path: Path) -> None:
    data, folder = tmp_path / "data", tmp_path / "backups"
    data.mkdir()
    (data / "a.txt").write_text("a")
    folder.mkdir()
    kept = folder / "fieldfare-20250101T000000-damaged.tar.gz"
    kept.write_bytes(b"x")
    young = time.time() - 34 * 86_400
    os.utime(kept, (young, young))
    backup.backup(data, folder, keep=1)
    assert kept.exists()
    os.utime(kept, (young - 2 * 86_400,) * 2)
    time.sleep(1.1)  # archives are named by the second
    backup.backup(data, folder, keep=1)
    assert not kept.exists()


def test_the_export_holds_everything_and_what_it_holds_is_the_home_s_alone(tmp_path: Path) -> None:
    with opened(Settings(data=tmp_path / "data", workers=1)) as service:
        lived_in(service)
        path = export_home(service, service.sites.get("xylophone-lane"))
    with zipfile.ZipFile(path) as archive:
        names = set(archive.namelist())
        text = b"".join(archive.read(name) for name in names)
        accesses = orjson.loads(archive.read("accesses.json"))
        rows = archive.read("readings.csv").count(b"\n") - 1
    path.unlink()
    assert {
        "site.toml",
        "readings.csv",
        "works.json",
        "consents.json",
        "accesses.json",
        "papers.json",
    } <= names
    assert rows == 6 * 4 * 1440 + 1
    assert any(a["who"] == "quincy@home.example" for a in accesses)
    assert b'"elm"' not in text
