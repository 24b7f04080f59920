"""Questions about the lines that wait for the mirror. Reads only."""

import sqlite3


class MirrorQueries:
    """Lines in the order they were made."""

    _db: sqlite3.Connection

    def mirror_open(self, most: int) -> list[tuple[int, str]]:
        """The oldest `most` lines that were neither sent nor parked, as (id, line)."""
        return self._db.execute(
            "SELECT id, line FROM mirror_outbox WHERE sent IS NULL AND parked IS NULL ORDER BY id LIMIT ?",
            (most,),
        ).fetchall()

    def mirror_waiting(self) -> int:
        """How many lines were neither sent nor parked."""
        (count,) = self._db.execute(
            "SELECT count(*) FROM mirror_outbox WHERE sent IS NULL AND parked IS NULL"
        ).fetchone()
        return int(count)

    def mirror_parked(self) -> list[tuple[int, str, str]]:
        """Lines the receiver refused for good, as (id, line, its reason)."""
        return self._db.execute(
            "SELECT id, line, parked FROM mirror_outbox WHERE parked IS NOT NULL ORDER BY id"
        ).fetchall()
