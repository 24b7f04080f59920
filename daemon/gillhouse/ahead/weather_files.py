"""Weather files, as text, to `Weather`: which kind it is, and one small reader a kind.

Here: EPW (the weather file of EnergyPlus), TMY3 and TMY2 (typical years of the US National Renewable Energy
Laboratory). The plain CSV is in `weather_csv`. Formats: EnergyPlus, Auxiliary Programs, weather file data
dictionary; Wilcox and Marion, NREL/TP-581-43156 (TMY3); Marion and Urban, user's manual for TMY2s, table 3-2.
Not here: opening files.
"""

import csv
from collections.abc import Callable, Iterator, Sequence
from typing import Final

from gillhouse.ahead import weather_csv
from gillhouse.ahead.weather import Weather, WeatherError, WeatherHour, checked, looked_through

EPW_MONTH, EPW_DAY, EPW_HOUR, EPW_TEMP, EPW_HUMIDITY, EPW_SUN, EPW_WIND, EPW_RAIN = 1, 2, 3, 6, 8, 13, 21, 33
EPW_LEAST_FIELDS: Final = 22
EPW_MISSING: Final = {EPW_TEMP: 99.9, EPW_HUMIDITY: 999.0, EPW_SUN: 9999.0, EPW_WIND: 999.0}
"""From these on a value is missing (the format's own marks)."""
TMY3_COLUMNS: Final = {
    "date": "Date (MM/DD/YYYY)",
    "time": "Time (HH:MM)",
    "temp": "Dry-bulb (C)",
    "humidity": "RHum (%)",
    "wind": "Wspd (m/s)",
    "sun": "GHI (W/m^2)",
}
TMY3_MISSING: Final = -9900.0
TMY2_ROW: Final = 142
"""Characters in a row."""


def read(text: str, name: str) -> Weather:
    """A weather file of any kind.

    Args:
        name: of the file, for messages.
    Raises:
        WeatherError: it is none of these, or a row is off; the message names file, line, value, what to do.
    """
    lines = text.lstrip("\ufeff").splitlines()
    if not lines:
        raise WeatherError(f"{name}: the file is empty")
    try:
        for fits, reader in _KINDS:
            if fits(lines):
                return reader(lines, name)
    except csv.Error as error:
        raise WeatherError(f"{name}: cannot be read as CSV ({error}); save it as plain CSV") from None
    raise WeatherError(
        f"{name}: this is no EPW, TMY3 or TMY2 file, and its first line names no columns we know"
        f" ({lines[0][:60]!r}); a plain CSV begins with: time,temp_c,humidity_pct,wind_m_s"
    )


def _is_epw(lines: Sequence[str]) -> bool:
    return lines[0].startswith("LOCATION,")


def _is_tmy3(lines: Sequence[str]) -> bool:
    return len(lines) > 1 and TMY3_COLUMNS["date"] in lines[1]


def _is_tmy2(lines: Sequence[str]) -> bool:
    return len(lines) > 1 and len(lines[1]) >= TMY2_ROW - 2 and lines[1][1:9].isdigit()


def _number(name: str, line: int, what: str, text: str) -> float:
    try:
        return float(text)
    except ValueError:
        raise WeatherError(f"{name}:{line}: {what} {text!r} is no number; mend or take out the row") from None


def _epw(lines: Sequence[str], name: str) -> Weather:
    head = next(csv.reader(lines[:1]))
    hours, lost = [], 0
    begun = False
    for line, row in enumerate(csv.reader(lines), start=1):
        begun = begun or (bool(row) and row[0].strip() == "DATA PERIODS")
        if not begun or not row or not row[0].strip().isdigit():
            continue
        if len(row) < EPW_LEAST_FIELDS:
            raise WeatherError(f"{name}:{line}: {len(row)} columns, wanted {EPW_LEAST_FIELDS} or more")
        at = [round(_number(name, line, "date", row[column])) for column in (EPW_MONTH, EPW_DAY, EPW_HOUR)]
        values = {
            column: _number(name, line, "value", row[column])
            for column in (EPW_TEMP, EPW_HUMIDITY, EPW_SUN, EPW_WIND)
        }
        missing = {column for column, mark in EPW_MISSING.items() if values[column] >= mark}
        if missing & {EPW_TEMP, EPW_HUMIDITY}:
            lost += 1
            continue
        hour = WeatherHour(
            at[0], at[1], (at[2] - 1) % 24, values[EPW_TEMP], values[EPW_HUMIDITY],
            None if EPW_WIND in missing else values[EPW_WIND],
            None if EPW_SUN in missing else values[EPW_SUN],
        )  # fmt: skip
        hours.append(checked(name, line, hour))
    notes = looked_through(name, hours, lost)
    latitude = _number(name, 1, "latitude", head[6]) if len(head) > 6 else None
    return Weather(head[1].title() if len(head) > 1 else name, latitude, "a typical year (EPW)", hours, notes)


