"""Sums of each sensor's hours, written beside the readings and kept after these are gone.

Storing a reading only notes that its hour is to be summed up, in the same transaction, so that no crash loses
it; that costs nothing while the hour is noted already. Once the hour is over, the next commit sums it up from
its readings, one hour at a commit, all in the database and without holding up another thread. A reading that
comes late has its hour summed up again.

A reading holds until the sensor's next, for at most `HOLD_MS`. Counted are the good ones, and late ones
whose value can be (they were marked before anybody looked at it).
"""

import json
import sqlite3

from gillhouse.core.quantities import MEASURES
from gillhouse.core.readings import Mark, Quality
from gillhouse.store.packing import MOST_WORDS, SERIES_BITS, SERIES_SPAN

HOUR_MS = 3_600_000
HOLD_MS = 900_000
"""Longer than any sensor here reports apart (`every` in the farm file). Common practice, no source."""
GRACE_MS = 120_000
"""An hour is summed up this long after its end, when what was on its way has arrived."""

_SUMS = f"""
INSERT OR REPLACE INTO hours
SELECT :begin << {SERIES_BITS} | series, sum(ts >= :begin), sum(held), min(value), max(value),
    sum(value * held) / sum(held)
FROM (
    SELECT id & {SERIES_SPAN - 1} AS series, id >> {SERIES_BITS} AS ts, value,
        min(coalesce(lead(id >> {SERIES_BITS}) OVER w, :end), :end, (id >> {SERIES_BITS}) + {HOLD_MS})
            - max(id >> {SERIES_BITS}, :begin) AS held
    FROM readings
    WHERE id >= (:begin - {HOLD_MS}) << {SERIES_BITS} AND id < :end << {SERIES_BITS} AND (
        fate & 3 = {Quality.GOOD.value}
        OR fate >> 3 & {MOST_WORDS} = (SELECT code FROM words WHERE word = :late) AND value BETWEEN
            (SELECT :spans ->> quantity ->> 0 FROM series s WHERE s.id = readings.id & {SERIES_SPAN - 1})
            AND (SELECT :spans ->> quantity ->> 1 FROM series s WHERE s.id = readings.id & {SERIES_SPAN - 1}))
    WINDOW w AS (PARTITION BY id & {SERIES_SPAN - 1} ORDER BY id))
WHERE held > 0 GROUP BY series
"""  # noqa: S608  our own constants
_SPANS = json.dumps({quantity.value: (one.low, one.high) for quantity, one in MEASURES.items()})


class Hours:
    """Notes hours and sums them up, through `db`, inside transactions of the caller."""

    def __init__(self, db: sqlite3.Connection) -> None:
        self._db = db
        self._due: set[int] = {begin for (begin,) in db.execute("SELECT begin FROM hours_due")}

    def note(self, keys: list[int]) -> None:
        """Notes the hours that readings with these keys, in order, fall or hold into."""
        first, last = _begin(keys[0], 0), _begin(keys[-1], HOLD_MS)
        if last - first <= HOUR_MS:
            touched = {first, last}
        else:  # some came late
            touched = {_begin(key, hold_ms) for key in keys for hold_ms in (0, HOLD_MS)}
        new = touched - self._due
        if new:
            self._db.executemany(
                "INSERT OR IGNORE INTO hours_due VALUES (?)", [(begin,) for begin in sorted(new)]
            )
            self._due |= new

    def sum_up(self, wall_ms: int, kept_from_ms: int | None) -> int | None:
        """Sums up the oldest hour that is noted and over by `wall_ms`, if any; returns its begin.

        `kept_from_ms`: readings before it are being removed. An hour of those that has its sums keeps them.
        """
        begin, summed = min(self._due, default=None), None
        if begin is None or begin + HOUR_MS + GRACE_MS > wall_ms:
            return None
        if kept_from_ms is None or begin >= kept_from_ms or not self._summed(begin):
            self._db.execute(
                _SUMS, {"begin": begin, "end": begin + HOUR_MS, "late": Mark.LATE.value, "spans": _SPANS}
            )
            summed = begin
        self._db.execute("DELETE FROM hours_due WHERE begin = ?", (begin,))
        self._due.discard(begin)
        return summed

    def may_go_before_ms(self, limit_ms: int) -> int:
        """How far readings may be removed, `limit_ms` at most: those of a noted hour are still needed."""
        return min([limit_ms, *(begin - HOLD_MS for begin in self._due)])

    def _summed(self, begin: int) -> bool:
        return (
            self._db.execute(
                "SELECT 1 FROM hours WHERE id >= ? AND id < ? LIMIT 1",
                (begin << SERIES_BITS, begin + HOUR_MS << SERIES_BITS),
            ).fetchone()
            is not None
        )


def _begin(key: int, hold_ms: int) -> int:
    ms = (key >> SERIES_BITS) + hold_ms
    return ms - ms % HOUR_MS
