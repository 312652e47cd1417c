"""Notices over a real SMTP server and HTTP receiver: sent, retried, never sent twice."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo

import pytest

from fieldfare.api.alerts.alerts import Alerts
from fieldfare.api.alerts.channels import Letter
from fieldfare.api.alerts.notices import BACK_OFF, CLAIM_LOST_AFTER, Notices
from fieldfare.api.alerts.words import not_before
from fieldfare.api.core.outgoing import Outgoing
from fieldfare.api.core.service import Service
from fieldfare.api.firm.personal_settings import PersonalSettings, keep_settings
from fieldfare.api.people.access import COMMAND_LINE
from fieldfare.api.people.accounts import Accounts
from tests.api.conftest import add_site
from tests.api.receivers import PostBox, Posted, http_receiver, smtp

LONDON = ZoneInfo("Europe/London")
NOON = datetime(2026, 1, 12, 12, tzinfo=UTC)
FROST = {
    "code": "frost_risk",
    "severity": "urgent",
    "headline": "water near freezing and no flow",
    "until": None,
    "evidence": [{"label": "coldest water", "value": 1.5, "unit": "degC", "limit": 4.0}],
    "next_step": "Ask the householder to switch the unit on.",
    "caution": "Ice can burst the heat exchanger.",
}
CYCLING = {**FROST, "code": "short_cycling", "severity": "act", "headline": "it starts too often"}


@pytest.fixture
def box() -> Iterator[PostBox]:
    with smtp() as made:
        yield made


@pytest.fixture
def posted() -> Iterator[Posted]:
    with http_receiver() as made:
        yield made


@pytest.fixture
def firm(either_service: Service) -> Service:
    add_site(either_service, "alder-row")
    accounts = Accounts(either_service.database)
    accounts.add("boss@heating.example", "Boss", "installer")
    accounts.add("kim@home.example", "Kim", "householder", ["alder-row"])
    return either_service


def notices_by_mail(service: Service, box: PostBox, **more: object) -> Notices:
    settings = replace(service.settings, mail_url=f"smtp://127.0.0.1:{box.port}", **more)
    return Notices(service.database, settings)


def alert_of(service: Service, finding: dict[str, object], now: datetime = NOON):
    alerts = Alerts(service.database)
    alerts.look("alder-row", [finding], now - timedelta(days=2))
    alerts.look("alder-row", [finding], now)
    return alerts.page(0, 1)[0][0]


def test_an_urgent_alert_is_told_at_once_and_once(firm: Service, box: PostBox) -> None:
    notices = notices_by_mail(firm, box)
    alert = alert_of(firm, FROST)
    assert notices.urgent([alert], NOON) == 1
    assert notices.urgent([alert], NOON) == 0
    assert notices.deliver(NOON) == {"sent": 1}
    assert notices.deliver(NOON) == {}
    (mail,) = box.mails
    assert mail["To"] == "boss@heating.example"
    assert mail["Subject"] == "Urgent: Alder Row: water near freezing and no flow"
    text = mail.get_payload(decode=True).decode()
    for part in ("coldest water: 1.5 degC", "Ask the householder", "Ice can burst", "/sites/alder-row"):
        assert part in text


def test_urgent_leaves_in_quiet_hours_and_the_digest_does_not(firm: Service, box: PostBox) -> None:
    notices = notices_by_mail(firm, box)
    night = datetime(2026, 1, 12, 23, 30, tzinfo=UTC)
    alert = alert_of(firm, FROST, night)
    notices.urgent([alert], night)
    notices.digest("2026-01-12", [(alert, "opened")], 1, night, LONDON)
    assert notices.deliver(night) == {"sent": 1}
    assert notices.deliver(datetime(2026, 1, 13, 6, 59, tzinfo=UTC)) == {}
    assert notices.deliver(datetime(2026, 1, 13, 7, 0, tzinfo=UTC)) == {"sent": 1}


@pytest.mark.parametrize(
    ("now", "wanted"),
    [
        ("2026-01-12T12:00", "2026-01-12T12:00"),
        ("2026-01-12T21:00", "2026-01-13T07:00"),
        ("2026-01-13T03:00", "2026-01-13T07:00"),
        ("2026-03-28T22:30", "2026-03-29T06:00"),  # clocks go forward in the night: seven is an hour earlier
        ("2026-10-24T22:30", "2026-10-25T07:00"),
    ],
)
def test_quiet_hours_end_at_the_local_hour(now: str, wanted: str) -> None:
    moment, expected = (datetime.fromisoformat(t).replace(tzinfo=UTC) for t in (now, wanted))
    assert not_before(moment, LONDON, 21, 7) == expected


def test_one_digest_for_a_morning_with_the_gravest_first(firm: Service, box: PostBox) -> None:
    notices = notices_by_mail(firm, box)
    first, second = alert_of(firm, CYCLING), alert_of(firm, FROST)
    happened = [(first, "opened"), (second, "opened"), (first, "resolved")]
    assert notices.digest("2026-01-12", happened, 1, NOON, LONDON) == 1
    assert notices.digest("2026-01-12", happened, 1, NOON, LONDON) == 0
    notices.deliver(NOON)
    (mail,) = box.mails
    text = mail.get_payload(decode=True).decode()
    assert mail["Subject"] == "1 to look at, 1 gone"
    assert text.index("URGENT") < text.index("ACT")
    assert "(gone)" in text


def test_a_quiet_morning_has_no_digest(firm: Service, box: PostBox) -> None:
    assert notices_by_mail(firm, box).digest("2026-01-12", [], 0, NOON, LONDON) == 0


def test_a_server_that_is_away_for_a_while_is_tried_again(firm: Service, box: PostBox) -> None:
    box.answers = ["451 try later", "451 try later"]
    notices = notices_by_mail(firm, box)
    notices.urgent([alert_of(firm, FROST)], NOON)
    assert notices.deliver(NOON) == {"waiting": 1}
    assert notices.deliver(NOON) == {}
    later = NOON + BACK_OFF[0]
    assert notices.deliver(later) == {"waiting": 1}
    assert notices.deliver(later + BACK_OFF[1]) == {"sent": 1}
    assert len(box.mails) == 1


def test_a_server_that_stays_away_is_given_up_and_shown(firm: Service) -> None:
    notices = Notices(firm.database, replace(firm.settings, mail_url="smtp://127.0.0.1:1"))
    notices.urgent([alert_of(firm, FROST)], NOON)
    now = NOON
    for wait in BACK_OFF:
        assert notices.deliver(now) == {"waiting": 1}
        now += wait
    assert notices.deliver(now) == {"failed": 1}
    (row,) = notices.page(0, 10)[0]
    assert (row.state, row.attempts) == ("failed", len(BACK_OFF) + 1)
    assert "refused" in row.error.lower()


def test_a_receiver_that_does_not_exist_is_not_tried_again(firm: Service, box: PostBox) -> None:
    Accounts(firm.database).add("gone@heating.example", "Gone", "engineer")
    notices = notices_by_mail(firm, box)
    notices.urgent([alert_of(firm, FROST)], NOON)
    assert notices.deliver(NOON) == {"sent": 1, "failed": 1}


def test_a_line_that_breaks_when_all_was_said_is_not_told_twice(firm: Service, box: PostBox) -> None:
    box.answers = ["cut"]
    notices = notices_by_mail(firm, box)
    notices.urgent([alert_of(firm, FROST)], NOON)
    assert notices.deliver(NOON) == {"unsure": 1}
    assert notices.deliver(NOON + timedelta(days=1)) == {}
    assert len(box.mails) == 1


def test_a_notice_whose_process_died_while_sending_is_not_sent_again(firm: Service, box: PostBox) -> None:
    def dies(letter: Letter, mail_url: str, mail_from: str, outgoing: Outgoing) -> None:
        raise KeyboardInterrupt

    settings = replace(firm.settings, mail_url=f"smtp://127.0.0.1:{box.port}")
    notices = Notices(firm.database, settings, send=dies)
    notices.urgent([alert_of(firm, FROST)], NOON)
    with pytest.raises(KeyboardInterrupt):
        notices.deliver(NOON)
    again = Notices(firm.database, settings)
    assert again.deliver(NOON + CLAIM_LOST_AFTER + timedelta(seconds=1)) == {}
    assert again.page(0, 1)[0][0].state == "unsure"
    assert box.mails == []


def test_another_channel_gets_the_same_by_http(firm: Service, posted: Posted) -> None:
    posted.statuses = [503]
    settings = replace(
        firm.settings, channels=f"json://127.0.0.1:{posted.port}/hook", internal_hosts="127.0.0.1"
    )
    notices = Notices(firm.database, settings)
    notices.urgent([alert_of(firm, FROST)], NOON)
    assert notices.deliver(NOON) == {"waiting": 1}
    assert notices.deliver(NOON + BACK_OFF[0]) == {"sent": 1}
    (body,) = posted.bodies
    assert body["title"].startswith("Urgent: Alder Row")
    assert "coldest water" in body["message"]
    assert notices.page(0, 1)[0][0].receiver == "json://..."


def test_a_month_s_letter_goes_to_the_home_s_people_alone(firm: Service, box: PostBox) -> None:
    notices = notices_by_mail(firm, box, firm="Example Heating", firm_contact="01632 960 123")
    assert notices.month("alder-row", "2025-12", NOON, LONDON) == 1
    assert notices.month("alder-row", "2025-12", NOON, LONDON) == 0
    notices.deliver(NOON)
    (mail,) = box.mails
    assert mail["To"] == "kim@home.example"
    assert mail["Subject"] == "Alder Row: your heating in December 2025"
    told = mail.get_payload(decode=True).decode()
    assert "/sites/alder-row/papers/month/2025-12" in told
    assert told.rstrip().endswith("Example Heating\n01632 960 123")


def test_people_who_want_no_notices_get_none(firm: Service, box: PostBox) -> None:
    accounts = Accounts(firm.database)
    accounts.change(accounts.find("boss@heating.example").id, notices=False)
    assert notices_by_mail(firm, box).urgent([alert_of(firm, FROST)], NOON) == 0


def test_a_headline_cannot_add_a_header(firm: Service, box: PostBox) -> None:
    notices = notices_by_mail(firm, box)
    notices.urgent([alert_of(firm, {**FROST, "headline": "cold\r\nBcc: all@heating.example"})], NOON)
    assert notices.deliver(NOON) == {"sent": 1}
    assert box.mails[0]["Bcc"] is None


def test_maintenance_keeps_alerts_from_opening(firm: Service) -> None:
    alerts = Alerts(firm.database)
    window = alerts.maintain("alder-row", NOON, NOON + timedelta(hours=4), "new cylinder", COMMAND_LINE)
    assert alerts.look("alder-row", [FROST], NOON + timedelta(hours=1)) == []
    (happened,) = alerts.look("alder-row", [FROST], NOON + timedelta(hours=5))
    assert happened.what == "opened"
    alerts.end_maintenance("alder-row", window["id"])
    assert alerts.maintenance("alder-row") == []


def set_own(service: Service, **own: object) -> None:
    person = Accounts(service.database).find("boss@heating.example").id
    keep_settings(service.database, person, PersonalSettings(**own), service.settings)


def test_each_person_is_told_what_they_asked_for(firm: Service, box: PostBox) -> None:
    """Urgent at any hour; the rest at once only for those who want it, and after their own quiet hours."""
    notices, night = notices_by_mail(firm, box), NOON.replace(hour=23)
    cycling, frost = alert_of(firm, CYCLING), alert_of(firm, FROST)
    assert (cycling.code, frost.code) == ("short_cycling", "frost_risk")
    assert notices.urgent([cycling], night, LONDON) == 0, "by default only what is urgent"
    set_own(firm, at_once=("act",), quiet_from=20, quiet_to=6)
    assert notices.urgent([frost], night, LONDON) == 0, "they asked for nothing urgent at once"
    assert notices.urgent([cycling], night, LONDON) == 1
    assert notices.deliver(night) == {}, "it waits for the end of their quiet hours"
    assert notices.deliver(night + timedelta(hours=7)) == {"sent": 1}
    set_own(firm, at_once=("urgent",), quiet_from=20, quiet_to=6)
    assert notices.urgent([frost], night, LONDON) == 1
    assert notices.deliver(night) == {"sent": 1}, "urgent notices leave at any hour"


def test_the_digest_holds_what_each_person_asked_for(firm: Service, box: PostBox) -> None:
    notices, cycling = notices_by_mail(firm, box), alert_of(firm, CYCLING)
    set_own(firm, digest=("urgent",))
    assert notices.digest("2026-01-12", [(cycling, "opened")], 1, NOON, LONDON) == 0
    set_own(firm, digest=("act",))
    assert notices.digest("2026-01-12", [(cycling, "opened")], 1, NOON, LONDON) == 1


def test_a_person_s_own_channel_is_used(firm: Service, box: PostBox, posted: Posted) -> None:
    firm.settings = replace(firm.settings, person_channels="json", internal_hosts="127.0.0.1")
    notices = notices_by_mail(firm, box)
    set_own(firm, channel=f"json://127.0.0.1:{posted.port}/alerts")
    assert notices.urgent([alert_of(firm, FROST)], NOON) == 1
    assert notices.deliver(NOON) == {"sent": 1}
    assert len(posted.bodies) == 1
    assert box.mails == []
