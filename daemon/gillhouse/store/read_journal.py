"""Questions about the journal: inputs exactly as the core was given them. Reads only.

Readings carry no index by sequence number (it would cost half as much again per reading). They are found by
time instead: a segment's rows arrived after its beginning, and within `LONGEST_SEGMENT_MS` or before the next
one began; for a part of a segment the other inputs around it say when. The few that were true long before
they arrived have an index of their own (`readings_odd`).
"""

from collections.abc import Iterator
from itertools import chain, pairwise
from operator import itemgetter
from typing import TypeVar

from gillhouse.core.inputs import Reading
from gillhouse.core.instant import Instant
from gillhouse.store.codec import decode_input
from gillhouse.store.keep import LASTING
from gillhouse.store.packing import ORDINARY_DELAY_MS, SERIES_BITS, SERIES_SPAN, unpack
from gillhouse.store.read_segments import SegmentQueries
from gillhouse.store.records import Journalled, ReadingAt

LONGEST_SEGMENT_MS = 7 * 3_600_000
"""Segments are begun every six hours; one hour of grace."""

MARGIN_MS = ORDINARY_DELAY_MS + 60_000
"""Around a segment: the ordinary delay, and a wall clock nudged within the segment."""

FOREVER_MS = 1 << 48

Kind = TypeVar("Kind")

END = (1 << 62) - 1
"""No sequence number is greater."""


