"""The chain: each row of the log carries a seal over itself and the seal of the row before.

seal(n) = SHA-256(seal(n-1) + row n), over `events`, `commands`, `alarms`, what people and the settings said
(`SEALED_INPUTS`) and the store's own `marks`, in the order they are written, in the transaction that writes
them. A row holds its number in the chain (`place`) and its seal (`link`); the first row is a mark, and its
forerunner is 32 zero bytes. Readings are too many for that: the readings of an hour get one mark together,
once the hour is summed up.

Not here: looking whether it holds (`verify`). Nothing secret goes into a seal: whoever can write the file can
make a chain anew, so the newest seal must be kept somewhere else too (see `Head`).
"""

import hashlib
import json
import sqlite3
import struct
from collections.abc import Iterable
from dataclasses import dataclass
from itertools import starmap
from typing import get_args

from gillhouse.core.inputs import Due, Input, LinkChange, Reading, RelayReport
from gillhouse.store.packing import SERIES_BITS

START = bytes(32)
"""What the first seal is made over, in place of a forerunner."""

NOT_SEALED = (Reading, Due, RelayReport, LinkChange)
"""Inputs that are many, follow from boards and clocks, and go when their readings go. What was done because
of them is a sealed row of its own."""

SEALED_INPUTS = frozenset(kind.__name__ for kind in get_args(Input) if kind not in NOT_SEALED)
"""All others are in the chain, and kept for good: what people did, what was in force, when it began."""

COLUMNS: dict[str, str] = {
    # table: what of a row is sealed, its key first
    "events": "id, seq, ts, kind, subject, space, reason, facts, causes",
    "commands": ("id, seq, ts, relay, is_on, lease_ms, authority, reason, facts, causes, renewal, advise"),
    "alarms": (
        "id, seq, ts, alarm, kind, occurrence, transition, priority, state, announce, space, who, facts"
    ),
    "inputs": "seq, wall_ms, mono_ms, kind, body",
    "marks": "id, ts, kind, body",
}

ANCHOR, HOUR, RETIRED, ERASED = "anchor", "hour", "retired", "erased"
"""Kinds of marks: where the chain begins; an hour's readings and their sums; how far readings may have been
removed; a person's name was erased."""

HOUR_MS = 3_600_000

Value = int | str | None

_encode = json.JSONEncoder(separators=(",", ":"), default=repr).encode
_READING = struct.Struct("<qdqqqq")
_SUMS = struct.Struct("<qqqddd")


def canonical_row(table: str, row: Iterable[Value]) -> bytes:
    """A row as it is sealed: a JSON array of its table's name and `COLUMNS`, ASCII, without blanks."""
    return _encode([table, *row]).encode("ascii")


def seal(before: bytes, row: bytes) -> bytes:
    return hashlib.sha256(before + row).digest()


@dataclass(frozen=True, slots=True)
class Head:
    """The newest row of the chain. Written down elsewhere, it proves all rows up to it."""

    place: int
    link: bytes

    def __str__(self) -> str:
        """Short enough for a message: the number and half of the seal (128 bits)."""
        return f"{self.place}-{self.link.hex()[:32]}"


def head_of(db: sqlite3.Connection) -> Head | None:
    """The chain's newest row; None before there is one."""
    newest = None
    for sql in _NEWEST:
        row = db.execute(sql).fetchone()
        if row is not None and (newest is None or row[0] > newest.place):
            newest = Head(*row)
    return newest


_NEWEST = (
    "SELECT place, link FROM events WHERE place IS NOT NULL ORDER BY id DESC LIMIT 1",
    "SELECT place, link FROM commands WHERE place IS NOT NULL ORDER BY id DESC LIMIT 1",
    "SELECT place, link FROM alarms WHERE place IS NOT NULL ORDER BY id DESC LIMIT 1",
    "SELECT place, link FROM inputs WHERE place IS NOT NULL ORDER BY place DESC LIMIT 1",
    "SELECT place, link FROM marks ORDER BY id DESC LIMIT 1",
)


