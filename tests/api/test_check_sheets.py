"""Entries of a check: stored once per field, conflicts, signature, comparison with the last check."""

from __future__ import annotations

import secrets
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from typing import Any

import pytest

from fieldfare.analysis.errors import InputError, SiteError
from fieldfare.analysis.reports.checklists import (
    TITLES,
    as_read,
    items_for,
    number_of,
    parse_items,
)
from fieldfare.api.checks.lists import (
    EXAMPLE,
    FILE,
    keep_own,
    lists_trouble,
    own_items,
    parse_own,
)
from fieldfare.api.checks.photos import Photos
from fieldfare.api.checks.sheets import (
    MOST_NOTE,
    FieldChange,
    SheetKey,
    Sheets,
)
from fieldfare.api.core.service import Service
from fieldfare.api.people.access import Actor
from fieldfare.api.records.maintenance_log import MaintenanceLog
from fieldfare.dashboards.checks.lists import built_in, entered_by
from tests.api.conftest import add_site

KIM, SAM = Actor("kim@heating.example", "engineer", None), Actor("sam@heating.example", "engineer", None)
WINTER = SheetKey("winter", "2026")


def change(item: str, field: str, value: str, was: str = "", **more: Any) -> FieldChange:
    return FieldChange(more.get("id") or secrets.token_hex(16), item, field, value, was, datetime.now(UTC))


class Here:
    """Sheets of one home."""

    def __init__(self, service: Service) -> None:
        add_site(service, "alder-row")
        self.service, self.plant = service, service.sites.get("alder-row")
        self.sheets = Sheets(service, Photos(service.database, service.settings.data))

    def apply(self, *changes: FieldChange, who: Actor = KIM, key: SheetKey = WINTER) -> list[tuple[str, str]]:
        return [(o.told, o.value) for o in self.sheets.apply(self.plant, key, changes, who)]

    def item(self, name: str, key: SheetKey = WINTER) -> dict[str, Any]:
        return next(i for i in self.sheets.read(self.plant, key)["items"] if i["id"] == name)

    def answer_all(self, key: SheetKey) -> None:
        items = self.sheets.read(self.plant, key)["items"]
        self.apply(*(change(i["id"], "state", "done") for i in items if not i["state"]), key=key)

    def sign(self, key: SheetKey) -> int:
        work = MaintenanceLog(self.service).sign_check(
            "alder-row", datetime.now(UTC).date(), key.kind, key.period, "all well", [], KIM
        )
        self.sheets.sign(self.plant, key, work.id)
        return work.id


@pytest.fixture
def here(either_service: Service) -> Here:
    return Here(either_service)


def test_a_change_is_kept_once_however_often_it_is_sent(here: Here) -> None:
    one = change("vessel", "note", "gas side dry")
    assert here.apply(one, one) == [("kept", ""), ("kept", "")]
    assert here.apply(one) == [("kept", "")]
    two = change("vessel", "note", "gas side dry, valve cap new", "gas side dry")
    here.apply(two)
    assert here.apply(one) == [("kept", "")], "an old one that comes again changes nothing"
    assert here.item("vessel")["note"] == two.value
    history = here.sheets.all_of(here.plant)[0]["changes"]
    assert [c["value"] for c in history] == [one.value, two.value]
    other = change("strainer", "note", "x", id=one.id)
    assert here.apply(other)[0][0] == "refused"


def test_a_conflict_is_of_one_field_and_says_who_and_when(here: Here) -> None:
    here.apply(change("pressure", "found.cold", "1.8"), who=SAM)
    mine = change("pressure", "found.cold", "1.2")
    (told,) = here.sheets.apply(here.plant, WINTER, [mine], KIM)
    assert (told.told, told.value, told.who) == ("conflict", "1.8", SAM.name)
    assert told.at is not None
    assert abs((datetime.now(UTC) - told.at).total_seconds()) < 60
    assert (
        here.apply(change("pressure", "found.hot", "2.0"), change("pressure", "found.cold", "1.8"))
        == [("kept", "")] * 2
    )
    assert here.apply(change("pressure", "found.cold", "1.2", "1.8")) == [("kept", "")]
    assert [f["value"] for f in here.item("pressure")["found"]] == ["1.2", "2.0"]


