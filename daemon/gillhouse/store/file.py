"""The store's file as its writer has it: one transaction at a time, opened anew after a failure.

Here a batch of entries becomes a committed transaction or an exception. One entry that can never be stored
(a number too big for a column, say) does not hold up the others: it is left out, counted and reported.
"""

import sqlite3
from collections.abc import Sequence
from pathlib import Path

from gillhouse.core.edges import StoreSettings
from gillhouse.core.instant import Instant
from gillhouse.errors import DamagedStoreError, StoreError
from gillhouse.store import rows
from gillhouse.store.backlog import Lost
from gillhouse.store.finding import found
from gillhouse.store.keep import DAY_MS, Keeper, prune
from gillhouse.store.opening import Lock, connect, make_directory, unwritable
from gillhouse.store.records import Opened
from gillhouse.store.tables import LineOf, Tables, set_meta, set_next_seq

UNSTORABLE = (
    OverflowError,
    ValueError,
    TypeError,
    StoreError,
    sqlite3.IntegrityError,
    sqlite3.DataError,
    sqlite3.InterfaceError,
    sqlite3.ProgrammingError,
)
"""Errors that lie in an entry and not in the disk: trying again would fail again."""


class StoreFile:
    """Opened by one process alone. Not thread-safe: after the making, one thread uses it."""

    def __init__(self, path: Path, now: Instant, settings: StoreSettings) -> None:
        """Opens or begins the store. Raises StoreError with what to do."""
        self.path = path
        self._line_of: LineOf | None = None
        self._keeper = Keeper(settings.keep_days * DAY_MS, now)
        make_directory(path)
        self._lock = Lock(path)
        new = not path.exists()
        try:
            self._db: sqlite3.Connection | None = connect(path, now.wall_ms)
            self._tables = Tables(self._db)
            self.opened: Opened = found(self._db, new)
            self._next_seq = self.opened.next_seq
            set_meta(self._db, "clean", "0")
        except StoreError:
            self._lock.release()
            raise
        except sqlite3.OperationalError as error:
            self._lock.release()
            raise unwritable(path, error) from error
        except sqlite3.Error as error:
            self._lock.release()
            raise DamagedStoreError(
                f"{path} cannot be read ({error}): it may be damaged; move it aside together with its -wal "
                f"and -shm files, keep all three, and start again"
            ) from error

    def keep_lines(self, line_of: LineOf) -> None:
        """From now on each reading's line for the mirror is stored with it."""
        self._line_of = line_of
        if self._db is not None:
            self._tables = Tables(self._db, line_of)

    def commit(self, entries: Sequence[rows.Entry], lost: Lost, now: Instant) -> Lost:
        """Stores all of `entries` and the gap `lost`, if it counts any, in one transaction.

        Sums up an hour that is over, and takes a few readings older than the retention out, in the same go.
        Returns what could not be stored of `entries` (already in the log as a gap).
        Raises sqlite3.Error or StoreError when the disk refuses; nothing was stored then.
        """
        db = self._ready(now)
        refused = Lost()
        try:
            db.execute("BEGIN IMMEDIATE")
            try:
                self._tables.write(entries, now.wall_ms)
            except UNSTORABLE:
                db.execute("ROLLBACK")
                db.execute("BEGIN IMMEDIATE")
                self._tables = Tables(db, self._line_of)
                refused = self._one_by_one(db, entries, now.wall_ms)
            self._tables.write([gap.event() for gap in (lost, refused) if gap.count], now.wall_ms)
            before_ms = self._keeper.before_ms(db, now)
            hours, chain = self._tables.hours, self._tables.chain
            summed = hours.sum_up(now.wall_ms, before_ms)
            if summed is not None:
                chain.seal_hour(now.wall_ms, summed)
            if before_ms is not None:
                before_ms = hours.may_go_before_ms(before_ms)
                chain.retire(now.wall_ms, before_ms)
                prune(db, before_ms)
            db.execute("COMMIT")
        except sqlite3.Error:
            self._drop_connection()
            raise
        self._next_seq = max(self._next_seq, self._tables.last_seq + 1)
        return refused

    def _one_by_one(self, db: sqlite3.Connection, entries: Sequence[rows.Entry], wall_ms: int) -> Lost:
        refused = Lost()
        for entry in entries:
            db.execute("SAVEPOINT entry")
            try:
                self._tables.write([entry], wall_ms)
            except UNSTORABLE as error:
                db.execute("ROLLBACK TO entry")
                self._tables = Tables(db, self._line_of)
                refused.add(entry, f"{type(entry).__name__} cannot be stored: {error}"[:200])
            db.execute("RELEASE entry")
        return refused

    def _ready(self, now: Instant) -> sqlite3.Connection:
        if self._db is None:
            self._db = connect(self.path, now.wall_ms)
            self._tables = Tables(self._db, self._line_of)
        return self._db

    def _drop_connection(self) -> None:
        """A connection that has seen the disk fail is not trusted again."""
        if self._db is not None:
            self._db.close()  # rolls back
            self._db = None

    def close(self, clean: bool) -> None:
        """Marks a clean stop, if it is one, and lets go of the file and the lock.

        Raises sqlite3.Error when the mark could not be written; file and lock are let go all the same.
        """
        try:
            if self._db is not None and clean:
                self._db.execute("BEGIN IMMEDIATE")
                set_next_seq(self._db, self._next_seq)
                set_meta(self._db, "clean", "1")
                self._db.execute("COMMIT")
        finally:
            self._drop_connection()
            self._lock.release()
