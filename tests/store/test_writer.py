"""When rows are committed, in what groups, and when their tokens come back."""

import sqlite3
from pathlib import Path

import pytest

from gillhouse.clock import SystemClock, VirtualClock
from gillhouse.core.edges import StoreSettings
from gillhouse.core.inputs import Act, Due, Link, LinkChange, OperatorAction, Reading, Started
from gillhouse.core.instant import Instant
from gillhouse.core.outputs import AlarmNotice, Event, EventKind, Transition
from gillhouse.core.readings import GOOD
from gillhouse.store.reader import Reader
from gillhouse.store.rows import (
    AlarmRow,
    ConfigRow,
    CounterRow,
    EventRow,
    InputRow,
    MetaRow,
    OutboxRow,
    OutboxUpdate,
    ReadingRow,
    SegmentRow,
    SeriesRow,
)
from gillhouse.store.schema import MIGRATIONS
from servers import wait_until
from store.kept import T0_MS, Noted, command, reading, seqs, writing


def settle(kept: Noted) -> None:
    wait_until(kept.writer.settled, 5, "the writer at rest")


def test_plain_readings_wait_for_their_group(tmp_path: Path) -> None:
    clock = VirtualClock(T0_MS)
    with writing(tmp_path / "journal.db", clock) as kept:
        settle(kept)
        for seq in range(1, 11):
            kept.writer.put(reading(seq, token=seq))
            clock.advance_to(seq * 900)
            settle(kept)
        assert kept.writer.commits == 0
        assert kept.tokens == []
        assert clock.next_wake_ms() == 10_000
        clock.advance_to(10_000)
        settle(kept)
        assert kept.writer.commits == 1
        assert kept.tokens == list(range(1, 11))
        assert clock.next_wake_ms() is None
    assert seqs(tmp_path / "journal.db") == list(range(1, 11))


def test_the_group_of_the_next_reading_begins_with_it(tmp_path: Path) -> None:
    clock = VirtualClock(T0_MS)
    with writing(tmp_path / "journal.db", clock, StoreSettings(commit_every_ms=4_000)) as kept:
        kept.writer.put(reading(1))
        settle(kept)
        clock.advance_to(4_000)
        settle(kept)
        clock.advance_to(7_000)
        kept.writer.put(reading(2))
        settle(kept)
        assert clock.next_wake_ms() == 11_000


URGENT = [
    command(2),
    AlarmRow(2, T0_MS, AlarmNotice("a:b", "a", 1, Transition.ACT, 1, "B", True, "tent")),
    InputRow(2, Instant(T0_MS, 0), OperatorAction(Act.NOTE, "tent", "anna", "hosed")),
    InputRow(2, Instant(T0_MS, 0), Started("0.1", "d", True)),
    SegmentRow(2, Instant(T0_MS, 0), "d", "0.1", "start", {}),
    ConfigRow("d", T0_MS, {"farm.yaml": "farm: x"}),
    OutboxRow(1, T0_MS, "mail", "s", "t", T0_MS),
    OutboxUpdate(1, 1, T0_MS, None, T0_MS),
]
PATIENT = [
    command(2, renewal=True),
    EventRow(2, T0_MS, Event(EventKind.DUE, "mist", "tent")),
    InputRow(2, Instant(T0_MS, 0), Due("mist", T0_MS)),
    InputRow(2, Instant(T0_MS, 0), LinkChange(Link.BROKER, False)),
    OutboxUpdate(1, 1, T0_MS, "451 try later"),
    CounterRow("rejected", "tent-1", 1),
    SeriesRow("tent-1", "humidity", "%", "tent", "middle"),
    MetaRow("checkpoint", {"a": 1}),
]


@pytest.mark.parametrize("entry", URGENT, ids=lambda entry: type(entry).__name__)
def test_what_matters_is_committed_at_once_with_all_that_waits(tmp_path: Path, entry: object) -> None:
    clock = VirtualClock(T0_MS)  # stands still: only urgency commits
    with writing(tmp_path / "journal.db", clock) as kept:
        kept.writer.put(reading(1, token="one"))
        settle(kept)
        assert kept.tokens == []
        kept.writer.put(entry)  # type: ignore[arg-type]
        settle(kept)
        assert kept.tokens == ["one"]
        assert kept.writer.commits == 1


@pytest.mark.parametrize("entry", PATIENT, ids=lambda entry: type(entry).__name__)
def test_the_rest_waits(tmp_path: Path, entry: object) -> None:
    with writing(tmp_path / "journal.db", VirtualClock(T0_MS)) as kept:
        kept.writer.put(reading(1, token="one"))
        kept.writer.put(entry)  # type: ignore[arg-type]
        settle(kept)
        assert kept.writer.commits == 0


