"""Entries into rows: all the SQL that writes, in one place. No threads, no clock, no commit.

`Tables` keeps what rows refer to (series ids, codes of words, segments) in memory. After a rollback those may
be ahead of the file: make a new `Tables`.
"""

import sqlite3
from bisect import bisect_right
from collections import Counter
from collections.abc import Callable, Iterable, Sequence
from datetime import UTC, datetime
from operator import itemgetter
from typing import Any

from gillhouse.core.inputs import Delivery
from gillhouse.errors import StoreError
from gillhouse.store import rows
from gillhouse.store.chain import SEALED_INPUTS, Chain
from gillhouse.store.codec import canonical, encode_causes, encode_facts, encode_input, encode_spare_reading
from gillhouse.store.hours import Hours
from gillhouse.store.names import Hiding
from gillhouse.store.packing import MOST_SERIES, MOST_WORDS, SERIES_BITS, pack

LineOf = Callable[[rows.ReadingRow, rows.SeriesRow], str | None]
"""A reading as a line for the mirror, or None for one it is not to have."""

SAME_KEY = "reading-same-moment"
"""Counter: readings whose (ts, series) was taken. They are kept among the inputs, so a replay has them."""

MIRROR_DROPPED = "mirror-line-dropped"
"""Counter: lines the mirror never got, because it was away for longer than they are kept."""

RESERVE = 100_000
"""`meta.next_seq` is written this far ahead, once per so many numbers: no row is rewritten at each commit."""

_READING = "INSERT OR IGNORE INTO readings (id, value, seq, delay, skew, fate) VALUES (?, ?, ?, ?, ?, ?)"
_INPUT = "INSERT INTO inputs VALUES (?, ?, ?, ?, ?, ?, ?)"
_UNKNOWN = "unknown"


class Tables:
    """Writes entries through `db`, inside a transaction the caller has begun."""

    def __init__(self, db: sqlite3.Connection, line_of: LineOf | None = None) -> None:
        self._db = db
        self._line_of = line_of
        self._series: dict[str, tuple[int, rows.SeriesRow]] = {
            sensor: (key, rows.SeriesRow(sensor, quantity, unit, space, zone))
            for key, sensor, quantity, unit, space, zone in db.execute("SELECT * FROM series")
        }
        self._words: dict[str, int] = {
            word: code for code, word in db.execute("SELECT code, word FROM words")
        } | {"": 0, Delivery.LIVE.value: 0}
        segments = db.execute(
            "SELECT first_seq, wall_ms - mono_ms FROM segments ORDER BY first_seq, id"
        ).fetchall()
        self._first_seqs: list[int] = [first for first, _ in segments]
        self._bases: list[int] = [base for _, base in segments]
        self._reserved = next_seq(db)
        self.last_seq = -1
        """Greatest sequence number written through this object."""
        self.hours = Hours(db)
        self.chain = Chain(db)
        self.names = Hiding(db)
        self._counters: Counter[tuple[str, str, str]] = Counter()
        self.wall_ms = 0

    def write(self, entries: Sequence[rows.Entry], wall_ms: int) -> None:
        """Writes all of `entries`, in order, at the wall time `wall_ms`.

        Raises sqlite3.Error, StoreError, and what Python raises for a value no column can hold; roll back
        then.
        """
        self.wall_ms = wall_ms
        self.chain.begin(wall_ms)
        readings: list[tuple[int, float, int, int, int, int]] = []
        by_seq: dict[int, rows.ReadingRow] = {}
        for entry in entries:
            if isinstance(entry, rows.ReadingRow):
                readings.append(self._reading(entry))
                by_seq[entry.seq] = entry
            else:
                _WRITE[type(entry)](self, entry)
        if readings:
            self._write_readings(readings, by_seq)
        self._write_counters()
        self._reserve(entries)

    def _reading(self, row: rows.ReadingRow) -> tuple[int, float, int, int, int, int]:
        reading, verdict, words = row.reading, row.verdict, self._words
        known = self._series.get(reading.sensor)
        key = self._new_series(reading.sensor) if known is None else known[0]
        for word in (verdict.mark, reading.delivery):
            if word not in words:
                self._new_word(word)
        fate = pack(
            verdict.quality,
            reading.own_time,
            words[verdict.mark],
            words[reading.delivery],
            reading.board_seq,
        )
        now, ts = row.now, reading.sensed_ms
        skew = now.mono_ms - now.wall_ms + self.base(row.seq)
        return ts << SERIES_BITS | key, reading.value, row.seq, now.wall_ms - ts, skew, fate

    def base(self, seq: int) -> int:
        """Wall minus monotonic time at the start of the segment `seq` lies in; 0 before the first."""
        position = bisect_right(self._first_seqs, seq)
        return self._bases[position - 1] if position else 0

    def _write_readings(
        self, readings: list[tuple[int, float, int, int, int, int]], by_seq: dict[int, rows.ReadingRow]
    ) -> None:
        readings.sort(key=itemgetter(0))  # in the table's own order: fuller pages, fewer of them touched
        before = self._db.total_changes
        self._db.executemany(_READING, readings)
        written: Iterable[rows.ReadingRow] = by_seq.values()
        if self._db.total_changes - before != len(readings):
            taken = [by_seq[seq] for key, _, seq, *_ in readings if not self._stored(key, seq)]
            self._write_taken(taken)
            written = [row for row in by_seq.values() if row not in taken]
        self.hours.note([key for key, *_ in readings])
        if self._line_of is not None:
            self._write_lines(written, self._line_of)

    def _stored(self, key: int, seq: int) -> bool:
        found = self._db.execute("SELECT seq FROM readings WHERE id = ?", (key,)).fetchone()
        return found is not None and found[0] == seq

    def _write_taken(self, taken: Iterable[rows.ReadingRow]) -> None:
        for row in taken:
            kind_and_body = encode_spare_reading(row.reading, row.verdict)
            self._db.execute(_INPUT, (row.seq, row.now.wall_ms, row.now.mono_ms, *kind_and_body, None, None))
            _write_counter(self, rows.CounterRow(SAME_KEY, row.reading.sensor, 1, row.now.wall_ms))

    def _write_lines(self, written: Iterable[rows.ReadingRow], line_of: LineOf) -> None:
        lines = ((row.now.wall_ms, line_of(row, self._series[row.reading.sensor][1])) for row in written)
        self._db.executemany(
            "INSERT INTO mirror_outbox (ts, line) VALUES (?, ?)", [pair for pair in lines if pair[1]]
        )

    def _write_counters(self) -> None:
        self._db.executemany(
            "INSERT INTO counters VALUES (?, ?, ?, ?) ON CONFLICT DO UPDATE SET n = n + excluded.n",
            [(*key, n) for key, n in self._counters.items()],
        )
        self._counters.clear()

    def _reserve(self, entries: Sequence[rows.Entry]) -> None:
        last = max(
            (entry.seq for entry in entries if isinstance(entry, rows.ReadingRow | rows.InputRow)), default=-1
        )
        self.last_seq = max(self.last_seq, last)
        if last >= self._reserved:
            self._reserved = last + RESERVE
            set_next_seq(self._db, self._reserved)

    def _new_series(self, sensor: str) -> int:
        _write_series(self, rows.SeriesRow(sensor, _UNKNOWN, "", None, ""))
        return self._series[sensor][0]

    def _new_word(self, word: str) -> None:
        code = max(self._words.values()) + 1
        if code > MOST_WORDS:
            raise StoreError(f"no code left for the mark or delivery {word!r}: {MOST_WORDS} are in use")
        self._db.execute("INSERT INTO words VALUES (?, ?)", (code, str(word)))
        self._words[str(word)] = code


