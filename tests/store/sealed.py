"""A small sealed log of an invented tent, and a second, independent reading of the chain."""

import hashlib
import json
import sqlite3
from dataclasses import replace
from pathlib import Path

from gillhouse.clock import VirtualClock
from gillhouse.core.inputs import Act, Due, OperatorAction, Reading
from gillhouse.core.instant import Instant
from gillhouse.core.outputs import AlarmNotice, Event, EventKind, Transition
from gillhouse.store.rows import AlarmRow, ConfigRow, EventRow, InputRow
from store.kept import T0_MS, command, reading, writing

HOUR_MS = 3_600_000
HOUR0_MS = T0_MS // HOUR_MS * HOUR_MS


def fill(path: Path, rounds: int = 20, hours: int = 2) -> None:
    """Writes `rounds` of each kind of row and `hours` of readings that are over and sealed."""
    clock = VirtualClock(T0_MS)
    with writing(path, clock) as kept:
        kept.writer.put(ConfigRow("d" * 64, T0_MS, {"farm.yaml": "farm: {}"}))
        for turn in range(rounds):
            now, seq = clock.now(), 10 * turn + 1
            note = OperatorAction(Act.NOTE, "tent", "anna" if turn % 2 else "ben", f"turn {turn}")
            kept.writer.put(
                replace(reading(seq), now=now, reading=Reading("tent-1", 91.2, now.wall_ms)),
                replace(command(seq + 1), ts=now.wall_ms),
                InputRow(seq + 2, now, Due("deadline", now.wall_ms)),
                InputRow(seq + 3, now, note),
                EventRow(
                    seq + 3, now.wall_ms, Event(EventKind.NOTE, "tent", "tent", None, {"who": note.who})
                ),
                AlarmRow(seq + 4, now.wall_ms, notice(turn)),
            )
            assert kept.writer.flush()
            clock.advance_to(clock.now().mono_ms + hours * HOUR_MS // rounds)
        for spare in range(hours + 2):  # one hour is summed up, and sealed, at a commit
            clock.advance_to(clock.now().mono_ms + HOUR_MS)
            now = clock.now()
            last = Reading("tent-1", 91.2, now.wall_ms)
            kept.writer.put(replace(reading(10 * rounds + spare + 1), now=now, reading=last))
            assert kept.writer.flush()


def noted(who: str) -> Event:
    return Event(EventKind.NOTE, "tent", "tent", None, {"who": who})


def notice(occurrence: int) -> AlarmNotice:
    return AlarmNotice(
        "humidity-low:tent", "humidity-low", occurrence, Transition.ACK, 1, "C", False, "tent", {}, "anna"
    )


def reseal(path: Path, from_place: int) -> None:
    """What a forger with the file in hand does: makes every seal from a place on anew. By the page alone."""
    db = sqlite3.connect(path)
    links = dict(walk(db))
    before = links[from_place - 1]
    for place, table, key in places(db):
        if place >= from_place:
            before = hashlib.sha256(before + words(db, table, key)).digest()
            name = "seq" if table == "inputs" else "id"
            db.execute(f"UPDATE {table} SET link = ? WHERE {name} = ?", (before, key))
    db.commit()
    db.close()


def places(db: sqlite3.Connection) -> list[tuple[int, str, int]]:
    """(place, table, key) of every sealed row, in order."""
    found = []
    for table in ("events", "commands", "alarms", "inputs", "marks"):
        key = "seq" if table == "inputs" else "id"
        rows = db.execute(f"SELECT place, {key} FROM {table} WHERE place IS NOT NULL").fetchall()
        found += [(place, table, ident) for place, ident in rows]
    return sorted(found)


def words(db: sqlite3.Connection, table: str, key: int) -> bytes:
    """A row as docs/reference/store.md says it is sealed: every column but the last two, as JSON."""
    name = "seq" if table == "inputs" else "id"
    row = db.execute(f"SELECT * FROM {table} WHERE {name} = ?", (key,)).fetchone()
    return json.dumps([table, *row[:-2]], separators=(",", ":")).encode("ascii")


def walk(db: sqlite3.Connection) -> list[tuple[int, bytes]]:
    """(place, seal) of the whole chain, worked out from the rows' words alone."""
    before, made = bytes(32), []
    for place, table, key in places(db):
        before = hashlib.sha256(before + words(db, table, key)).digest()
        made.append((place, before))
    return made


def instant(seq: int) -> Instant:
    return Instant(T0_MS + seq * 1000, seq * 1000)