@pytest.mark.parametrize(
    ("item", "field", "value", "said"),
    [
        ("nothing", "state", "done", "no item"),
        ("vessel", "state", "perhaps", "none of"),
        ("vessel", "found.hot", "1", "no field"),
        ("vessel", "note", "x" * (MOST_NOTE + 1), "at most"),
        ("vessel", "note", "a\x00b", "control characters"),
        ("backup_heater", "state", "done", "no item"),
    ],
)
def test_what_can_t_be_kept_is_told_in_one_line(
    here: Here, item: str, field: str, value: str, said: str
) -> None:
    """The invented home has no back-up heater's meter, so its sheet has no such item."""
    (told,) = here.sheets.apply(here.plant, WINTER, [change(item, field, value)], KIM)
    assert told.told == "refused"
    assert said in told.why
    assert "\n" not in told.why


def test_a_half_typed_number_is_kept_and_one_that_can_t_be_right_isn_t_signed(here: Here) -> None:
    assert here.apply(change("pressure", "found.cold", "1.")) == [("kept", "")]
    here.apply(change("pressure", "found.cold", "18", "1."))
    here.answer_all(WINTER)
    _, problems = here.sheets.signing(here.plant, WINTER)
    assert problems == [
        "Circuit pressure read cold and at heating temperature, Cold: 18 bar can't be right; "
        "expected at least 0 and at most 6 bar."
    ]
    here.apply(change("pressure", "found.cold", "1,8", "18"))
    assert here.sheets.signing(here.plant, WINTER)[1] == []


def test_a_signed_sheet_stays_as_it_was_signed(here: Here) -> None:
    here.answer_all(WINTER)
    here.apply(change("pressure", "found.cold", "1,5"))
    work = here.sign(WINTER)
    before = here.sheets.read(here.plant, WINTER)
    assert (before["work"], before["signed"] is not None) == (work, True)
    assert here.apply(change("vessel", "note", "late"))[0][0] == "signed"
    keep_own(here.service.settings, EXAMPLE)
    assert here.sheets.read(here.plant, WINTER)["items"] == before["items"], (
        "new items of the firm change no signed sheet"
    )
    MaintenanceLog(here.service).remove("alder-row", work, KIM)
    assert here.sheets.read(here.plant, WINTER)["signed"] is None
    assert here.apply(change("vessel", "note", "late")) == [("kept", "")]
    assert here.item("meter_reading")["state"] == ""


def test_an_entry_has_the_time_of_its_making_where_the_device_s_clock_can_be_right(here: Here) -> None:
    now = datetime.now(UTC)
    for ago, kept in ((timedelta(days=2), True), (timedelta(days=400), False), (-timedelta(days=1), False)):
        made = replace(change("vessel", "note", f"{ago}", here.item("vessel")["note"]), typed=now - ago)
        assert here.apply(made) == [("kept", "")]
        at = datetime.fromisoformat(here.item("vessel")["at"])
        assert (at == made.typed) is kept
        assert kept or abs((at - now).total_seconds()) < 60
    entry = here.item("vessel") | {"at": "2026-01-20T23:30:00+00:00"}
    signer = {"who": entry["who"], "day": "2026-01-20"}
    assert entered_by(entry, signer, "Europe/London") == ""
    assert entry["who"] in entered_by(entry, signer, "Europe/Berlin"), "there it was the next day"
    assert entered_by(entry, signer | {"who": "Sam"}, "Europe/London")


def test_found_values_are_shown_beside_the_last_time_s_of_any_list(here: Here) -> None:
    first = SheetKey("commissioning", "first")
    here.answer_all(first)
    here.apply(change("pressure", "found.cold", "1,5"), change("pressure", "note", "new"), key=first)
    assert here.item("pressure")["last"] is None, "what is not signed is nothing to compare with"
    here.sign(first)
    last = here.item("pressure")["last"]
    assert (last["kind"], last["state"], last["values"], last["note"]) == (
        "commissioning",
        "done",
        {"cold": "1.5"},
        "new",
    )
    service = SheetKey("service", "2027")
    here.answer_all(service)
    here.apply(change("pressure", "found.cold", "1.1"), key=service)
    here.sign(service)
    assert here.item("pressure")["last"]["values"] == {"cold": "1.1"}
    assert here.item("pressure", service)["last"]["values"] == {"cold": "1.5"}, (
        "a signed one keeps what it was compared with"
    )


