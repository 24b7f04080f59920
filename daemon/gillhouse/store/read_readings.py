"""Questions about readings and the sensors they came from. Reads only; SQL is constant text."""

import sqlite3
from collections.abc import Collection, Iterator

from gillhouse.store.hours import HOUR_MS
from gillhouse.store.keep import oldest_ms
from gillhouse.store.packing import SERIES_BITS, SERIES_SPAN, board_part, unpack
from gillhouse.store.records import HourAt, ReadingAt, Seed, Series, Trace

DAY_MS = 86_400_000

SEED_WINDOW_MS = 30 * 60_000
"""How far back `seeds` looks."""


class ReadingQueries:  # 13 methods: one a question, and each is asked somewhere
    """Times are wall ms; ranges hold `from_ms` and not `to_ms`. A sensor the store does not know is empty."""

    _db: sqlite3.Connection

    def series(self) -> tuple[Series, ...]:
        """Every sensor that was ever stored, by id."""
        return tuple(Series(*row) for row in self._db.execute("SELECT * FROM series ORDER BY id"))

    def readings(self, sensor: str, from_ms: int, to_ms: int) -> Iterator[ReadingAt]:
        """One sensor's readings in order of time. For many sensors at once `all_readings` is cheaper."""
        words = self._words()
        for key, value, seq, fate in self._db.execute(
            "SELECT id, value, seq, fate FROM readings WHERE id >= ? AND id < ? AND id & 16383 = ?",
            (from_ms << SERIES_BITS, to_ms << SERIES_BITS, self._series_id(sensor)),
        ):
            yield unpack(key >> SERIES_BITS, value, seq, fate, words)

    def all_readings(self, from_ms: int, to_ms: int) -> Iterator[tuple[str, ReadingAt]]:
        """Every sensor's readings, as (sensor, reading), in order of time: one pass over the range."""
        words, sensors = self._words(), self._sensors()
        for key, value, seq, fate in self._db.execute(
            "SELECT id, value, seq, fate FROM readings WHERE id >= ? AND id < ? ORDER BY id",
            (from_ms << SERIES_BITS, to_ms << SERIES_BITS),
        ):
            yield sensors[key % SERIES_SPAN], unpack(key >> SERIES_BITS, value, seq, fate, words)

    def quick_series(
        self, from_ms: int, to_ms: int, sensors: Collection[str] | None = None
    ) -> dict[str, Trace]:
        """Time, value and quality as columns, for charts: all sensors (or those named) in one pass.

        Only sensors with a reading in the range are in the result, in order of their names.
        """
        names = self._sensors()
        wanted = {key: Trace() for key, name in names.items() if sensors is None or name in sensors}
        for key, value, fate in self._db.execute(
            "SELECT id, value, fate FROM readings WHERE id >= ? AND id < ? ORDER BY id",
            (from_ms << SERIES_BITS, to_ms << SERIES_BITS),
        ):
            trace = wanted.get(key % SERIES_SPAN)
            if trace is not None:
                trace.ts.append(key >> SERIES_BITS)
                trace.value.append(value)
                trace.quality.append(fate & 3)
        traces = {names[key]: trace for key, trace in wanted.items() if trace.ts}
        return dict(sorted(traces.items()))

    def last(self, sensor: str, before_ms: int | None = None, within_ms: int = DAY_MS) -> ReadingAt | None:
        """The newest reading of a sensor, of those before `before_ms` if given.

        Looks back `within_ms` from there (or from the store's newest reading): a sensor dead for longer has
        no last reading worth showing, and finding it would read everything since.
        """
        end = before_ms << SERIES_BITS if before_ms is not None else None
        if end is None:
            (newest,) = self._db.execute("SELECT max(id) FROM readings").fetchone()
            end = 0 if newest is None else newest + 1
        row = self._db.execute(
            "SELECT id, value, seq, fate FROM readings WHERE id >= ? AND id < ? AND id & 16383 = ? "
            "ORDER BY id DESC LIMIT 1",
            (end - (within_ms << SERIES_BITS), end, self._series_id(sensor)),
        ).fetchone()
        if row is None:
            return None
        key, value, seq, fate = row
        return unpack(key >> SERIES_BITS, value, seq, fate, self._words())

    def seeds(self) -> Iterator[Seed]:
        """The readings of the last hours before the newest, oldest first: repeats are known by them.

        A broker sends again what it had in flight when the connection broke, which is never older.
        """
        (newest,) = self._db.execute("SELECT max(id) FROM readings").fetchone()
        sensors = self._sensors()
        for key, value, fate in self._db.execute(
            "SELECT id, value, fate FROM readings WHERE id > ? ORDER BY id",
            ((newest or 0) - (SEED_WINDOW_MS << SERIES_BITS),),
        ):
            board_seq, own_time = board_part(fate)
            yield Seed(sensors[key % SERIES_SPAN], key >> SERIES_BITS, board_seq, own_time, value)

    def hours(self, sensor: str, from_ms: int, to_ms: int) -> Iterator[HourAt]:
        """A sensor's hours that begin in a range, summed up, in order of time. One under way has none yet."""
        for key, *sums in self._db.execute(
            "SELECT id, n, known_ms, least, most, mean FROM hours WHERE id >= ? AND id < ? "
            "AND id & 16383 = ?",
            (from_ms << SERIES_BITS, to_ms << SERIES_BITS, self._series_id(sensor)),
        ):
            yield HourAt(key >> SERIES_BITS, *sums)

    def removed_before_ms(self, from_ms: int, to_ms: int) -> int | None:
        """Up to when readings of a range of time were removed, being too old; None where none were.

        Their hours are still there (see `hours`).
        """
        kept_ms = oldest_ms(self._db)
        end_ms = to_ms if kept_ms is None else min(kept_ms, to_ms)
        found = self._db.execute(
            "SELECT 1 FROM hours WHERE id >= ? AND id < ? AND n > 0 LIMIT 1",
            (from_ms - HOUR_MS << SERIES_BITS, end_ms - HOUR_MS << SERIES_BITS),
        ).fetchone()
        return None if found is None else end_ms

    def oldest_ms(self) -> int | None:
        """`ts` of the oldest reading; None in a store without any."""
        return oldest_ms(self._db)

    def newest_ms(self) -> int | None:
        """`ts` of the newest reading; None in a store without any."""
        (newest,) = self._db.execute("SELECT max(id) FROM readings").fetchone()
        return None if newest is None else newest >> SERIES_BITS

    def _series_id(self, sensor: str) -> int:
        row = self._db.execute("SELECT id FROM series WHERE sensor = ?", (sensor,)).fetchone()
        return -1 if row is None else row[0]

    def _sensors(self) -> dict[int, str]:
        return dict(self._db.execute("SELECT id, sensor FROM series").fetchall())

    def _words(self) -> dict[int, str]:
        return dict(self._db.execute("SELECT code, word FROM words").fetchall())
