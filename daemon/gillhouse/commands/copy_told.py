"""What a copy of the journal holds, in words: read from the copy itself, as proof that it can be."""

import sqlite3
from collections.abc import Iterator
from pathlib import Path

from gillhouse.audit.evidence import config_at
from gillhouse.audit.night import Window
from gillhouse.audit.report import night_of
from gillhouse.audit.text import as_text
from gillhouse.commands.options import since
from gillhouse.errors import StoreError
from gillhouse.store.reader import Reader

READ_MS = 12 * 3_600_000
"""So much of a copy's end is read: a night's length."""


def told(copy: Path, now_ms: int) -> Iterator[str]:
    """Reads the last twelve hours in a copy, as `gillhouse night` would, and its seals; says what was found.

    Args:
        now_ms: wall time.
    Raises:
        StoreError, AuditError: it cannot be read.
    """
    try:
        yield from _read(copy, now_ms)
    except sqlite3.Error as error:
        raise StoreError(f"{copy} cannot be read through ({error}): use another copy") from error


def _read(copy: Path, now_ms: int) -> Iterator[str]:
    with Reader(copy) as reader:
        first, newest_ms = next(iter(reader.segments()), None), reader.last_wall_ms()
        if first is None or newest_ms is None:
            yield "nothing was ever recorded in it"
            return
        end_ms = max(newest_ms, first.now.wall_ms + 1)
        window = Window(end_ms - READ_MS, end_ms, config_at(reader, end_ms).farm.zone)
        lines = as_text(night_of(reader, window, max(now_ms, end_ms))).splitlines()
        checked = reader.verify()
    yield f"recorded until {since(newest_ms)}; the twelve hours before that read well, {len(lines)} lines"
    if checked.findings:
        yield f"ITS SEALS DO NOT HOLD in {len(checked.findings)} places; `gillhouse verify` lists them"
    else:
        yield f"its {checked.rows} sealed rows fit one another"