@pytest.mark.parametrize(
    ("kind", "period"),
    [("winter", "first"), ("winter", "26"), ("service", "1066"), ("commissioning", "2026")],
)
def test_a_period_is_a_year_or_first(kind: str, period: str) -> None:
    with pytest.raises(InputError, match="the period of this check is"):
        SheetKey(kind, period)  # type: ignore[arg-type]


def test_the_built_in_lists_are_whole(here: Here) -> None:
    items = built_in()
    for kind in TITLES:
        assert len(items_for(items, kind, here.plant.site)) >= 10
    everything = " ".join(i.cautions(here.plant.site) for i in items)
    for danger in (
        "Mains voltage",
        "under pressure",
        "Scald",
        "Legionella",
        "Antifreeze may be poisonous",
        "licensed",
    ):
        assert danger in everything
    assert {f.unit for i in items for f in i.found} >= {"bar", "%", "°C", "m3/h"}


WRONG = """\
[[item]]
id = "snow_cover"
lists = ["wintr"]
title = "Roof"
[[item]]
id = "Meter Read"
lists = ["winter"]
title = "Meter read"
colour = "red"
[[item]]
id = "strainer_2"
lists = ["winter"]
title = "Second strainer"
take_care = ["dragons"]
[[item]]
id = "valve"
lists = ["winter"]
title = "Valve"
[[item.found]]
id = "turns"
name = "Turns"
low = 4
high = 1
"""


def test_each_mistake_in_the_firm_s_list_is_one_clear_line() -> None:
    with pytest.raises(SiteError) as caught:
        parse_own(WRONG)
    told = [str(p) for p in caught.value.problems]
    assert len(told) == 5
    for line, said in zip(
        told,
        (
            ("item 1 (snow_cover), lists 1", "'wintr' is none of winter, service, commissioning"),
            ("item 2 (Meter Read), id", "use up to 31 of a to z, digits and _"),
            ("item 2 (Meter Read), colour", "unknown key"),
            ("item 3 (strainer_2)", "no caution 'dragons'; choose from"),
            ("item 4 (valve), found 1 (turns)", "low must be below high, got 4 and 1"),
        ),
        strict=True,
    ):
        assert all(part in line for part in said), line
        assert "\n" not in line
    for text, said in (
        ("[[item]\n", "TOML"),
        ('[[item]]\nid = "strainer"\nlists = ["winter"]\ntitle = "x"\n', "used already"),
        ("x = 1", "unknown key"),
    ):
        with pytest.raises(SiteError, match=said):
            parse_own(text)


def test_a_wrong_file_leaves_the_sheets_in_use_and_is_told(here: Here) -> None:
    settings = here.service.settings
    assert [i.id for i in keep_own(settings, EXAMPLE)] == ["snow_cover", "meter_reading"]
    assert here.item("meter_reading")["title"] == "Electricity meter read"
    with pytest.raises(SiteError):
        keep_own(settings, WRONG)
    assert len(own_items(settings)) == 2, "the kept file is unchanged"
    (settings.data / FILE).write_text(WRONG)
    assert own_items(settings) == ()
    assert len(lists_trouble(settings)) == 5
    assert here.item("vessel")["state"] == ""


@pytest.mark.parametrize(
    ("text", "value"),
    [
        ("1.5", 1.5),
        (" 1,5 ", 1.5),
        ("-12", -12.0),
        ("\u221212", -12.0),
        ("1.", 1.0),
        ("", None),
        ("abc", None),
        ("nan", None),
        ("1e99", None),
    ],
)
def test_numbers_are_read_as_people_type_them(text: str, value: float | None) -> None:
    assert number_of(text) == value


def test_ids_are_unique_and_items_of_both_files_go_together() -> None:
    ids = [i.id for i in built_in()]
    assert len(ids) == len(set(ids))
    assert parse_items("", "empty.toml") == ()


@pytest.mark.parametrize(
    ("text", "unit", "shown"),
    [("0,9 bar", "bar", "0.9"), ("62°C", "°C", "62"), ("1.2 m3/h", "m3/h", "1.2"), ("5 kg", "bar", "5 kg")],
)
def test_a_unit_may_stand_behind_its_number(text: str, unit: str, shown: str) -> None:
    assert as_read(text, unit) == shown
    assert (number_of(text, unit) is None) is (shown == text)
