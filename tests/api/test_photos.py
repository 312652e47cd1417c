"""Photos: limited, re-encoded, without location data; stored, checked, exported, erased."""

from __future__ import annotations

import io
import os
import time
import zipfile
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import orjson
import pytest
from PIL import Image, ImageFile

from deploy.backup import backup, restore, verify
from fieldfare.analysis.errors import InputError
from fieldfare.api.checks.photos import (
    LARGEST_BYTES,
    LONG_SIDE,
    MOST_OF_A_SUBJECT,
    SMALL_SIDE,
    Photos,
    Subject,
    reencoded,
)
from fieldfare.api.core.service import Service
from fieldfare.api.http.app import PREFIX
from fieldfare.api.people.access import COMMAND_LINE
from fieldfare.api.records.check import check_sites
from fieldfare.api.records.data_protection import export_home
from fieldfare.api.records.erasure import erase_site
from fieldfare.api.records.maintenance_log import Job, MaintenanceLog
from fieldfare.api.records.retention import KEPT, tidy
from tests.api.test_field_forms import send
from tests.api.web import OTHER, OWN, Web, make_web
from tests.checks.pictures import bomb, photo, with_place

ID = "0123456789abcdef" * 2
NOW = datetime.now(UTC)


@pytest.fixture
def own_web(service: Service) -> Web:
    return make_web(service)


def put(web: Web, url: str, data: bytes, role: str = "engineer", **more: Any) -> Any:
    return web[role].put(f"{PREFIX}{url}", content=data, headers={"Content-Type": "image/jpeg"}, **more)


VESSEL = f"/sites/{OWN}/checks/winter/2026/items/vessel/photos"


@pytest.mark.parametrize("form", ["JPEG", "PNG", "WEBP"])
@pytest.mark.parametrize(("width", "height"), [(3000, 2000), (2000, 3000), (300, 200)])
def test_pictures_are_bounded_and_become_jpeg(form: str, width: int, height: int) -> None:
    whole, small, size = reencoded(photo(width, height, form))
    for data, side in ((whole, LONG_SIDE), (small, SMALL_SIDE)):
        picture = Image.open(io.BytesIO(data))
        assert picture.format == "JPEG"
        assert max(picture.size) == min(side, max(width, height))
        assert picture.width / picture.height == pytest.approx(width / height, abs=0.02)
    assert size == Image.open(io.BytesIO(whole)).size


def test_metadata_are_removed_and_the_picture_stands_upright() -> None:
    """EXIF orientation 6: the camera was turned a quarter to the right (EXIF 2.32, table 6)."""
    sent = with_place(640, 480, turned=6)
    assert Image.open(io.BytesIO(sent)).getexif().get_ifd(0x8825), "the test's photo tells its place"
    whole, small, size = reencoded(sent)
    assert size == (480, 640)
    for data in (whole, small):
        assert dict(Image.open(io.BytesIO(data)).getexif()) == {}
        assert b"Exif" not in data
        assert b"invented camera" not in data


def test_what_is_see_through_becomes_white() -> None:
    out = io.BytesIO()
    Image.new("RGBA", (40, 40), (0, 0, 0, 0)).save(out, "PNG")
    whole, _, _ = reencoded(out.getvalue())
    assert min(Image.open(io.BytesIO(whole)).getpixel((20, 20))) > 250  # type: ignore[type-var]


