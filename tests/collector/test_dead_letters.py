"""Dead letters: limited, counted, listed, cleared, replayed, deleted with their home."""

import sqlite3

import pytest

from fieldfare.collector.mqtt import dead_letters
from fieldfare.collector.mqtt.decode import Message, RefusedMessage
from fieldfare.collector.mqtt.journal import FILE, Journal
from fieldfare.collector.store.local import LocalStore
from tests.services import make_site

NOW = 1_767_225_600_000
TOPIC = "fieldfare/alder-row/readings"


@pytest.fixture
def book(tmp_path):
    opened = Journal(tmp_path)
    yield opened
    opened.close()


def keep(book, *messages, site="alder-row", most=1000, most_bytes=10**9):
    given = [Message(t, p, a) for t, p, a in messages]
    with book.writing() as db:
        return dead_letters.keep(
            db, given, [RefusedMessage(i, site, f"reason {i}") for i in range(len(given))], most, most_bytes
        )


def test_a_message_is_kept_with_all_that_is_needed_to_read_it_again(book):
    keep(book, (TOPIC, b"\x00\xff bad", NOW))
    (held,) = dead_letters.held(book)
    assert held[1:] == ("alder-row", TOPIC, b"\x00\xff bad", NOW, False, "reason 0")


def test_the_same_delivery_is_kept_once_and_the_same_payload_at_another_time_again(book):
    assert keep(book, (TOPIC, b"x", NOW)) == 1
    assert keep(book, (TOPIC, b"x", NOW)) == 0
    assert keep(book, (TOPIC, b"x", NOW + 1)) == 1
    assert keep(book, (TOPIC + "/y", b"x", NOW)) == 1
    assert dead_letters.tally(book).kept == 3


def test_a_retained_message_that_comes_again_with_each_subscription_is_kept_once(book):
    with book.writing() as db:
        for arrived in (NOW, NOW + 1):
            dead_letters.keep(
                db, [Message(TOPIC, b"x", arrived, True)], [RefusedMessage(0, "alder-row", "r")], 9, 999
            )
    assert dead_letters.tally(book).kept == 1


@pytest.mark.parametrize(("most", "most_bytes"), [(10, 10**9), (10**6, 10 * (len(TOPIC) + 5))])
def test_beyond_the_limit_the_oldest_go_and_are_counted(book, most, most_bytes):
    for k in range(5):
        keep(
            book,
            *((TOPIC, b"%05d" % (k * 5 + i), NOW + k * 5 + i) for i in range(5)),
            most=most,
            most_bytes=most_bytes,
        )
    tally = dead_letters.tally(book)
    assert (tally.messages, tally.kept, tally.dropped) == (10, 25, 15)
    assert tally.bytes == 10 * (len(TOPIC) + 5)
    assert [h.payload for h in dead_letters.held(book)] == [b"%05d" % i for i in range(15, 25)]


def test_listing_is_by_site_and_in_pages(book):
    keep(book, *((TOPIC, b"%d" % i, NOW + i) for i in range(5)))
    keep(book, ("fieldfare/elm/readings", b"x", NOW), site="elm")
    first = dead_letters.held(book, "alder-row", most=3)
    rest = dead_letters.held(book, "alder-row", after=first[-1].id, most=3)
    assert [h.payload for h in (*first, *rest)] == [b"0", b"1", b"2", b"3", b"4"]
    assert dead_letters.reasons(book, "elm") == {"reason 0": 1}


def test_clearing_by_site_by_id_and_all(book):
    keep(book, *((TOPIC, b"%d" % i, NOW + i) for i in range(5)))
    keep(book, ("fieldfare/elm/readings", b"x", NOW), site="elm")
    assert dead_letters.clear(book, "elm") == 1
    assert dead_letters.clear(book, ids=[dead_letters.held(book)[0].id, 999]) == 1
    assert dead_letters.tally(book).messages == 4
    assert dead_letters.clear(book) == 4
    assert dead_letters.tally(book) == dead_letters.Tally(0, 0, 6, 0)


def test_replay_reads_what_the_mended_site_can_and_keeps_the_rest_with_a_new_reason(book, tmp_path):
    keep(
        book,
        (f"{TOPIC}/flow", b"41.5", NOW),
        (f"{TOPIC}/nope", b"1", NOW + 1),
        (TOPIC, b'[{"n":"flow","v":40},{"n":"nope","v":1}]', NOW + 2),
        ("gone/topic", b"1", NOW + 3),
    )
    store = LocalStore(tmp_path / "readings")
    done = dead_letters.replay(book, [make_site()], store, now=NOW + 10)
    assert done == dead_letters.Replayed(messages=4, readings=2, read=1, refused=3)
    assert store.read("alder-row")["flow"].time.tolist() == [NOW, NOW + 2]
    reasons = [h.reason for h in dead_letters.held(book)]
    assert "unknown point 'nope'" in reasons[0]
    assert "unknown point 'nope'" in reasons[1]
    assert "no point reads this topic" in reasons[2]
    again = dead_letters.replay(book, [make_site()], store, now=NOW + 10)
    assert again == dead_letters.Replayed(messages=3, readings=0, read=0, refused=3)


def test_replay_of_one_site_leaves_the_others(book, tmp_path):
    keep(book, (f"{TOPIC}/flow", b"41.5", NOW))
    keep(book, ("fieldfare/elm/readings/flow", b"41.5", NOW), site="elm")
    done = dead_letters.replay(
        book, [make_site(), make_site("elm")], LocalStore(tmp_path / "r"), site="elm", now=NOW
    )
    assert done.read == 1
    assert [h.site for h in dead_letters.held(book)] == ["alder-row"]


def test_a_store_that_fails_during_replay_leaves_the_messages_aside(book):
    keep(book, (f"{TOPIC}/flow", b"41.5", NOW))

    class Full:
        def append(self, site, readings):
            raise OSError(28, "No space left on device")

    with pytest.raises(OSError, match="space"):
        dead_letters.replay(book, [make_site()], Full(), now=NOW)
    assert dead_letters.tally(book).messages == 1


def test_it_survives_being_opened_twice(tmp_path):
    a, b = Journal(tmp_path), Journal(tmp_path)
    keep(a, (TOPIC, b"x", NOW))
    assert len(dead_letters.held(b)) == 1
    a.close()
    b.close()


def test_a_forgotten_site_leaves_no_dead_letter_and_no_table_of_earlier_releases(tmp_path):
    with sqlite3.connect(tmp_path / FILE) as db:
        db.execute("CREATE TABLE seen (site TEXT, point TEXT)")
        db.execute("INSERT INTO seen VALUES ('alder-row', 'flow')")
    book = Journal(tmp_path)
    tables = {name for (name,) in book.db.execute("SELECT name FROM sqlite_master WHERE type = 'table'")}
    assert "aside" in tables
    assert "seen" not in tables
    message = Message("fieldfare/alder-row/readings/flow", b"hot", NOW)
    with book.writing() as db:
        dead_letters.keep(db, [message], [RefusedMessage(0, "alder-row", "no number")], 10, 10_000)
    assert dead_letters.held(book, "alder-row")
    dead_letters.forget(book, "alder-row")
    assert not dead_letters.held(book, "alder-row")
    book.close()