def test_readings_the_broker_waits_for_are_committed_early(tmp_path: Path) -> None:
    """Debian's mosquitto stops at 20 unanswered messages (mosquitto.conf(5), max_inflight_messages)."""
    with writing(tmp_path / "journal.db", VirtualClock(T0_MS)) as kept:
        kept.writer.put(*(reading(seq, token=seq) for seq in range(1, 15)))
        settle(kept)
        assert kept.writer.commits == 0
        kept.writer.put(reading(15, token=15))
        settle(kept)
        assert kept.tokens == list(range(1, 16))
        kept.writer.set_unacked_limit(750)
        kept.writer.put(*(reading(seq, token=seq) for seq in range(16, 765)))
        settle(kept)
        assert kept.writer.commits == 1
        kept.writer.put(reading(765, token=765))
        settle(kept)
        assert kept.tokens == list(range(1, 766))
        assert kept.writer.commits == 2


def test_a_message_without_a_reading_is_answered_in_its_turn(tmp_path: Path) -> None:
    """MQTT 3.1.1, 4.6: answers go out in the order the messages came."""
    with writing(tmp_path / "journal.db", VirtualClock(T0_MS)) as kept:
        settle(kept)
        kept.writer.release_after("before")
        assert kept.tokens == ["before"]  # nothing waits, so nothing to wait for
        kept.writer.put(reading(1, token="reading"))
        kept.writer.release_after("after")
        settle(kept)
        assert kept.tokens == ["before"]
        assert kept.writer.flush()
        wait_until(lambda: kept.tokens == ["before", "reading", "after"])
        for place in range(14):
            kept.writer.release_after(place)
        assert kept.tokens[3:] == list(range(14))


def test_many_messages_without_a_reading_do_not_stop_the_broker(tmp_path: Path) -> None:
    with writing(tmp_path / "journal.db", VirtualClock(T0_MS)) as kept:
        kept.writer.put(reading(1, token=1))
        for place in range(2, 16):
            kept.writer.release_after(place)
        settle(kept)
        assert kept.tokens == list(range(1, 16))


def test_an_hour_of_readings_takes_one_sync_a_group(tmp_path: Path) -> None:
    """3 readings a second, commits every 10 s: 360 groups in the hour, counted in SQLite's log too."""
    path = tmp_path / "journal.db"
    clock = VirtualClock(T0_MS)
    with writing(path, clock) as kept:
        kept.writer.set_unacked_limit(750)
        seq = 0
        for second in range(3600):
            for _ in range(3):
                seq += 1
                kept.writer.put(reading(seq, token=seq))
            clock.advance_to((second + 1) * 1000)
            if clock.now().mono_ms % 10_000 == 0:
                settle(kept)
        assert kept.writer.commits == pytest.approx(360, abs=1)
        assert len(kept.tokens) >= 360 * 30 - 30
        assert int(wal_commits(path)) <= kept.writer.commits + len(MIGRATIONS) + 1  # opening and marks


def wal_commits(path: Path) -> int:
    """Commit frames in the write-ahead log. Source: SQLite file format, section 4.1 (WAL frame header:
    bytes 4-7 hold the size of the database after a commit, 0 for other frames)."""
    log = path.with_name(path.name + "-wal").read_bytes()
    page = int.from_bytes(log[8:12], "big")
    salt = log[16:24]
    frames = range(32, len(log) - 24, page + 24)
    return sum(log[at + 8 : at + 16] == salt and log[at + 4 : at + 8] != bytes(4) for at in frames)


def test_entries_of_one_call_share_a_transaction(tmp_path: Path) -> None:
    path = tmp_path / "journal.db"
    with writing(path) as kept:
        for seq in range(1, 400):
            kept.writer.put(reading(seq), command(seq))
            with Reader(path) as reader, reader.snapshot():
                stored = {at.seq for _, at in reader.all_readings(0, 2 * T0_MS)}
                assert {at.seq for at in reader.commands(0, 2 * T0_MS)} == stored


def test_putting_while_the_disk_is_busy_loses_nothing(tmp_path: Path) -> None:
    with writing(tmp_path / "journal.db", settings=StoreSettings(commit_every_ms=1)) as kept:
        for seq in range(1, 20_001):
            kept.writer.put(reading(seq, token=seq))
        assert kept.writer.flush(30)
        wait_until(lambda: len(kept.tokens) == 20_000, 10, "all tokens")
        assert kept.tokens == list(range(1, 20_001))
    assert seqs(tmp_path / "journal.db") == list(range(1, 20_001))


def test_a_taken_moment_keeps_both_in_the_journal(tmp_path: Path) -> None:
    """Same sensor, same moment: one reading among the readings, and the journal has every input."""
    path = tmp_path / "journal.db"
    with writing(path) as kept:
        first = reading(1, 90.0)
        same = Reading("tent-1", 91.0, T0_MS + 1000)
        again = ReadingRow(2, Instant(T0_MS + 3000, 3000), same, GOOD, "two")
        kept.writer.put(first)
        assert kept.writer.flush()
        kept.writer.put(again, reading(3))
        assert kept.writer.flush()
        assert kept.tokens == ["two"]
    with Reader(path) as reader:
        stored = [(at.seq, at.value) for at in reader.readings("tent-1", 0, 2 * T0_MS)]
        assert stored == [(1, 90.0), (3, 91.2)]
        assert [item for _, _, item in reader.inputs_between(1, 3)] == [
            first.reading,
            again.reading,
            reading(3).reading,
        ]
        assert [len(lines) for lines in reader.decisions(1, 3).values()] == [1, 1, 1]
        assert sum(reader.counters("2000-01-01", "2100-01-01").values()) == 1


