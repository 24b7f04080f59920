"""Brings a store to the schema of this version: each migration once, in order, in a transaction of its own.

What was applied is recorded by name in the table `migrations`. A store that carries a name this version does
not know was written by a newer one and is refused, untouched.
"""

import sqlite3
from collections.abc import Sequence

from gillhouse.errors import StoreError
from gillhouse.store.schema import MIGRATIONS


def applied(db: sqlite3.Connection) -> list[str]:
    """Names of the migrations the store has had, in their order."""
    known = db.execute("SELECT 1 FROM sqlite_master WHERE name = 'migrations'").fetchone()
    if known is None:
        return []
    return [name for (name,) in db.execute("SELECT name FROM migrations ORDER BY position")]


def migrate(
    db: sqlite3.Connection, wall_ms: int, migrations: Sequence[tuple[str, str]] = MIGRATIONS
) -> list[str]:
    """Applies what is missing and returns the names of what was applied now.

    `db` is in autocommit mode (`isolation_level=None`). `wall_ms` is recorded beside each name.
    A migration that fails is rolled back whole, those before it stay.

    Raises StoreError when the store is of a newer version or was migrated in another order.
    """
    done = applied(db)
    names = [name for name, _ in migrations]
    if done != names[: len(done)]:
        strange = [name for name in done if name not in names] or done
        raise StoreError(
            f"the store has the schema steps {', '.join(strange)}, which this version does not know in that "
            f"order: it was written by a newer gillhouse, use that one or another --state directory"
        )
    for position, (name, script) in enumerate(migrations):
        if position >= len(done):
            _apply(db, name, script, position, wall_ms)
    return names[len(done) :]


def _apply(db: sqlite3.Connection, name: str, script: str, position: int, wall_ms: int) -> None:
    try:
        db.executescript(
            "BEGIN IMMEDIATE; CREATE TABLE IF NOT EXISTS migrations ("
            "position INTEGER PRIMARY KEY, name TEXT NOT NULL UNIQUE, at INTEGER NOT NULL);" + script
        )
        db.execute("INSERT INTO migrations VALUES (?, ?, ?)", (position, name, wall_ms))
        db.execute("COMMIT")
    except sqlite3.Error:
        if db.in_transaction:
            db.execute("ROLLBACK")
        raise
