"""The plain CSV of weather: a year, some days of it, or a forecast, one row an hour.

The first line names the columns, in any order: `time` (2026-05-21 14:00, the hour's begin, or an ISO time
with a `T`), a temperature, a humidity; wind, rain and sunshine may be left out, and so may a cell. Units
stand in the names. Lines that begin with `#` are passed over; `# latitude: 52.3` tells where it is.
`24:00` closes its day.
"""

import csv
import re
from collections.abc import Callable, Mapping, Sequence
from datetime import datetime
from typing import Final

from gillhouse.ahead.weather import Weather, WeatherError, WeatherHour, checked, looked_through

UNITS: Final[Mapping[str, tuple[str, Callable[[float], float]]]] = {
    # column: (what it is, how it becomes ours)
    "temp_c": ("temp", lambda value: value),
    "temp_f": ("temp", lambda value: (value - 32.0) / 1.8),
    "humidity_pct": ("humidity", lambda value: value),
    "wind_m_s": ("wind", lambda value: value),
    "wind_km_h": ("wind", lambda value: value / 3.6),
    "wind_mph": ("wind", lambda value: value * 0.44704),
    "rain_mm": ("rain", lambda value: value),
    "rain_in": ("rain", lambda value: value * 25.4),
    "sun_w_m2": ("sun", lambda value: value),
}
_TIME = re.compile(r"(\d{4})-(\d\d)-(\d\d)[ T](\d\d)(?::\d\d){0,2}")
_LATITUDE = re.compile(r"#\s*latitude:\s*(-?\d+(?:\.\d+)?)\s*$")


def is_plain(lines: Sequence[str]) -> bool:
    names = _head(lines)[1]
    return "time" in names or bool(set(names) & set(UNITS))


def plain(lines: Sequence[str], name: str) -> Weather:
    """See the module.

    Raises:
        WeatherError: a column that is missing or unknown, or a row that is off.
    """
    begin, names = _head(lines)
    _check_names(name, begin, names)
    hours, lost = [], 0
    for line, cells in _rows(lines, begin):
        if len(cells) != len(names):
            raise WeatherError(f"{name}:{line}: {len(cells)} cells, and {len(names)} columns are named")
        row = dict(zip(names, cells, strict=True))
        values = _values(name, line, row)
        if "temp" not in values or "humidity" not in values:
            lost += 1
            continue
        month, day, hour = _when(name, line, row["time"])
        found = WeatherHour(
            month, day, hour, values["temp"], values["humidity"],
            values.get("wind"), values.get("sun"), values.get("rain"),
        )  # fmt: skip
        hours.append(checked(name, line, found))
    told = next((said[1] for line in lines[:begin] if (said := _LATITUDE.match(line))), None)
    latitude = None if told is None else float(told)
    if latitude is not None and not -90.0 <= latitude <= 90.0:
        raise WeatherError(f"{name}: latitude {told} is not -90 to 90")
    return Weather(name, latitude, "hours from a plain CSV", hours, looked_through(name, hours, lost))


def _head(lines: Sequence[str]) -> tuple[int, list[str]]:
    """Number of the line that names the columns, and the names."""
    for number, line in enumerate(lines, start=1):
        if line.strip() and not line.startswith("#"):
            return number, [cell.strip().lower() for cell in next(csv.reader([line]))]
    return len(lines), []


def _check_names(name: str, line: int, names: Sequence[str]) -> None:
    given = [UNITS[column][0] for column in names if column in UNITS]
    for column in names:
        if column != "time" and column not in UNITS:
            raise WeatherError(
                f"{name}:{line}: column {column!r} is not known; it may be time, {', '.join(UNITS)}"
            )
    for what in ("temp", "humidity"):
        if what not in given:
            raise WeatherError(f"{name}:{line}: no column for {what}; name one {_ways(what)}")
    if "time" not in names:
        raise WeatherError(f"{name}:{line}: no column 'time'; it holds times like 2026-05-21 14:00")
    if len(given) != len(set(given)) or names.count("time") > 1:
        raise WeatherError(f"{name}:{line}: two columns tell the same thing; leave one")


def _ways(what: str) -> str:
    return " or ".join(column for column, (kind, _) in UNITS.items() if kind == what)


def _rows(lines: Sequence[str], begin: int) -> list[tuple[int, list[str]]]:
    return [
        (number, [cell.strip() for cell in next(csv.reader([line]))])
        for number, line in enumerate(lines[begin:], start=begin + 1)
        if line.strip() and not line.startswith("#")
    ]


def _values(name: str, line: int, row: Mapping[str, str]) -> dict[str, float]:
    found = {}
    for column, text in row.items():
        if column == "time" or not text:
            continue
        what, convert = UNITS[column]
        try:
            found[what] = convert(float(text))
        except ValueError:
            raise WeatherError(
                f"{name}:{line}: {column} {text!r} is no number; leave the cell empty"
            ) from None
    return found


def _when(name: str, line: int, text: str) -> tuple[int, int, int]:
    """Month, day and hour it covers."""
    match = _TIME.match(text)
    if match is None:
        raise WeatherError(f"{name}:{line}: time {text!r} is not like 2026-05-21 14:00")
    year, month, day, hour = (int(part) for part in match.groups())
    if hour == 24:  # the end of the day, as typical years stamp it
        return month, day, 23
    try:
        found = datetime(year, month, day, hour)  # noqa: DTZ001  checks the date, is no moment
    except ValueError as error:
        raise WeatherError(f"{name}:{line}: time {text!r}: {error}; mend the row") from None
    return found.month, found.day, found.hour
