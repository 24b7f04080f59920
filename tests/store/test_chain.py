"""The log's chain: every row sealed as the page says, at the commit that stores it, and nothing breaks it.

SHA-256 is FIPS 180-4; the seals are worked out a second time here with coreutils' sha256sum and from the
description in docs/reference/store.md, not with the program's own function.
"""

import json
import sqlite3
import subprocess
from dataclasses import replace
from pathlib import Path

import pytest

from gillhouse.clock import VirtualClock
from gillhouse.core.edges import StoreSettings
from gillhouse.core.inputs import Act, OperatorAction
from gillhouse.core.outputs import Event, EventKind
from gillhouse.store.chain import ANCHOR, HOUR, RETIRED
from gillhouse.store.migrate import migrate
from gillhouse.store.reader import Reader
from gillhouse.store.rows import EventRow, InputRow, ReadingRow
from gillhouse.store.schema import MIGRATIONS
from store.kept import T0_MS, command, reading, writing
from store.sealed import HOUR0_MS, HOUR_MS, fill, instant, places, walk, words

DAY_MS = 86_400_000


@pytest.fixture
def path(tmp_path: Path) -> Path:
    made = tmp_path / "journal.db"
    fill(made)
    return made


def within_hour(second: int) -> ReadingRow:
    """A reading of a second of the first hour."""
    return reading(second - (T0_MS - HOUR0_MS) // 1000)


def stored(db: sqlite3.Connection) -> list[tuple[int, bytes]]:
    found = []
    for table in ("events", "commands", "alarms", "inputs", "marks"):
        found += db.execute(f"SELECT place, link FROM {table} WHERE place IS NOT NULL").fetchall()
    return sorted(found)


def test_every_row_of_the_log_is_sealed_in_order(path: Path) -> None:
    with Reader(path) as reader:
        db = reader._db
        assert stored(db) == walk(db)
        assert [place for place, *_ in places(db)] == list(range(1, len(places(db)) + 1))
        for table in ("events", "commands", "alarms"):
            assert db.execute(f"SELECT count(*) FROM {table} WHERE place IS NULL").fetchone() == (0,)
        assert db.execute("SELECT DISTINCT kind FROM inputs WHERE place IS NULL").fetchall() == [("Due",)]
        checked = reader.verify()
        assert checked.findings == []
        assert checked.rows == len(places(db)) > 80
        assert checked.head == reader.head()


def test_a_seal_is_what_sha256sum_makes_of_it(path: Path, tmp_path: Path) -> None:
    with Reader(path) as reader:
        seals = dict(stored(reader._db))
        for place, table, key in places(reader._db)[:5]:
            before = seals.get(place - 1, bytes(32))
            said = subprocess.run(
                ["sha256sum"], input=before + words(reader._db, table, key), capture_output=True, check=True
            ).stdout
            assert said.split()[0].decode() == seals[place].hex()


def test_the_chain_begins_with_what_stood_before_it(tmp_path: Path) -> None:
    """A store of the version before: its rows are counted at the begin, and stay readable."""
    path = tmp_path / "journal.db"
    db = sqlite3.connect(path, isolation_level=None)
    migrate(db, 5, MIGRATIONS[:3])
    db.execute(
        "INSERT INTO commands VALUES (4, 7, ?, 'fan', 1, 5, 3, 'co2-high', '{}', '[7]', 0, 0)", (T0_MS,)
    )
    db.close()
    with writing(path) as kept:
        kept.writer.put(command(9))
    with Reader(path) as reader:
        (kind, body, place) = reader._db.execute("SELECT kind, body, place FROM marks").fetchone()
        assert (kind, place) == (ANCHOR, 1)
        assert json.loads(body)["older"]["commands"] == {"rows": 1, "last": 4}
        assert [at.id for at in reader.commands(0, 2 * T0_MS)] == [4, 5]
        checked = reader.verify()
        assert (checked.findings, checked.older, checked.rows) == ([], 1, 2)


def test_the_chain_goes_on_over_restarts(path: Path) -> None:
    with Reader(path) as reader:
        before = reader.head()
    with writing(path, VirtualClock(T0_MS + 10 * HOUR_MS)) as kept:
        kept.writer.put(command(50_000))
    with Reader(path) as reader:
        head = reader.head()
        assert before is not None
        assert head is not None
        assert head.place > before.place
        assert stored(reader._db) == walk(reader._db)
        assert reader.verify(str(before)).findings == []


def test_a_row_no_column_can_hold_leaves_no_hole(tmp_path: Path) -> None:
    path = tmp_path / "journal.db"
    with writing(path) as kept:
        kept.writer.put(command(1), EventRow(1 << 70, T0_MS, Event(EventKind.NOTE, "tent", None)), command(2))
        assert kept.writer.flush()
        kept.writer.put(command(3))
    with Reader(path) as reader:
        assert reader.verify().findings == []
        assert [at.seq for at in reader.commands(0, 2 * T0_MS)] == [1, 2, 3]
        assert [at.event.kind for at in reader.events(0, 2 * T0_MS)] == [EventKind.GAP]


def test_readings_that_come_late_add_a_seal_and_take_none_back(tmp_path: Path) -> None:
    path, clock = tmp_path / "journal.db", VirtualClock(HOUR0_MS)
    with writing(path, clock) as kept:
        kept.writer.put(replace(within_hour(1), seq=1))
        assert kept.writer.flush()
        clock.advance_to(2 * HOUR_MS)
        kept.writer.put(command(5))
        assert kept.writer.flush()
        kept.writer.put(replace(within_hour(60), seq=6))
        assert kept.writer.flush()
        clock.advance_to(3 * HOUR_MS)
        kept.writer.put(command(6))
        assert kept.writer.flush()
    with Reader(path) as reader:
        marks = reader._db.execute("SELECT body FROM marks WHERE kind = ? ORDER BY id", (HOUR,))
        bodies = [json.loads(body) for (body,) in marks]
        assert [(body["begin"], body["rows"]) for body in bodies] == [(HOUR0_MS, 1), (HOUR0_MS, 2)]
        checked = reader.verify()
        assert (checked.findings, checked.hours, checked.late) == ([], 1, 1)


def test_retention_and_sums_leave_the_chain_whole(tmp_path: Path) -> None:
    """Forty days at a reading an hour, thirty kept: all through it the chain holds, and deeds stay."""
    path, clock = tmp_path / "journal.db", VirtualClock(HOUR0_MS)
    offset_s = (T0_MS - HOUR0_MS) // 1000
    with writing(path, clock, StoreSettings(keep_days=30)) as kept:
        said = OperatorAction(Act.NOTE, "tent", "anna", "hosed the east side")
        kept.writer.put(InputRow(1, instant(1), said))
        for hour in range(40 * 24):
            kept.writer.put(reading(hour * 3600 - offset_s + 5))
            if hour % 24 == 0:
                assert kept.writer.flush()
                kept.writer.put(command(hour + 1))
            assert kept.writer.flush()
            clock.advance_to((hour + 1) * HOUR_MS)
    with Reader(path) as reader:
        retired = reader._db.execute(
            "SELECT count(*), max(json_extract(body, '$.before_ms')) FROM marks WHERE kind = ?", (RETIRED,)
        ).fetchone()
        oldest = reader.oldest_ms()
        assert oldest is not None
        assert oldest > HOUR0_MS + 9 * DAY_MS
        assert 100 < retired[0] <= 24 * 11
        assert retired[1] - oldest <= HOUR_MS
        checked = reader.verify()
        assert checked.findings == []
        assert 29 * 24 <= checked.hours <= 31 * 24
        assert len(list(reader.commands(0, 2 * T0_MS))) == 40
        assert reader.input(1) is not None


def test_sealing_costs_the_readings_nothing_a_row(tmp_path: Path) -> None:
    """Readings are not sealed one by one: their table has the columns it had."""
    path = tmp_path / "journal.db"
    fill(path, rounds=2)
    with Reader(path) as reader:
        columns = [row[1] for row in reader._db.execute("PRAGMA table_info(readings)")]
    assert columns == ["id", "value", "seq", "delay", "skew", "fate"]