class JournalQueries(SegmentQueries):
    """Sequence ranges hold both ends."""

    def inputs_between(self, seq_from: int, seq_to: int | None) -> Iterator[Journalled]:
        """All inputs of a range in order of their sequence numbers, with the exact moments of then.

        `seq_to` None: to the end of the journal. Held in memory one segment at a time.
        """
        for first, last, from_ms, to_ms, base in self._stretches(seq_from, END if seq_to is None else seq_to):
            found = self._readings(first, last, from_ms, to_ms, base)
            found += self._inputs(first, last)
            found.sort(key=itemgetter(0))
            yield from found

    def inputs_of(
        self, kind: type[Kind], seq_from: int, seq_to: int | None
    ) -> Iterator[tuple[int, Instant, Kind]]:
        """The inputs of one kind (not Reading) of a range, in order. Cheaper than looking through all."""
        for seq, wall_ms, mono_ms, name, body in self._db.execute(
            "SELECT seq, wall_ms, mono_ms, kind, body FROM inputs WHERE seq BETWEEN ? AND ? AND kind = ? "
            "ORDER BY seq",
            (seq_from, END if seq_to is None else seq_to, kind.__name__),
        ):
            item = decode_input(name, self._names.show(body))
            assert isinstance(item, kind)
            yield seq, Instant(wall_ms, mono_ms), item

    def lasting_inputs(self) -> list[Journalled]:
        """All inputs in force until the next of their kind (`keep.LASTING`), in order. Reads every input."""
        return [
            (seq, Instant(wall_ms, mono_ms), decode_input(kind, self._names.show(body)))
            for seq, wall_ms, mono_ms, kind, body in self._db.execute(
                "SELECT seq, wall_ms, mono_ms, kind, body FROM inputs "
                "WHERE kind IN (SELECT value FROM json_each(?)) ORDER BY seq",
                (LASTING,),
            )
        ]

    def input(self, seq: int) -> Journalled | None:
        """One input; None when no row has that number."""
        return next(self.inputs_between(seq, seq), None)

    def last_seq(self) -> int:
        """The greatest sequence number stored; 0 in an empty journal."""
        (last,) = self._db.execute("SELECT coalesce(max(seq), 0) FROM inputs").fetchone()
        (first,) = self._db.execute("SELECT coalesce(max(first_seq), 0) FROM segments").fetchone()
        start = max(last, first, 1)
        newest = max((seq for seq, _, _ in self.inputs_between(start, None)), default=0)
        return max(int(last), newest)

    def _stretches(self, seq_from: int, seq_to: int) -> Iterator[tuple[int, int, int, int, int]]:
        """Per segment the range touches: first and last seq, wall range of arrivals, wall minus mono."""
        rows = self._db.execute(
            "SELECT first_seq, max(id), wall_ms, wall_ms - mono_ms FROM segments WHERE first_seq BETWEEN "
            "coalesce((SELECT max(first_seq) FROM segments WHERE first_seq <= ?), 0) AND "
            "coalesce((SELECT min(first_seq) FROM segments WHERE first_seq > ?), ?) "
            "GROUP BY first_seq ORDER BY first_seq",
            (seq_from, seq_to, END),
        ).fetchall()
        starts = [(first, wall, base) for first, _, wall, base in rows]
        if not starts or starts[0][0] > seq_from:
            starts.insert(0, (0, -FOREVER_MS, 0))
        starts.append((END + 1, FOREVER_MS, 0))
        for (first, wall, base), (after, next_wall, _) in pairwise(starts):
            if after > seq_from and first <= seq_to:
                low, high = max(first, seq_from), min(after - 1, seq_to)
                begin = wall if low == first else self._arrived_by(low, first, wall)
                end = max(next_wall, wall + LONGEST_SEGMENT_MS)
                end = end if high == after - 1 else self._arrived_from(high, after - 1, end)
                yield low, high, begin - MARGIN_MS, end + MARGIN_MS, base

    def _arrived_by(self, seq: int, first: int, otherwise: int) -> int:
        """A wall time at which no number of a segment beyond `seq` can have arrived much before.

        A step of the clock, which ends its segment, carries the time after it and is no measure.
        """
        row = self._db.execute(
            "SELECT wall_ms FROM inputs WHERE seq BETWEEN ? AND ? AND kind <> 'ClockStep' "
            "ORDER BY seq DESC LIMIT 1",
            (first, seq),
        ).fetchone()
        return otherwise if row is None else row[0]

    def _arrived_from(self, seq: int, last: int, otherwise: int) -> int:
        """The same for the other end: no number up to `seq` can have arrived much after it."""
        row = self._db.execute(
            "SELECT wall_ms FROM inputs WHERE seq BETWEEN ? AND ? AND kind <> 'ClockStep' "
            "ORDER BY seq LIMIT 1",
            (seq, last),
        ).fetchone()
        return otherwise if row is None else row[0]

    def _readings(self, first: int, last: int, from_ms: int, to_ms: int, base: int) -> list[Journalled]:
        sensors = dict(self._db.execute("SELECT id, sensor FROM series").fetchall())
        return [
            (
                at.seq,
                Instant(at.ts + delay, at.ts + delay - base + skew),
                Reading(sensors[series], at.value, at.ts, at.own_time, at.board_seq, at.delivery),
            )
            for series, at, delay, skew in self._stored(first, last, from_ms, to_ms)
        ]

    def _stored(
        self, first: int, last: int, from_ms: int, to_ms: int
    ) -> Iterator[tuple[int, ReadingAt, int, int]]:
        """Readings of a range of numbers that arrived in a range of time: series, reading, delay, skew."""
        words = dict(self._db.execute("SELECT code, word FROM words").fetchall())
        ordinary = self._db.execute(
            "SELECT id, value, seq, delay, skew, fate FROM readings WHERE id >= ? AND id < ? "
            "AND seq BETWEEN ? AND ? AND delay BETWEEN -600000 AND 600000",
            (from_ms << SERIES_BITS, to_ms << SERIES_BITS, first, last),
        )
        odd = self._db.execute(
            "SELECT id, value, seq, delay, skew, fate FROM readings INDEXED BY readings_odd "
            "WHERE delay NOT BETWEEN -600000 AND 600000 AND seq BETWEEN ? AND ?",
            (first, last),
        )
        for key, value, seq, delay, skew, fate in chain(ordinary, odd):
            yield key % SERIES_SPAN, unpack(key >> SERIES_BITS, value, seq, fate, words), delay, skew

    def _inputs(self, first: int, last: int) -> list[Journalled]:
        return [
            (seq, Instant(wall_ms, mono_ms), decode_input(kind, self._names.show(body)))
            for seq, wall_ms, mono_ms, kind, body in self._db.execute(
                "SELECT seq, wall_ms, mono_ms, kind, body FROM inputs WHERE seq BETWEEN ? AND ?",
                (first, last),
            )
        ]
