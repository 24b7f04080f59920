"""Does the chain hold? Walks all sealed rows in their order, then the hours' readings: what does not fit?

Reads only; nothing here mends anything. How a finding comes about:

* a row's seal is not the one of its words: the row was changed (or two changed places), or its seal was;
* a number is missing: a row was removed. What the next row says cannot be vouched for then: its forerunner's
  seal went with it;
* a row has no number, or one that is taken: it was put in;
* an hour's readings or sums are not those that were sealed.

See `chain` for what is sealed and how. A cut tail and a chain made anew are found only against a `Head` that
was kept elsewhere.
"""

import hashlib
import json
import sqlite3
from collections.abc import Iterator
from contextlib import suppress
from dataclasses import dataclass, field, replace
from typing import Any

from gillhouse.store.chain import (
    ANCHOR,
    COLUMNS,
    ERASED,
    HOUR,
    RETIRED,
    SEALED_INPUTS,
    START,
    Head,
    canonical_row,
    seal,
)
from gillhouse.store.verify_hours import DAY_MS, HourSeal, hours_findings

KEPT_AT_LEAST_MS = 30 * DAY_MS
"""Readings younger than this are never removed for their age: the least `store: keep` a config may say."""

MOST_PAIRED = 300
"""Changed rows looked through for two that changed places."""

_SEALED = (
    "SELECT place, 'events', id FROM events WHERE place IS NOT NULL "
    "UNION ALL SELECT place, 'commands', id FROM commands WHERE place IS NOT NULL "
    "UNION ALL SELECT place, 'alarms', id FROM alarms WHERE place IS NOT NULL "
    "UNION ALL SELECT place, 'inputs', seq FROM inputs WHERE place IS NOT NULL "
    "UNION ALL SELECT place, 'marks', id FROM marks ORDER BY 1, 2, 3"
)

_KEY = {table: "seq" if table == "inputs" else "id" for table in COLUMNS}
_TIME = {table: "wall_ms" if table == "inputs" else "ts" for table in COLUMNS}
_AT = {table: columns.split(", ").index(_TIME[table]) for table, columns in COLUMNS.items()}
_ROW = {
    table: f"SELECT link, {columns} FROM {table} WHERE {_KEY[table]} = ?"  # noqa: S608  our own constants
    for table, columns in COLUMNS.items()
}
_UNSEALED = {
    "events": "SELECT id, ts FROM events WHERE place IS NULL AND id > ?",
    "commands": "SELECT id, ts FROM commands WHERE place IS NULL AND id > ?",
    "alarms": "SELECT id, ts FROM alarms WHERE place IS NULL AND id > ?",
    "inputs": (
        "SELECT seq, wall_ms FROM inputs WHERE place IS NULL AND seq > ?1 "
        "AND kind IN (SELECT value FROM json_each(?2))"
    ),
}
_OLDER = {
    "events": "SELECT count(*) FROM events WHERE place IS NULL AND id <= ?",
    "commands": "SELECT count(*) FROM commands WHERE place IS NULL AND id <= ?",
    "alarms": "SELECT count(*) FROM alarms WHERE place IS NULL AND id <= ?",
}


@dataclass(frozen=True, slots=True)
class Finding:
    """Something that does not fit. `ts` in wall ms: of the row, or of the next one where it is gone."""

    ts: int
    what: str


@dataclass(slots=True)
class Checked:
    """What a walk found. It holds if `findings` is empty."""

    findings: list[Finding] = field(default_factory=list)
    """In order of time."""
    rows: int = 0
    """Sealed rows walked."""
    hours: int = 0
    """Hours whose readings were compared with their seal."""
    late: int = 0
    """Hours sealed more than once, because readings came in late."""
    older: int = 0
    """Rows from before the chain, which nobody can vouch for."""
    begins_ms: int | None = None
    head: Head | None = None


@dataclass(frozen=True, slots=True)
class _Row:
    """One sealed row."""

    place: int
    table: str
    key: int
    link: bytes
    values: tuple[int | str | None, ...]
    before: bytes | None = None
    """The seal it was made over, as far as it is known."""

    @property
    def ts(self) -> int:
        at = self.values[_AT[self.table]]
        return at if isinstance(at, int) else 0  # whoever changes a row may leave anything there

    @property
    def words(self) -> bytes:
        return canonical_row(self.table, self.values)

    def __str__(self) -> str:
        return f"row {self.key} of {self.table} (number {self.place})"


