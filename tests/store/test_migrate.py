"""Schema steps: once each, in order, whole or not at all; and stores of another version are left alone."""

import sqlite3
from collections.abc import Iterator
from pathlib import Path

import pytest

from gillhouse.errors import StoreError
from gillhouse.store.migrate import applied, migrate
from gillhouse.store.reader import Reader
from gillhouse.store.schema import MIGRATIONS
from store.kept import writing

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
