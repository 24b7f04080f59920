"""What a store holds when its writer opens it: where to go on, and a clean stop or not.

Each question is answered from the newest end of a table, so that a store of years opens as fast as a new one.
"""

import sqlite3

from gillhouse.store.records import Opened
from gillhouse.store.tables import next_seq


def found(db: sqlite3.Connection, new: bool) -> Opened:
    """What `db` holds; `new` when its file was not there before."""
    clean = db.execute("SELECT value FROM meta WHERE key = 'clean'").fetchone()
    (last_outbox,) = db.execute("SELECT coalesce(max(id), 0) FROM outbox").fetchone()
    return Opened(
        new=new,
        clean=clean is None or clean[0] == "1",
        next_seq=next_seq(db),
        next_outbox_id=last_outbox + 1,
        last_ms=last_wall_ms(db),
    )


def last_wall_ms(db: sqlite3.Connection) -> int | None:
    """Wall time of the newest row among readings (by arrival), inputs and events."""
    newest = [
        db.execute("SELECT ts + delay FROM readings ORDER BY id DESC LIMIT 1").fetchone(),
        db.execute("SELECT wall_ms FROM inputs ORDER BY seq DESC LIMIT 1").fetchone(),
        db.execute("SELECT ts FROM events ORDER BY id DESC LIMIT 1").fetchone(),
    ]
    return max((row[0] for row in newest if row is not None), default=None)
