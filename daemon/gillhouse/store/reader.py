"""Reads a store: typed answers over a connection that cannot write, beside a running writer or without one.

The questions live by subject in `read_readings`, `read_log`, `read_journal`, `read_decisions` and
`read_mirror`. Each answer is as of its own moment; `snapshot()` holds one moment for several. Threads may
take turns with one `Reader`; two at a time need one each.
"""

import sqlite3
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from types import TracebackType
from typing import Self
from urllib.parse import quote

from gillhouse.errors import StoreError
from gillhouse.store.chain import Head, head_of
from gillhouse.store.erase import Known, known_people
from gillhouse.store.migrate import applied
from gillhouse.store.names import Showing
from gillhouse.store.read_decisions import DecisionQueries
from gillhouse.store.read_log import LogQueries
from gillhouse.store.read_mirror import MirrorQueries
from gillhouse.store.read_readings import ReadingQueries
from gillhouse.store.records import Segment
from gillhouse.store.schema import MIGRATIONS
from gillhouse.store.verify import Checked, verify

__all__ = ["Reader", "Segment"]


class Reader(ReadingQueries, LogQueries, DecisionQueries, MirrorQueries):
    """Close it, or use it as a context manager."""

    def __init__(self, path: Path) -> None:
        """Opens the store at `path` for reading.

        Raises StoreError when there is none, it is damaged, or it is of another version.
        """
        path = Path(path)
        if not path.exists():
            raise StoreError(f"there is no store at {path}: start the daemon once, or name another --state")
        try:
            self._db = _open(path)
            self._names = Showing(self._db)
            done = applied(self._db)
        except sqlite3.Error as error:
            raise StoreError(
                f"the store {path} cannot be read ({error}): check that you may read the file, and that it "
                f"is a gillhouse store"
            ) from error
        if done != [name for name, _ in MIGRATIONS]:
            self._db.close()
            raise StoreError(
                f"the store {path} is of another version (its schema has {', '.join(done) or 'no steps'}): "
                f"start the daemon of this version on it once, or use the version that wrote it"
            )

    def close(self) -> None:
        self._db.close()

    @contextmanager
    def snapshot(self) -> Iterator[Self]:
        """Within it, all answers are of the same moment, whatever the writer does meanwhile."""
        self._db.execute("BEGIN")
        try:
            self._db.execute("SELECT 1 FROM meta").fetchone()  # a read transaction begins with its first read
            yield self
        finally:
            self._db.execute("COMMIT")

    def head(self) -> Head | None:
        """The newest row of the log's chain: kept elsewhere, it proves all rows up to it."""
        return head_of(self._db)

    def people(self) -> tuple[Known, ...]:
        """Everybody the log has a number for."""
        return known_people(self._db)

    def verify(self, head: str | None = None) -> Checked:
        """Whether the log's chain holds; see `verify.verify`, which says what it raises."""
        with self.snapshot():
            return verify(self._db, head)

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.close()


def _open(path: Path) -> sqlite3.Connection:
    """Read-only. A store on a medium that cannot be written is read as it lies, if nobody writes it."""
    uri = "file:" + quote(str(path.resolve()))
    db = _connect(f"{uri}?mode=ro")
    try:
        db.execute("SELECT 1 FROM sqlite_master").fetchone()
    except sqlite3.OperationalError:
        db.close()
        wal = path.with_name(path.name + "-wal")
        if wal.exists() and wal.stat().st_size:
            raise
        db = _connect(f"{uri}?immutable=1")
    return db


def _connect(uri: str) -> sqlite3.Connection:
    return sqlite3.connect(uri, uri=True, isolation_level=None, check_same_thread=False, timeout=5.0)