@pytest.mark.parametrize(
    ("sent", "said"),
    [
        (b"", "no picture"),
        (b"%PDF-1.7 and more", "no picture"),
        (b"<svg xmlns='http://www.w3.org/2000/svg'/>", "no picture"),
        (photo()[:900], "no picture"),
        (bomb(), "million pixels"),
        (bomb(9000, 9000), "may have 60 million pixels; this one has 81"),
        (photo(form="GIF"), "no picture"),
        (photo() + b"\0" * LARGEST_BYTES, "may have 8 MB; this one has 8.0"),
    ],
    ids=["empty", "pdf", "svg", "cut off", "bomb", "large", "gif", "too many bytes"],
)
def test_what_is_no_photo_is_told_in_one_line(
    sent: bytes, said: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(ImageFile, "LOAD_TRUNCATED_IMAGES", True)  # as the PDF library's import does
    start = time.perf_counter()
    with pytest.raises(InputError, match=said) as caught:
        reencoded(sent)
    assert "\n" not in str(caught.value)
    assert time.perf_counter() - start < 2.0, "a bomb is refused before it is decoded"


def test_a_photo_is_sent_once_and_read_by_the_home_s_people(own_web: Web) -> None:
    sent = photo(2000, 1500)
    for _ in range(2):
        answer = put(own_web, f"{VESSEL}/{ID}?taken=2026-01-05T10:00:00Z", sent)
        assert answer.status_code == 201, answer.text
    assert answer.json()["who"] == "engineer@heating.example"
    assert len(own_web.parts.photos.of_site(OWN)) == 1
    for role in ("installer", "engineer", "householder", "link"):
        for query, side in (("", LONG_SIDE), ("?small=true", SMALL_SIDE)):
            read = own_web[role].get(f"{PREFIX}/sites/{OWN}/photos/{ID}{query}")
            assert (read.status_code, read.headers["content-type"]) == (200, "image/jpeg")
            assert read.headers["X-Content-Type-Options"] == "nosniff"
            assert read.headers["Cache-Control"] == "private, no-cache"
            assert max(Image.open(io.BytesIO(read.content)).size) == side
    assert own_web["engineer"].get(f"{PREFIX}/sites/{OTHER}/photos/{ID}").status_code == 404
    assert (
        put(own_web, f"/sites/{OTHER}/checks/winter/2026/items/vessel/photos/{ID}", sent).status_code == 422
    )
    for role, code in (("householder", 403), ("link", 403), ("device", 403), ("nobody", 401)):
        assert put(own_web, f"{VESSEL}/{ID}", sent, role).status_code == code
    own_web["engineer"].headers["X-CSRF-Token"] = "guess"
    assert put(own_web, f"{VESSEL}/{'1' * 32}", sent).status_code == 403


@pytest.mark.parametrize(
    ("sent", "status"), [(b"x", 422), (bomb(), 422), (b"\xff\xd8" + b"\0" * 8_100_000, 413)]
)
def test_the_api_refuses_what_is_no_photo(own_web: Web, sent: bytes, status: int) -> None:
    answer = put(own_web, f"{VESSEL}/{ID}", sent)
    assert answer.status_code == status
    assert "\n" not in answer.json()["detail"]
    assert own_web.parts.photos.of_site(OWN) == []
    assert not list((own_web.parts.settings.data / "photos").rglob("*.jpg"))


def test_an_item_has_so_many_photos_and_no_more(own_web: Web) -> None:
    for n in range(MOST_OF_A_SUBJECT):
        assert put(own_web, f"{VESSEL}/{n:032x}", photo(seed=n + 1)).status_code == 201
    answer = put(own_web, f"{VESSEL}/{'f' * 32}", photo())
    assert (answer.status_code, "remove one first" in answer.json()["detail"]) == (422, True)
    assert own_web["engineer"].delete(f"{PREFIX}/sites/{OWN}/photos/{0:032x}").status_code == 204
    assert put(own_web, f"{VESSEL}/{'f' * 32}", photo()).status_code == 201
    assert put(own_web, f"{VESSEL.replace('vessel', 'nothing')}/{'e' * 32}", photo()).status_code == 422


def files_of(service: Service, site: str = OWN) -> list[Path]:
    return sorted((service.settings.data / "photos" / site).glob("*.jpg"))


def test_photos_of_a_job_go_by_the_form_and_stand_on_the_home_s_page(own_web: Web) -> None:
    web, jobs = own_web, f"/sites/{OWN}/works"
    client = web["engineer"]
    form = {"csrf": client.headers["X-CSRF-Token"], "day": NOW.date().isoformat(), "what": "strainer cleaned"}
    files = [
        ("photo", ("a.jpg", photo(seed=1), "image/jpeg")),
        ("photo", ("b.png", photo(form="PNG"), "image/png")),
    ]
    answer = client.post(jobs, data=form, files=files, follow_redirects=False)
    assert answer.status_code == 303
    (work,), _ = web.parts.works.page(OWN, 0, 9)
    kept = web.parts.photos.of_works(OWN)[work.id]
    assert len(kept) == 2
    page = client.get(f"/sites/{OWN}").text
    assert all(f"/api/v1/sites/{OWN}/photos/{row.id}?small=true" in page for row in kept)
    again = client.post(
        f"{jobs}/{work.id}", data=form, files=[("photo", ("c.jpg", b"no photo", "image/jpeg"))]
    )
    assert (again.status_code, "c.jpg: this is no picture" in again.text) == (422, True)
    assert f"/photos/{kept[0].id}/remove" in again.text
    wrong = client.post(jobs, data=form | {"what": ""}, files=files)
    assert (wrong.status_code, "Choose the photos again" in wrong.text) == (422, True)
    assert send(web, "householder", f"/sites/{OWN}/photos/{kept[0].id}/remove", {}).status_code == 403
    assert (
        send(web, "engineer", f"/sites/{OWN}/photos/{kept[0].id}/remove", {}, csrf="guess").status_code == 403
    )
    assert send(web, "engineer", f"/sites/{OWN}/photos/{kept[0].id}/remove", {}).status_code == 303
    assert len(files_of(web.parts.service)) == 2
    assert send(web, "engineer", f"{jobs}/{work.id}/delete", {}).status_code == 303
    assert files_of(web.parts.service) == [], "they go with their job"


def with_photos(service: Service) -> list[Path]:
    """One of an item, one of a job."""
    web = make_web(service)
    assert put(web, f"{VESSEL}/{ID}", photo(1200, 900)).status_code == 201
    work = MaintenanceLog(service).add(OWN, Job(NOW.date(), "vessel changed"), COMMAND_LINE)
    assert put(web, f"/sites/{OWN}/works/{work.id}/photos/{'a' * 32}", photo(seed=2)).status_code == 201
    return files_of(service)


def test_a_damaged_or_missing_photo_is_named(service: Service) -> None:
    files = with_photos(service)
    assert [str(d) for d in check_sites(service) if "photo" in d.what] == []
    files[0].write_bytes(files[0].read_bytes()[:-20])
    files[2].unlink()
    told = sorted(str(d) for d in check_sites(service) if "photo" in d.what)
    expected = [
        f"{OWN}: photo {files[0].name} does not match its checksum",
        f"{OWN}: photo {files[2].name} can't be read: No such file or directory",
    ]
    assert told == sorted(expected)


def test_a_backup_brings_photos_back_and_names_a_damaged_one(service: Service, tmp_path: Path) -> None:
    files = with_photos(service)
    archive = backup(service.settings.data, tmp_path / "backups")
    assert verify(archive).damage == []
    restore(archive, tmp_path / "restored")
    for path in files:
        assert (tmp_path / "restored/photos" / OWN / path.name).read_bytes() == path.read_bytes()
    files[0].write_bytes(files[0].read_bytes()[:-20])
    with pytest.raises(Exception, match=f"photos/{OWN}/{files[0].name}: cut off or written over"):
        backup(service.settings.data, tmp_path / "later")


def test_export_holds_every_photo_and_erasure_leaves_none(service: Service) -> None:
    files = with_photos(service)
    plant = service.sites.get(OWN)
    path = export_home(service, plant)
    with zipfile.ZipFile(path) as archive:
        names = set(archive.namelist())
        assert {f"photos/{ID}.jpg", f"photos/{'a' * 32}.jpg", "checks.json", "photos.json"} <= names
        assert (
            archive.read(f"photos/{ID}.jpg") == next(f for f in files if f.name == f"{ID}.jpg").read_bytes()
        )
        assert {p["id"] for p in orjson.loads(archive.read("photos.json"))} == {ID, "a" * 32}
        (sheet,) = orjson.loads(archive.read("checks.json"))
        assert next(i for i in sheet["items"] if i["id"] == "vessel")["photos"][0]["id"] == ID
    path.unlink()
    erase_site(service, OWN)
    assert not (service.settings.data / "photos" / OWN).exists()
    assert Photos(service.database, service.settings.data).of_site(OWN) == []


def test_photos_are_kept_for_their_time_and_strays_are_removed(service: Service) -> None:
    with_photos(service)
    photos = Photos(service.database, service.settings.data)
    stray, fresh = (
        files_of(service)[0].with_name("b" * 32 + ".jpg"),
        files_of(service)[0].with_name("c" * 32 + ".jpg"),
    )
    for path in (stray, fresh):
        path.write_bytes(photo())
    old = (NOW - timedelta(days=2)).timestamp()
    os.utime(stray, (old, old))
    tidy(service)
    assert (stray.exists(), fresh.exists(), len(photos.of_site(OWN))) == (False, True, 2)
    days = next(k.days for k in KEPT if k.kind == "photos")
    assert days is not None
    assert photos.remove_before(NOW + timedelta(days=1)) == 2
    assert files_of(service) == [fresh]


def test_two_that_send_the_same_at_once_keep_one(service: Service) -> None:
    from concurrent.futures import ThreadPoolExecutor

    make_web(service)
    work = MaintenanceLog(service).add(OWN, Job(NOW.date(), "vessel changed"), COMMAND_LINE)
    photos = Photos(service.database, service.settings.data)
    with ThreadPoolExecutor(4) as pool:
        rows = list(
            pool.map(lambda n: photos.add(OWN, ID, Subject(work=work.id), photo(seed=n), NOW, "x"), range(8))
        )
    assert {row.id for row in rows} == {ID}
    assert photos.damage(OWN) == []