class Chain:
    """Seals rows as they are written through `db`. After a rollback, make a new one."""

    def __init__(self, db: sqlite3.Connection) -> None:
        self._db = db
        head = head_of(db)
        self.place, self._link = (0, START) if head is None else (head.place, head.link)
        (retired,) = db.execute(
            "SELECT max(json_extract(body, '$.before_ms')) FROM marks WHERE kind = ?", (RETIRED,)
        ).fetchone()
        self._retired_ms: int = retired or 0
        self._ids: dict[str, int] = {
            table: db.execute(sql).fetchone()[0] for table, sql in _NEWEST_ID.items()
        }

    def next_id(self, table: str) -> int:
        """The key the next row of a table gets: it is sealed with the row."""
        self._ids[table] += 1
        return self._ids[table]

    def sealed(self, table: str, row: Iterable[Value]) -> tuple[int, bytes]:
        """`place` and `link` of the row about to be written."""
        self.place += 1
        self._link = hashlib.sha256(self._link + canonical_row(table, row)).digest()
        return self.place, self._link

    def mark(self, ts: int, kind: str, body: dict[str, object]) -> None:
        """Writes a mark into the chain."""
        row = (self.next_id("marks"), ts, kind, json.dumps(body, sort_keys=True, separators=(",", ":")))
        self._db.execute("INSERT INTO marks VALUES (?, ?, ?, ?, ?, ?)", (*row, *self.sealed("marks", row)))

    def begin(self, wall_ms: int) -> None:
        """Writes the first mark, unless there is one: what stands in the store by now is not sealed."""
        if self.place:
            return
        counts = {table: self._db.execute(sql).fetchone() for table, sql in _BEFORE.items()}
        (version,) = self._db.execute("SELECT max(position) FROM migrations").fetchone()
        self.mark(
            wall_ms,
            ANCHOR,
            {
                "older": {table: {"rows": rows, "last": last} for table, (rows, last) in counts.items()},
                "schema": version,
            },
        )

    def seal_hour(self, wall_ms: int, begin: int) -> None:
        """Seals an hour's readings and sums as they are now; `begin` in wall ms."""
        rows, upto, readings = readings_digest(self._db, begin)
        body: dict[str, object] = {
            "begin": begin, "rows": rows, "upto": upto, "readings": readings,
            "sums": sums_digest(self._db, begin),
        }  # fmt: skip
        self.mark(wall_ms, HOUR, body)

    def retire(self, wall_ms: int, before_ms: int) -> None:
        """Tells, before it is done, that readings older than `before_ms` are being removed for their age."""
        if before_ms <= self._retired_ms:
            return
        self._retired_ms = -(-before_ms // HOUR_MS) * HOUR_MS
        self.mark(wall_ms, RETIRED, {"before_ms": self._retired_ms})


_NEWEST_ID = {
    "events": "SELECT coalesce(max(id), 0) FROM events",
    "commands": "SELECT coalesce(max(id), 0) FROM commands",
    "alarms": "SELECT coalesce(max(id), 0) FROM alarms",
    "marks": "SELECT coalesce(max(id), 0) FROM marks",
}

_BEFORE = {
    "events": "SELECT count(*), coalesce(max(id), 0) FROM events",
    "commands": "SELECT count(*), coalesce(max(id), 0) FROM commands",
    "alarms": "SELECT count(*), coalesce(max(id), 0) FROM alarms",
    "inputs": "SELECT 0, coalesce(max(seq), 0) FROM inputs",  # the unsealed ones go with time
}


def readings_digest(db: sqlite3.Connection, begin: int, upto: int | None = None) -> tuple[int, int, str]:
    """Of the readings of the hour from `begin` (wall ms), in order of their keys.

    Args:
        upto: only readings whose number (`seq`) is not greater; None: all.
    Returns:
        How many, the greatest number among them, and the SHA-256 in hex over each as six little-endian
        8-byte fields: id, value (a double), seq, delay, skew, fate.
    """
    cursor = db.execute(
        "SELECT id, value, seq, delay, skew, fate FROM readings WHERE id >= ? AND id < ? AND seq <= ? "
        "ORDER BY id",
        (begin << SERIES_BITS, begin + HOUR_MS << SERIES_BITS, (1 << 62) if upto is None else upto),
    )
    digest, rows, greatest = hashlib.sha256(), 0, 0
    while some := cursor.fetchmany(500):
        digest.update(b"".join(starmap(_READING.pack, some)))
        rows += len(some)
        greatest = max(greatest, *(row[2] for row in some))
    return rows, greatest, digest.hexdigest()


def sums_digest(db: sqlite3.Connection, begin: int) -> str:
    """SHA-256 in hex over an hour's sums, packed as the readings are: id, n, known_ms, least, most, mean."""
    found = db.execute(
        "SELECT id, n, known_ms, least, most, mean FROM hours WHERE id >= ? AND id < ? ORDER BY id",
        (begin << SERIES_BITS, begin + HOUR_MS << SERIES_BITS),
    )
    return hashlib.sha256(b"".join(starmap(_SUMS.pack, found))).hexdigest()