def next_seq(db: sqlite3.Connection) -> int:
    """The first sequence number no row can have."""
    found = db.execute("SELECT value FROM meta WHERE key = 'next_seq'").fetchone()
    return 1 if found is None else int(found[0])


def set_next_seq(db: sqlite3.Connection, seq: int) -> None:
    set_meta(db, "next_seq", str(seq))


def set_meta(db: sqlite3.Connection, key: str, value: str) -> None:
    db.execute(
        "INSERT INTO meta VALUES (?, ?) ON CONFLICT DO UPDATE SET value = excluded.value", (key, value)
    )


def _write_input(tables: Tables, row: rows.InputRow) -> None:
    kind, body = encode_input(row.item)
    values = (row.seq, row.now.wall_ms, row.now.mono_ms, kind, tables.names.hide(body))
    place: tuple[int | None, bytes | None] = (None, None)
    if kind in SEALED_INPUTS:
        place = tables.chain.sealed("inputs", values)
    tables._db.execute(_INPUT, (*values, *place))


def _write_command(tables: Tables, row: rows.CommandRow) -> None:
    command, chain = row.command, tables.chain
    values = (
        chain.next_id("commands"),
        row.seq,
        row.ts,
        command.relay,
        int(command.on),
        command.lease_ms,
        int(command.authority),
        str(command.reason),
        tables.names.hide(encode_facts(command.facts)),
        encode_causes(command.causes),
        int(command.renewal),
        int(command.advise),
    )
    tables._db.execute(
        "INSERT INTO commands VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?)",
        (*values, *chain.sealed("commands", values)),
    )


def _write_event(tables: Tables, row: rows.EventRow) -> None:
    event, chain = row.event, tables.chain
    values = (
        chain.next_id("events"),
        row.seq,
        row.ts,
        str(event.kind),
        event.subject,
        event.space,
        None if event.reason is None else str(event.reason),
        tables.names.hide(encode_facts(event.facts)),
        encode_causes(event.causes),
    )
    tables._db.execute(
        "INSERT INTO events VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?)",
        (*values, *chain.sealed("events", values)),
    )


def _write_alarm(tables: Tables, row: rows.AlarmRow) -> None:
    notice, chain, names = row.notice, tables.chain, tables.names
    values = (
        chain.next_id("alarms"),
        row.seq,
        row.ts,
        notice.alarm,
        notice.kind,
        notice.occurrence,
        str(notice.transition),
        notice.priority,
        notice.state,
        int(notice.announce),
        notice.space,
        names.code(notice.who),
        names.hide(encode_facts(notice.facts)),
    )
    tables._db.execute(
        "INSERT INTO alarms VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?)",
        (*values, *chain.sealed("alarms", values)),
    )