def _tmy3(lines: Sequence[str], name: str) -> Weather:
    head, columns = next(csv.reader(lines[:1])), next(csv.reader(lines[1:2]))
    absent = [column for column in TMY3_COLUMNS.values() if column not in columns]
    if absent or len(head) < 5:
        raise WeatherError(f"{name}:2: a TMY3 file without {', '.join(absent) or 'its place in line 1'}")
    place = {key: columns.index(column) for key, column in TMY3_COLUMNS.items()}
    hours, lost = [], 0
    for line, row in enumerate(csv.reader(lines[2:]), start=3):
        if not row:
            continue
        if len(row) <= max(place.values()):
            raise WeatherError(
                f"{name}:{line}: {len(row)} columns, wanted {len(columns)}; is the file cut off?"
            )
        month, day = _tmy3_day(name, line, row[place["date"]])
        ends = round(_number(name, line, "time", row[place["time"]].partition(":")[0]))
        temp, humidity, wind, sun = (
            _number(name, line, TMY3_COLUMNS[key], row[place[key]])
            for key in ("temp", "humidity", "wind", "sun")
        )
        if min(temp, humidity) <= TMY3_MISSING:
            lost += 1
            continue
        known = [None if value <= TMY3_MISSING else value for value in (wind, sun)]
        # The stamp is the hour's end: 24:00 closes its own day.
        hours.append(checked(name, line, WeatherHour(month, day, (ends - 1) % 24, temp, humidity, *known)))
    notes = looked_through(name, hours, lost)
    latitude = _number(name, 1, "latitude", head[4])
    return Weather(head[1].title(), latitude, "a typical year (TMY3)", hours, notes)


def _tmy3_day(name: str, line: int, text: str) -> tuple[int, int]:
    parts = text.split("/")
    if len(parts) != 3 or not all(part.isdigit() for part in parts):
        raise WeatherError(f"{name}:{line}: date {text!r} is not like 12/31/1995")
    return int(parts[0]), int(parts[1])


def _tmy2(lines: Sequence[str], name: str) -> Weather:
    hours = list(_tmy2_hours(lines, name))
    notes = looked_through(name, hours, 0)
    head = lines[0]
    degrees, minutes = (_number(name, 1, "latitude", head[at]) for at in (slice(38, 41), slice(41, 44)))
    latitude = (degrees + minutes / 60.0) * (-1.0 if head[37:38] == "S" else 1.0)
    return Weather(head[7:30].strip().title(), latitude, "a typical year (TMY2)", hours, notes)


def _tmy2_hours(lines: Sequence[str], name: str) -> Iterator[WeatherHour]:
    for line, row in enumerate(lines[1:], start=2):
        if not row.strip():
            continue
        if len(row) < 98:
            raise WeatherError(
                f"{name}:{line}: {len(row)} characters, wanted {TMY2_ROW}; is the file cut off?"
            )
        month, day, ends = (
            round(_number(name, line, "date", row[at])) for at in (slice(3, 5), slice(5, 7), slice(7, 9))
        )
        sun, temp, humidity, wind = (
            _number(name, line, what, row[at])
            for what, at in (
                ("sunshine", slice(17, 21)), ("temperature", slice(67, 71)),
                ("humidity", slice(79, 82)), ("wind", slice(95, 98)),
            )
        )  # fmt: skip
        hour = WeatherHour(month, day, (ends - 1) % 24, temp / 10.0, humidity, wind / 10.0, sun)
        yield checked(name, line, hour)


_KINDS: Final[tuple[tuple[Callable[[Sequence[str]], bool], Callable[[Sequence[str], str], Weather]], ...]] = (
    (_is_epw, _epw),
    (_is_tmy3, _tmy3),
    (_is_tmy2, _tmy2),
    (weather_csv.is_plain, weather_csv.plain),
)