def verify(db: sqlite3.Connection, head: str | None = None) -> Checked:
    """Walks the whole store, within one read transaction of the caller's.

    Args:
        head: a seal kept elsewhere, as the morning report writes it (`4711-9a3f...`), or its digits alone.
    Raises:
        ValueError: `head` is not written like one.
    """
    walk = _Walk(db, Checked(), _wanted(head))
    walk.rows()
    walk.unsealed()
    walk.findings += [
        Finding(ts, what) for ts, what in hours_findings(db, walk.hours, walk.checked, walk.retired_ms)
    ]
    walk.configs()
    walk.head()
    walk.checked.findings = sorted(walk.findings, key=lambda one: one.ts)
    return walk.checked


@dataclass(frozen=True, slots=True)
class _Wanted:
    """A head as somebody wrote it down."""

    place: int | None
    digits: str


def _wanted(head: str | None) -> _Wanted | None:
    if head is None:
        return None
    place, _, digits = head.strip().lower().rpartition("-")
    whole = len(digits) >= 16 and len(digits) <= 64 and all(one in "0123456789abcdef" for one in digits)
    if not whole or not (place.isdigit() or not place):
        raise ValueError(
            f"{head!r} is not a seal: write it as in the morning report, such as 4711-9a3f and so on, "
            f"with at least 16 of its digits"
        )
    return _Wanted(int(place) if place else None, digits)


