"""Questions about the lines that wait for the mirror. Reads only."""

import sqlite3


class MirrorQueries:
    """Lines in the order they were made."""

    _db: sqlite3.Connection

    def mirror_start(self, rewind_ms: int) -> int:
        """The id sending goes on after: before the first open line, and before those sent in the last
        `rewind_ms` of sending, which a receiver that lost power may have forgotten."""
        (first,) = self._db.execute(
            "SELECT min(id) FROM mirror_outbox WHERE sent IS NULL AND parked IS NULL"
        ).fetchone()
        (again,) = self._db.execute(
            "SELECT min(id) FROM mirror_outbox WHERE sent >= (SELECT max(sent) FROM mirror_outbox "
            "WHERE sent IS NOT NULL) - ?",
            (rewind_ms,),
        ).fetchone()
        (last,) = self._db.execute("SELECT coalesce(max(id), 0) FROM mirror_outbox").fetchone()
        return int(min([key - 1 for key in (first, again) if key is not None], default=last))

    def mirror_lines(self, after: int, most: int) -> list[tuple[int, str]]:
        """Up to `most` lines with ids beyond `after`, sent or not, as (id, line); parked ones left out."""
        return self._db.execute(
            "SELECT id, line FROM mirror_outbox WHERE id > ? AND parked IS NULL ORDER BY id LIMIT ?",
            (after, most),
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
