"""Schema steps: once each, in order, whole or not at all; and stores of another version are left alone."""

import sqlite3
from collections.abc import Iterator
from pathlib import Path

import pytest

from gillhouse.core.instant import Instant
from gillhouse.errors import StoreError
from gillhouse.store.migrate import applied, migrate
from gillhouse.store.reader import Reader
from gillhouse.store.rows import SegmentRow
from gillhouse.store.schema import MIGRATIONS
from store.kept import T0_MS, command, reading, writing

ONE = ("one", "CREATE TABLE a (x INTEGER);")
TWO = ("two", "CREATE TABLE b (y INTEGER); INSERT INTO b VALUES (7);")
BROKEN = ("broken", "CREATE TABLE c (z INTEGER); INSERT INTO nowhere VALUES (1);")


@pytest.fixture
def db(tmp_path: Path) -> Iterator[sqlite3.Connection]:
    connection = sqlite3.connect(tmp_path / "s.db", isolation_level=None)
    yield connection
    connection.close()


def tables(db: sqlite3.Connection) -> set[str]:
    return {name for (name,) in db.execute("SELECT name FROM sqlite_master WHERE type = 'table'")}


def test_steps_are_applied_once_and_recorded(db: sqlite3.Connection) -> None:
    assert migrate(db, 5, [ONE]) == ["one"]
    assert migrate(db, 6, [ONE, TWO]) == ["two"]
    assert migrate(db, 7, [ONE, TWO]) == []
    recorded = db.execute("SELECT name, at FROM migrations ORDER BY position").fetchall()
    assert recorded == [("one", 5), ("two", 6)]
    assert db.execute("SELECT y FROM b").fetchall() == [(7,)]


def test_a_step_that_fails_leaves_nothing_of_itself(db: sqlite3.Connection) -> None:
    with pytest.raises(sqlite3.OperationalError):
        migrate(db, 5, [ONE, BROKEN, TWO])
    assert applied(db) == ["one"]
    assert tables(db) == {"a", "migrations"}
    assert not db.in_transaction


@pytest.mark.parametrize("known", [[ONE], [TWO, ONE], []])
def test_a_store_of_another_version_is_refused_untouched(
    db: sqlite3.Connection, known: list[tuple[str, str]]
) -> None:
    migrate(db, 5, [ONE, TWO])
    with pytest.raises(StoreError, match="written by a newer gillhouse"):
        migrate(db, 6, known)
    assert applied(db) == ["one", "two"]


def test_writer_and_reader_refuse_a_newer_store(tmp_path: Path) -> None:
    path = tmp_path / "journal.db"
    with writing(path):
        pass
    db = sqlite3.connect(path)
    db.execute("INSERT INTO migrations VALUES (?, '9999-later', 0)", (len(MIGRATIONS),))
    db.commit()
    db.close()
    with pytest.raises(StoreError, match="9999-later"), writing(path):
        pass
    with pytest.raises(StoreError, match="of another version"):
        Reader(path)


def test_a_store_of_the_first_version_is_brought_up_and_answers(tmp_path: Path) -> None:
    path = tmp_path / "journal.db"
    db = sqlite3.connect(path, isolation_level=None)
    migrate(db, 5, MIGRATIONS[:1])
    db.execute("INSERT INTO segments VALUES (1, 7, ?, 0, 'd', '0', 'start', 0, '{\"n\":1}')", (T0_MS,))
    db.execute(
        "INSERT INTO commands VALUES (1, 7, ?, 'fan', 1, 5, 3, 'co2-high', '{}', '[7]', 0, 0)", (T0_MS,)
    )
    db.close()
    with pytest.raises(StoreError, match="of another version"):
        Reader(path)
    with writing(path):
        pass
    with Reader(path) as reader:
        assert applied(reader._db) == [name for name, _ in MIGRATIONS]
        (segment,) = reader.segments()
        assert (segment.first_seq, reader.state_at(segment)) == (7, {"n": 1})
        assert list(reader.decisions(7, 7)) == [7]


def test_questions_by_number_do_not_read_through_the_log_of_years(tmp_path: Path) -> None:
    """SQLite names in its plan what it reads: a SEARCH by an index, never a SCAN of a table that grows."""
    path = tmp_path / "journal.db"
    with writing(path) as kept:
        kept.writer.put(SegmentRow(1, Instant(T0_MS, 0), "d", "0", "start", {}), reading(1), command(1))
    asked: list[str] = []
    with Reader(path) as reader:
        reader._db.set_trace_callback(asked.append)
        assert list(reader.decisions(1, 1)) == [1]
        assert reader.segment_before(T0_MS) is not None
        assert reader.newest_segment() is not None
        assert reader.input(1) is not None
        reader._db.set_trace_callback(None)
        plans = [row[3] for one in asked for row in reader._db.execute(f"EXPLAIN QUERY PLAN {one}")]
    assert len(plans) > 10
    read = [plan for plan in plans if plan.startswith("SCAN")]
    small = (
        "SCAN words",
        "SCAN series",
        "SCAN CONSTANT",
        "SCAN segments USING COVERING INDEX segments_seq",
        "SCAN segments USING INDEX segments_seq",
    )
    assert [plan for plan in read if not plan.startswith(small)] == []
