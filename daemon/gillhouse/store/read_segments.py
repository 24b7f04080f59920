"""Questions about stretches of the journal: where a replay can start, under which config, in what state.

Reads only. The inputs within a stretch are `read_journal`'s.
"""

import sqlite3
from collections.abc import Iterator
from typing import Any

from gillhouse.core.instant import Instant
from gillhouse.errors import StoreError
from gillhouse.store.codec import from_canonical
from gillhouse.store.finding import last_wall_ms
from gillhouse.store.names import Showing
from gillhouse.store.records import Segment

_SEGMENT = "id, first_seq, wall_ms, mono_ms, config, version, why, time_unsure"
"""All columns but the snapshot; our own constant, so no text of others gets into the SQL."""


class SegmentQueries:
    """Segments, configs and named facts."""

    _db: sqlite3.Connection
    _names: Showing

    def segments(self, from_seq: int = 0) -> Iterator[Segment]:
        """Segments that hold `from_seq` or come after it, in their order. Read as they are asked for."""
        rows = self._db.execute(
            f"SELECT {_SEGMENT} FROM segments WHERE first_seq >= coalesce("  # noqa: S608
            "(SELECT max(first_seq) FROM segments WHERE first_seq <= ?), 0) ORDER BY first_seq, id",
            (from_seq,),
        )
        before = next(rows, None)
        while before is not None:
            after = next(rows, None)
            yield _segment(before, None if after is None else after[1] - 1)
            before = after

    def segment_before(self, wall_ms: int) -> Segment | None:
        """The last segment that began at or before a wall time: where a replay of that time starts.

        One begun while the clock was not set shows any time; it counts where there is no other.
        """
        row = self._db.execute(
            f"SELECT {_SEGMENT} FROM segments WHERE id = (SELECT id FROM segments "  # noqa: S608
            "WHERE wall_ms <= ? ORDER BY time_unsure, first_seq DESC, id DESC LIMIT 1)",
            (wall_ms,),
        ).fetchone()
        return None if row is None else self._ended(row)

    def newest_segment(self) -> Segment | None:
        """The one under way; None in an empty journal."""
        row = self._db.execute(
            f"SELECT {_SEGMENT} FROM segments ORDER BY first_seq DESC, id DESC LIMIT 1"  # noqa: S608
        ).fetchone()
        return None if row is None else _segment(row, None)

    def state_at(self, segment: Segment) -> dict[str, object]:
        """What `Farm.snapshot()` gave before the first input of a segment.

        Raises StoreError when it was removed meanwhile, being too old.
        """
        row = self._db.execute("SELECT snapshot FROM segments WHERE id = ?", (segment.id,)).fetchone()
        if row is None:
            raise StoreError(
                f"the stretch from input {segment.first_seq} on is no longer kept: ask for a later one"
            )
        state: dict[str, object] = from_canonical(self._names.show(row[0]))
        return state

    def _ended(self, row: tuple[Any, ...]) -> Segment:
        after = self._db.execute(
            "SELECT first_seq FROM segments WHERE (first_seq, id) > (?, ?) ORDER BY first_seq, id LIMIT 1",
            (row[1], row[0]),
        ).fetchone()
        return _segment(row, None if after is None else after[0] - 1)

    def config(self, digest: str) -> dict[str, str] | None:
        """The files of a config by its digest: name -> text; None if it was never used here."""
        row = self._db.execute("SELECT files FROM configs WHERE digest = ?", (digest,)).fetchone()
        if row is None:
            return None
        files: dict[str, str] = from_canonical(row[0])
        return files

    def farm_files(self) -> Iterator[str]:
        """The farm file of every config that was ever in force."""
        for (files,) in self._db.execute("SELECT files FROM configs ORDER BY first_used"):
            yield from_canonical(files).get("farm.yaml", "")

    def meta(self, key: str) -> Any:
        """A named fact (see `rows.MetaRow`); None if it was never stored."""
        row = self._db.execute("SELECT value FROM meta WHERE key = ?", (key,)).fetchone()
        return None if row is None else from_canonical(self._names.show(row[0]))

    def last_wall_ms(self) -> int | None:
        """Wall time of the newest row among readings (by arrival), inputs and events."""
        return last_wall_ms(self._db)


def _segment(row: tuple[Any, ...], last_seq: int | None) -> Segment:
    key, first, wall_ms, mono_ms, digest, version, why, unsure = row
    return Segment(key, first, Instant(wall_ms, mono_ms), digest, version, why, bool(unsure), last_seq)