def _write_segment(tables: Tables, row: rows.SegmentRow) -> None:
    now = row.now
    tables._db.execute(
        "INSERT INTO segments VALUES (NULL, ?, ?, ?, ?, ?, ?, ?, ?)",
        (
            row.first_seq,
            now.wall_ms,
            now.mono_ms,
            row.digest,
            row.version,
            row.why,
            row.time_unsure,
            tables.names.hide(canonical(dict(row.snapshot))),
        ),
    )
    position = bisect_right(tables._first_seqs, row.first_seq)
    tables._first_seqs.insert(position, row.first_seq)
    tables._bases.insert(position, now.wall_ms - now.mono_ms)


def _write_config(tables: Tables, row: rows.ConfigRow) -> None:
    tables._db.execute(
        "INSERT OR IGNORE INTO configs VALUES (?, ?, ?)",
        (row.digest, row.first_used_ms, canonical(dict(row.files))),
    )


def _write_series(tables: Tables, row: rows.SeriesRow) -> None:
    known = tables._series.get(row.sensor)
    if known is not None and known[1] == row:
        return
    key = known[0] if known else len(tables._series) + 1
    if key > MOST_SERIES:
        raise StoreError(f"no room for sensor {row.sensor!r}: the store holds {MOST_SERIES} at most")
    tables._db.execute(
        "INSERT INTO series VALUES (?, ?, ?, ?, ?, ?) ON CONFLICT (id) DO UPDATE SET "
        "quantity = excluded.quantity, unit = excluded.unit, space = excluded.space, zone = excluded.zone",
        (key, row.sensor, row.quantity, row.unit, row.space, row.zone),
    )
    tables._series[row.sensor] = (key, row)


def _write_counter(tables: Tables, row: rows.CounterRow) -> None:
    at_ms = tables.wall_ms if row.ts is None else row.ts
    day = datetime.fromtimestamp(at_ms / 1000, UTC).date().isoformat()
    tables._counters[day, row.name, row.subject] += row.n


def _write_meta(tables: Tables, row: rows.MetaRow) -> None:
    set_meta(tables._db, row.key, tables.names.hide(canonical(row.value)))


def _write_outbox(tables: Tables, row: rows.OutboxRow) -> None:
    tables._db.execute(
        "INSERT INTO outbox (id, ts, channel, alarm, occurrence, subject, text, next_try, attachments) "
        "VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?)",
        (
            row.id,
            row.ts,
            row.channel,
            row.alarm,
            row.occurrence,
            row.subject,
            row.text,
            row.next_try,
            row.attachments,
        ),
    )


def _update_outbox(tables: Tables, row: rows.OutboxUpdate) -> None:
    tables._db.execute(
        "UPDATE outbox SET attempts = ?, next_try = ?, last_error = ?, sent = ? WHERE id = ?",
        (row.attempts, row.next_try, row.last_error, row.sent, row.id),
    )


def _mark_mirrored(tables: Tables, row: rows.MirrorSent) -> None:
    tables._db.executemany(
        "UPDATE mirror_outbox SET sent = ? WHERE id = ?", [(row.sent, key) for key in row.ids]
    )


def _park_mirrored(tables: Tables, row: rows.MirrorParked) -> None:
    tables._db.execute("UPDATE mirror_outbox SET parked = ? WHERE id = ?", (row.reason, row.id))


def _rewind_mirror(tables: Tables, row: rows.MirrorRewind) -> None:
    tables._db.execute("UPDATE mirror_outbox SET sent = NULL WHERE sent >= ?", (row.since,))


def _drop_mirrored(tables: Tables, row: rows.MirrorDrop) -> None:
    db = tables._db
    db.execute("DELETE FROM mirror_outbox WHERE sent < ?", (row.sent_before,))
    # Lines lie in order of time: from the oldest to the first that is young enough.
    dropped = db.execute(
        "DELETE FROM mirror_outbox WHERE id < coalesce("
        "(SELECT id FROM mirror_outbox WHERE ts >= ? ORDER BY id LIMIT 1), 1 << 62)",
        (row.made_before,),
    ).rowcount
    if dropped:
        _write_counter(tables, rows.CounterRow(MIRROR_DROPPED, "", dropped))


_WRITE: dict[type, Callable[[Tables, Any], None]] = {
    rows.InputRow: _write_input,
    rows.CommandRow: _write_command,
    rows.EventRow: _write_event,
    rows.AlarmRow: _write_alarm,
    rows.SegmentRow: _write_segment,
    rows.ConfigRow: _write_config,
    rows.SeriesRow: _write_series,
    rows.CounterRow: _write_counter,
    rows.MetaRow: _write_meta,
    rows.OutboxRow: _write_outbox,
    rows.OutboxUpdate: _update_outbox,
    rows.MirrorSent: _mark_mirrored,
    rows.MirrorParked: _park_mirrored,
    rows.MirrorRewind: _rewind_mirror,
    rows.MirrorDrop: _drop_mirrored,
}
