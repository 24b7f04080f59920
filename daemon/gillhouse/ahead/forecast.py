"""A short forecast as a grower feeds it: a CSV with a `time` and a temperature; other columns may be there.

Here: text to hours of temperature, in order of nothing but their time. Not here: fetching one (no service is
called), weather years (`weather_csv`).
"""

import csv
from collections.abc import Sequence
from datetime import UTC, datetime, tzinfo
from typing import Final

from gillhouse.ahead.warmth import HOUR_MS

COLDEST_C: Final = -60.0
WARMEST_C: Final = 60.0
COLUMNS: Final = {"temp_c": (1.0, 0.0), "temp_f": (5 / 9, -160 / 9)}
"""Column -> factor and offset to degrees C."""


class ForecastError(ValueError):
    """A forecast that cannot be used: which line, what is wrong, what to do."""


def forecast(lines: Sequence[str], name: str, zone: tzinfo) -> dict[int, float]:
    """Begin of each hour (wall ms) -> its temperature, degrees C; several in an hour are averaged.

    Args:
        name: as the grower knows the file; stands before each mistake.
        zone: of times that tell none of their own.
    Raises:
        ForecastError: no such columns, a row that is off, or no row at all.
    """
    head, *table = _cells(lines, name)
    given = [column for column in COLUMNS if column in head]
    if "time" not in head or len(given) != 1:
        raise ForecastError(
            f"{name}: the first line names the columns; it needs time and one of {', '.join(COLUMNS)}"
            f" (got {', '.join(head)[:80] or 'nothing'})"
        )
    factor, offset = COLUMNS[given[0]]
    at, what = head.index("time"), head.index(given[0])
    hours: dict[int, list[float]] = {}
    for number, row in enumerate(table, 2):
        if not any(row):
            continue
        if len(row) <= max(at, what):
            raise ForecastError(f"{name}: row {number}: {len(row)} cells, {len(head)} columns are named")
        temp_c = _number(row[what], f"{name}: row {number}", (factor, offset))
        begin_ms = _moment_ms(row[at], f"{name}: row {number}", zone)
        hours.setdefault(begin_ms - begin_ms % HOUR_MS, []).append(temp_c)
    if not hours:
        raise ForecastError(f"{name}: holds no hours; leave it out, or feed one with rows")
    return {begin: sum(temps) / len(temps) for begin, temps in hours.items()}


def _cells(lines: Sequence[str], name: str) -> list[list[str]]:
    """The rows, the names of the columns first; an empty row of names where there is no line."""
    try:
        rows = [
            [cell.strip() for cell in row]
            for row in csv.reader(line for line in lines if not line.startswith("#"))
        ]
    except csv.Error as error:
        raise ForecastError(f"{name}: cannot be read as CSV ({error}); save it as plain CSV") from None
    head = [cell.lower() for cell in rows[0]] if rows else []
    return [head, *rows[1:]]


def _number(text: str, where: str, unit: tuple[float, float]) -> float:
    try:
        value = float(text)
    except ValueError:
        raise ForecastError(f"{where}: temperature {text.strip()!r} is no number; take the row out") from None
    temp_c = value * unit[0] + unit[1]
    if not COLDEST_C <= temp_c <= WARMEST_C:
        raise ForecastError(f"{where}: {text.strip()} is no temperature of air; is the unit right?")
    return temp_c


def _moment_ms(text: str, where: str, zone: tzinfo) -> int:
    try:
        moment = datetime.fromisoformat(text.strip())
    except ValueError:
        raise ForecastError(f"{where}: time {text.strip()!r} is not like 2026-05-21 14:00") from None
    if moment.tzinfo is None:
        moment = moment.replace(tzinfo=zone)
    return round(moment.astimezone(UTC).timestamp() * 1000)
