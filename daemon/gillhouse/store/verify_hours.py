"""The half of `verify` that looks at readings: are those of each sealed hour as they were sealed?

An hour that late readings fell into has several seals. Each holds for the readings whose number is not
greater than its own `upto`, so a later one takes nothing back.
"""

import sqlite3
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import Protocol

from gillhouse.store.chain import HOUR_MS, readings_digest, sums_digest
from gillhouse.store.packing import SERIES_BITS

DAY_MS = 86_400_000


@dataclass(frozen=True, slots=True)
class HourSeal:
    """What a mark says of an hour; see `chain.readings_digest`."""

    ts: int
    rows: int
    upto: int
    readings: str
    sums: str


class Counted(Protocol):
    """Where the hours looked at are counted."""

    hours: int
    late: int


def hours_findings(
    db: sqlite3.Connection, seals: Mapping[int, Sequence[HourSeal]], counted: Counted, retired_ms: int
) -> Iterator[tuple[int, str]]:
    """What does not fit, as (wall ms, words).

    Args:
        retired_ms: readings before this wall time may have been removed for their age.
    """
    due = {begin for (begin,) in db.execute("SELECT begin FROM hours_due")}
    for begin, sealed in sorted(seals.items()):
        counted.late += len(sealed) > 1
        if begin not in due and sums_digest(db, begin) != sealed[-1].sums:
            yield begin, f"the sums of the hour from {said(begin)} are not those that were sealed"
        if begin >= retired_ms:
            counted.hours += 1
            yield from _readings(db, begin, sealed, begin in due)
    yield from _never_sealed(db, seals, due, retired_ms)


def _readings(
    db: sqlite3.Connection, begin: int, sealed: Sequence[HourSeal], due: bool
) -> Iterator[tuple[int, str]]:
    for one in sealed:
        rows, _, digest = readings_digest(db, begin, one.upto)
        if digest != one.readings:
            if rows == one.rows:
                how = "a reading was changed"
            else:
                how = f"{abs(rows - one.rows)} {'put in' if rows > one.rows else 'removed'}"
            yield begin, f"readings of the hour from {said(begin)} are not those that were sealed: {how}"
            return
    rows, _, _ = readings_digest(db, begin)
    if rows != sealed[-1].rows and not due:
        yield begin, f"readings of the hour from {said(begin)}: {rows - sealed[-1].rows} put in later"


def _never_sealed(
    db: sqlite3.Connection, seals: Mapping[int, Sequence[HourSeal]], due: set[int], retired_ms: int
) -> Iterator[tuple[int, str]]:
    """Hours with readings that should have a seal: after the first one sealed, and not waiting for theirs."""
    first = min(seals, default=None)
    begin = _hour_from(db, max(first, retired_ms) if first is not None else None)
    while begin is not None:
        if begin not in seals and begin not in due:
            yield begin, f"readings of the hour from {said(begin)} were put in: that hour was never sealed"
        begin = _hour_from(db, begin + HOUR_MS)


def _hour_from(db: sqlite3.Connection, from_ms: int | None) -> int | None:
    """The next hour that has readings."""
    if from_ms is None:
        return None
    (key,) = db.execute("SELECT min(id) FROM readings WHERE id >= ?", (from_ms << SERIES_BITS,)).fetchone()
    return None if key is None else (key >> SERIES_BITS) // HOUR_MS * HOUR_MS


def said(wall_ms: int) -> str:
    """A moment in UTC: what a store holds is asked by hand in UTC too."""
    return f"{datetime.fromtimestamp(wall_ms / 1000, UTC):%Y-%m-%d %H:%M} UTC"
