"""What a store holds when its writer opens it: where to go on, a clean stop or not, repeats to know.

Each question is answered from the newest end of a table, so that a store of years opens as fast as a new one.
"""

import sqlite3

from gillhouse.store.packing import SERIES_BITS, SERIES_SPAN
from gillhouse.store.records import Opened, Seed
from gillhouse.store.tables import next_seq

SEED_WINDOW_MS = 2 * 3_600_000
"""How far back from the newest reading repeats are looked for. A broker sends again what it had in flight."""

SEED_BOARD_SEQS = 64
"""Sequence numbers kept per sensor."""


def found(db: sqlite3.Connection, new: bool) -> Opened:
    """What `db` holds; `new` when its file was not there before."""
    clean = db.execute("SELECT value FROM meta WHERE key = 'clean'").fetchone()
    (last_outbox,) = db.execute("SELECT coalesce(max(id), 0) FROM outbox").fetchone()
    return Opened(
        new=new,
        clean=clean is None or clean[0] == "1",
        next_seq=next_seq(db),
        next_outbox_id=last_outbox + 1,
        last_ms=last_ms(db),
        seeds=seeds(db),
    )


def last_ms(db: sqlite3.Connection) -> int | None:
    """Wall time of the newest row among readings (by arrival), inputs and events."""
    newest = [
        db.execute("SELECT ts + delay FROM readings ORDER BY id DESC LIMIT 1").fetchone(),
        db.execute("SELECT wall_ms FROM inputs ORDER BY seq DESC LIMIT 1").fetchone(),
        db.execute("SELECT ts FROM events ORDER BY id DESC LIMIT 1").fetchone(),
    ]
    return max((row[0] for row in newest if row is not None), default=None)


def seeds(db: sqlite3.Connection) -> dict[str, Seed]:
    """By sensor, what was stored of it in the last hours before the newest reading."""
    newest = db.execute("SELECT max(id) FROM readings").fetchone()[0]
    if newest is None:
        return {}
    sensors = dict(db.execute("SELECT id, sensor FROM series"))
    last: dict[int, int] = {}
    board_seqs: dict[int, list[int]] = {}
    for key, fate in db.execute(
        "SELECT id, fate FROM readings WHERE id > ? ORDER BY id DESC",
        (newest - (SEED_WINDOW_MS << SERIES_BITS),),
    ):
        series = key % SERIES_SPAN
        last.setdefault(series, key >> SERIES_BITS)
        seq = fate >> 15
        if seq and len(kept := board_seqs.setdefault(series, [])) < SEED_BOARD_SEQS:
            kept.append(seq - 1)
    return {sensors[key]: Seed(ts, tuple(board_seqs.get(key, ()))) for key, ts in last.items()}