class _Walk:  # 16 methods: one for each thing a row may tell, and for each way it may not fit
    """One look through a store."""

    def __init__(self, db: sqlite3.Connection, checked: Checked, wanted: _Wanted | None) -> None:
        self._db = db
        self.checked = checked
        self.findings: list[Finding] = []
        self.hours: dict[int, list[HourSeal]] = {}
        """Begin of the hour -> its seals, oldest first."""
        self.retired_ms = 0
        self._wanted = wanted
        self._seen: Head | None = None
        """The row that is the wanted head."""
        self._older: dict[str, dict[str, int]] = {}
        self._erased: set[str] = set()
        self._digests: dict[str, int] = {}
        self._changed: list[_Row] = []

    def rows(self) -> None:
        """Every sealed row, in the chain's order."""
        expected, before, last = 1, START, None
        known: bytes | None = before
        recomputed: bytes | None = None  # what the row before would be sealed with, by its words
        for row in self._sealed():
            self.checked.rows += 1
            if row.place < expected:
                self._say(row.ts, f"{row} was put in: its number is taken")
                continue
            if row.place > expected:
                self._gap(expected, row)
                known = recomputed = None
            if known is not None:
                made = seal(known, row.words)
                if made == row.link:
                    recomputed = None
                elif recomputed is not None and seal(recomputed, row.words) == row.link:
                    self._reseal(last)
                    recomputed = None
                else:
                    self._changed.append(replace(row, before=known))
                    recomputed = made
            self._learn(row)
            known, expected, last = row.link, row.place + 1, row
        self._tell_changed()
        if last is not None:
            self.checked.head = Head(last.place, last.link)

    def _sealed(self) -> Iterator[_Row]:
        for place, table, key in self._db.execute(_SEALED):
            link, *values = self._db.execute(_ROW[table], (key,)).fetchone()
            yield _Row(place, table, key, bytes(link or b""), tuple(values))

    def _gap(self, expected: int, row: _Row) -> None:
        gone = row.place - expected
        what = f"number {expected} is" if gone == 1 else f"numbers {expected} to {row.place - 1} are"
        self._say(row.ts, f"{what} missing: removed before {row}, whose words cannot be vouched for now")

    def _reseal(self, last: _Row | None) -> None:
        """The row before fits its words by the seal of the next: only its own seal was touched."""
        changed = self._changed.pop()
        assert last is not None and changed.place == last.place
        self._say(changed.ts, f"{changed} has another seal than it was given; its words are as they were")

    def _tell_changed(self) -> None:
        """Changed rows; two that hold each other's words have changed places."""
        told: set[int] = set()
        some = self._changed[:MOST_PAIRED]
        for row in some:
            other = next((one for one in some if one is not row and _holds(row, one)), None)
            if other is not None and row.place not in told and _holds(other, row):
                told |= {row.place, other.place}
                self._say(row.ts, f"{row} and {other} have changed places")
        for row in self._changed:
            if row.place not in told:
                self._say(row.ts, f"{row} was changed")

    def _learn(self, row: _Row) -> None:
        """Takes in what a mark says, and which configs were in force."""
        wanted = self._wanted
        if wanted is not None and row.link.hex().startswith(wanted.digits):
            self._seen = Head(row.place, row.link)
        if row.table == "inputs" and row.values[3] in ("Started", "SettingsChange"):
            self._digests.setdefault(_body(row).get("digest", ""), row.ts)
        if row.table == "marks":
            with suppress(KeyError, TypeError, AttributeError):  # a changed mark; it is told as changed
                _MARKS.get(str(row.values[2]), _Walk._strange)(self, row)

    def _anchor(self, row: _Row) -> None:
        if row.place != 1:
            self._say(row.ts, f"{row} begins a chain where one had begun: earlier rows were taken out")
        self._older = _body(row)["older"]
        self.checked.begins_ms = row.ts

    def _hour(self, row: _Row) -> None:
        body = _body(row)
        sealed = HourSeal(row.ts, body["rows"], body["upto"], body["readings"], body["sums"])
        self.hours.setdefault(body["begin"], []).append(sealed)

    def _retired(self, row: _Row) -> None:
        before_ms = _body(row)["before_ms"]
        if before_ms > row.ts - KEPT_AT_LEAST_MS + DAY_MS:
            self._say(row.ts, f"{row} calls readings old that were younger than any config allows to remove")
            return
        self.retired_ms = max(self.retired_ms, before_ms)

    def _erase(self, row: _Row) -> None:
        self._erased.update(_body(row)["configs"])

    def _strange(self, row: _Row) -> None:
        self._say(row.ts, f"{row} is a mark of a kind this version does not know")

    def unsealed(self) -> None:
        """Rows without a seal that came after the chain began, and what is left of those from before."""
        for table, sql in _UNSEALED.items():
            last = self._older.get(table, {}).get("last", 0)
            kinds = (last, json.dumps(sorted(SEALED_INPUTS)))[: 2 if table == "inputs" else 1]
            for key, ts in self._db.execute(sql, kinds):
                self._say(ts, f"row {key} of {table} was put in: it is not in the chain")
        for table, sql in _OLDER.items():
            older = self._older.get(table, {"rows": 0, "last": 0})
            (left,) = self._db.execute(sql, (older["last"],)).fetchone()
            self.checked.older += left
            if left != older["rows"]:
                begins = self.checked.begins_ms or 0
                self._say(
                    begins,
                    f"{table} had {older['rows']} rows when the chain began, and has {left} of them now",
                )

    def configs(self) -> None:
        """Each config a start or a change names is kept as it was."""
        for digest, ts in self._digests.items():
            row = self._db.execute("SELECT files FROM configs WHERE digest = ?", (digest,)).fetchone()
            if row is None:
                self._say(ts, f"the config {digest[:12]} was in force and is not kept any more")
            elif digest not in self._erased and _digest(row[0]) != digest:
                self._say(ts, f"the config {digest[:12]} that was in force from then on was changed since")

    def head(self) -> None:
        """The wanted head is a row of this chain."""
        wanted, mine = self._wanted, self.checked.head
        if wanted is None or (self._seen is not None and wanted.place in (None, self._seen.place)):
            return
        ends = 0 if mine is None else mine.place
        last_ms = self._db.execute("SELECT coalesce(max(ts), 0) FROM events").fetchone()[0]
        if wanted.place is not None and wanted.place > ends:
            gone = wanted.place - ends
            self._say(
                last_ms,
                f"the end is cut off: the chain ends at number {ends}, the seal you gave is of number "
                f"{wanted.place}, so {gone} rows are gone",
            )
        else:
            self._say(
                last_ms,
                "the seal you gave is not in this chain: rows were rewritten or cut off since, "
                "or it is of another farm",
            )

    def _say(self, ts: int, what: str) -> None:
        self.findings.append(Finding(ts, what))


_MARKS = {ANCHOR: _Walk._anchor, HOUR: _Walk._hour, RETIRED: _Walk._retired, ERASED: _Walk._erase}


def _holds(row: _Row, other: _Row) -> bool:
    """The words of `other` are those `row` was sealed with."""
    if row.table != other.table or row.before is None:
        return False
    return seal(row.before, canonical_row(row.table, (row.key, *other.values[1:]))) == row.link


def _body(row: _Row) -> dict[str, Any]:
    try:
        found = json.loads(str(row.values[-1]))
    except ValueError:
        found = {}
    return found if isinstance(found, dict) else {}


def _digest(files: str) -> str:
    """As `config.digest_of`: the column holds the very text that was hashed."""
    return hashlib.sha256(files.encode("ascii")).hexdigest()
