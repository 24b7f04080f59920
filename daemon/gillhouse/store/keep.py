"""Retention: old readings go, a few at each commit, with the inputs and snapshots that only replay needs.

Events, commands, alarms, configs and the sums of each hour stay: they are the farm's log, and small. So does
what people and the settings said: it is in the log's chain (see `chain`), and much of it is in force until
the next of its kind (a batch, a sensor's correction, measured figures).
"""

import json
import sqlite3

from gillhouse.core.inputs import BatchAction, Calibrated, Measured
from gillhouse.core.instant import Instant
from gillhouse.store.chain import SEALED_INPUTS
from gillhouse.store.packing import SERIES_BITS

DAY_MS = 86_400_000

STEP_ROWS = 500
"""Most rows of a table one commit removes: a step short enough to go unnoticed."""

LASTING = json.dumps([kind.__name__ for kind in (BatchAction, Calibrated, Measured)])
"""Kinds of inputs that are kept for good: the audit, and a start without a kept state, look for them."""

KEPT = json.dumps(sorted({*SEALED_INPUTS, *json.loads(LASTING)}))
"""Kinds of inputs that stay with the log: those, and whatever else is in its chain."""

HISTORY_PACE = 24
"""History is removed at most this many times faster than it is made, so that a wall clock that has jumped a
year ahead is noticed long before the records are gone."""


class Keeper:
    """Says how far back readings may go now."""

    def __init__(self, keep_ms: int, now: Instant) -> None:
        """`keep_ms`: readings younger than this stay."""
        self._keep_ms = keep_ms
        self._paced_ms = now.mono_ms
        self._front_ms: int | None = None

    def before_ms(self, db: sqlite3.Connection, now: Instant) -> int | None:
        """Readings older than this wall time may go, or None while none may."""
        oldest = oldest_ms(db)
        run_ms, self._paced_ms = now.mono_ms - self._paced_ms, now.mono_ms
        limit_ms = now.wall_ms - self._keep_ms
        if oldest is None or oldest >= limit_ms:
            self._front_ms = None
            return None
        if self._front_ms is None or oldest - self._front_ms > DAY_MS:  # or a hole would take as long as data
            self._front_ms = oldest
        self._front_ms = min(self._front_ms + HISTORY_PACE * run_ms, limit_ms)
        return self._front_ms


def oldest_ms(db: sqlite3.Connection) -> int | None:
    found = db.execute("SELECT min(id) FROM readings").fetchone()[0]
    return None if found is None else found >> SERIES_BITS


def prune(db: sqlite3.Connection, before_ms: int) -> None:
    """Removes up to STEP_ROWS readings older than `before_ms`, and inputs of segments that ended before it.

    Inside the caller's transaction.
    """
    last = db.execute(
        "SELECT max(id) FROM (SELECT id FROM readings WHERE id < ? ORDER BY id LIMIT ?)",
        (before_ms << SERIES_BITS, STEP_ROWS),
    ).fetchone()[0]
    if last is not None:
        db.execute("DELETE FROM readings WHERE id <= ?", (last,))
    first = db.execute(
        "SELECT max(first_seq) FROM segments WHERE wall_ms < ? AND time_unsure = 0", (before_ms,)
    ).fetchone()[0]
    if first is None:
        return
    db.execute("DELETE FROM segments WHERE first_seq < ?", (first,))
    db.execute(
        "DELETE FROM inputs WHERE seq IN (SELECT seq FROM inputs WHERE seq < ? "
        "AND kind NOT IN (SELECT value FROM json_each(?)) ORDER BY seq LIMIT ?)",
        (first, KEPT, STEP_ROWS),
    )