POISON = [
    ReadingRow(5, Instant(T0_MS, 0), Reading("tent-1", 1.0, 2**63), GOOD),
    ReadingRow(5, Instant(T0_MS, 0), Reading("tent-1", 1.0, T0_MS, board_seq=2**70), GOOD),
    ReadingRow(5, Instant(T0_MS, 0), Reading("\ud800", 1.0, T0_MS), GOOD),
    EventRow(5, T0_MS, Event(EventKind.NOTE, "tent", None, None, {"a": object()})),  # type: ignore[dict-item]
    InputRow(1, Instant(T0_MS, 0), Due("x", 1)),
]


@pytest.mark.parametrize("entry", POISON, ids=["ts", "board-seq", "surrogate", "facts", "same-seq"])
def test_what_can_never_be_stored_holds_up_nobody(tmp_path: Path, entry: object) -> None:
    path = tmp_path / "journal.db"
    with writing(path) as kept:
        kept.writer.put(InputRow(1, Instant(T0_MS, 0), Due("mist", T0_MS)), reading(2), reading(3))
        kept.writer.put(entry)  # type: ignore[arg-type]
        kept.writer.put(reading(6), command(6))
        assert kept.writer.flush()
        assert kept.states == []
    assert seqs(path) == [2, 3, 6]
    with Reader(path) as reader:
        (gap,) = reader.events(0, 2 * T0_MS, EventKind.GAP)
        assert gap.event.facts["lost"] == 1
        assert type(entry).__name__ in str(gap.event.facts["why"])
        assert len(list(reader.commands(0, 2 * T0_MS))) == 1


def test_counters_add_up_by_utc_day(tmp_path: Path) -> None:
    path = tmp_path / "journal.db"
    midnight = 1_789_948_800_000  # 2026-09-21T00:00Z: `date -u -d 2026-09-21 +%s`
    with writing(path, VirtualClock(midnight + 5)) as kept:
        kept.writer.put(CounterRow("rejected", "a", 2, midnight - 1))
        kept.writer.put(CounterRow("rejected", "a", 3, midnight))
        assert kept.writer.flush()
        kept.writer.put(CounterRow("rejected", "a", 4), CounterRow("rejected", "b", 1))
    with Reader(path) as reader:
        assert reader.counters("2026-09-20", "2026-09-21") == {
            ("2026-09-20", "rejected", "a"): 2,
            ("2026-09-21", "rejected", "a"): 7,
            ("2026-09-21", "rejected", "b"): 1,
        }


def test_outbox_is_open_until_sent(tmp_path: Path) -> None:
    path = tmp_path / "journal.db"
    with writing(path) as kept, Reader(path) as reader:
        night = '[{"name":"night.html"}]'
        kept.writer.put(OutboxRow(1, T0_MS, "mail", "s1", "t1", T0_MS, "dry:tent", 3, night))
        kept.writer.put(OutboxRow(2, T0_MS, "mail", "s2", "t2", T0_MS))
        kept.writer.put(OutboxUpdate(1, 2, T0_MS + 15_000, "451 try later"))
        kept.writer.put(OutboxUpdate(2, 1, T0_MS, None, T0_MS + 9))
        assert kept.writer.flush()
        (left,) = reader.outbox_open()
        assert (left.id, left.alarm, left.occurrence) == (1, "dry:tent", 3)
        assert (left.attempts, left.next_try, left.last_error) == (2, T0_MS + 15_000, "451 try later")
        assert left.attachments == night
        assert [row.sent for row in reader.outbox(0, 2 * T0_MS)] == [None, T0_MS + 9]


def test_synchronous_is_full_and_the_journal_a_wal(tmp_path: Path) -> None:
    """Survives a power cut only so. Source: SQLite pragma page, synchronous: 2 is FULL."""
    with writing(tmp_path / "journal.db") as kept:
        db = kept.writer._file._db
        assert db is not None
        assert db.execute("PRAGMA synchronous").fetchone() == (2,)
        assert db.execute("PRAGMA journal_mode").fetchone() == ("wal",)


def test_close_writes_what_waits_and_lets_everything_go(tmp_path: Path) -> None:
    path = tmp_path / "journal.db"
    clock = SystemClock()
    with writing(path, clock) as kept:
        kept.writer.put(reading(1, token=1))
        begun = clock.now().mono_ms
        assert kept.writer.close()
        assert clock.now().mono_ms - begun < 5_000
        assert kept.tokens == [1]
    db = sqlite3.connect(path)
    assert db.execute("SELECT count(*) FROM readings").fetchone() == (1,)
    db.close()
