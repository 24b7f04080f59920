"""An outdoor year as hours: plain values, the calendar they are counted by, and what is said of holes.

Here: one hour of weather, a year of them, days and weeks. Not here: any file format (`weather_files`), what
follows for a crop (`season`).

A typical year is put together from months of different years. So its rows are never sorted by their date
with its year: they stay in the order of the file, and an hour belongs to the day and month printed in its
row. Where a file stamps the end of the hour, 24:00 is the last hour of that day; it is not moved to the
next one. Weeks are counted from 1 January, seven days each, 52 of them; 31 December belongs to none, and
29 February to the week of the 28th.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from math import acos, pi, radians, sin, tan
from typing import Final

from gillhouse.errors import GillhouseError

MONTH_DAYS: Final = (31, 28, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31)
MONTHS: Final = ("Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec")
YEAR_DAYS: Final = 365
WEEKS: Final = 52
WEEK_H: Final = 168
YEAR_H: Final = 8760
COLDEST_C, HOTTEST_C = -60.0, 60.0
"""Air outside of these is another unit, or no air."""
WINDIEST_M_S: Final = 60.0
GAUGE_M: Final = 10.0
"""Height of a weather station's wind gauge (WMO-No. 8, from memory)."""


class WeatherError(GillhouseError, ValueError):
    """A weather file cannot be used; the message names file, line, value and what to do."""


@dataclass(frozen=True, slots=True)
class WeatherHour:
    month: int
    """1..12"""
    day: int
    """1..31"""
    hour: int
    """0..23, the hour it covers begins then."""
    temp_c: float
    humidity_pct: float
    wind_m_s: float | None = None
    """At the height of the gauge."""
    sun_w_m2: float | None = None
    """Sunshine on level ground; 0 in the dark."""
    rain_mm: float | None = None

    @property
    def day_of_year(self) -> int:
        """1..365, as in a year without 29 February."""
        return day_of_year(self.month, self.day)

    @property
    def week(self) -> int:
        """1..52; 53 for the day left over."""
        return (self.day_of_year - 1) // 7 + 1


@dataclass(frozen=True, slots=True)
class Weather:
    """Hours in the order of their file."""

    place: str
    latitude_deg: float | None
    """North is positive."""
    kind: str
    """What the file is, in words."""
    hours: Sequence[WeatherHour]
    notes: tuple[str, ...] = ()
    """What had to be left out or guessed."""

    @property
    def is_whole(self) -> bool:
        """Whether it covers every week, so that the year closes on itself."""
        return {hour.week for hour in self.hours} >= set(range(1, WEEKS + 1))


def day_of_year(month: int, day: int) -> int:
    """1..365 in a year without 29 February, which counts as the 28th."""
    return sum(MONTH_DAYS[: month - 1]) + min(day, MONTH_DAYS[month - 1])


def month_and_day(day: int) -> tuple[int, int]:
    """The reverse; any whole number, days beyond a year go round."""
    left = (day - 1) % YEAR_DAYS
    for month, length in enumerate(MONTH_DAYS, start=1):
        if left < length:
            return month, left + 1
        left -= length
    raise AssertionError("a year has no more days than its months")


def told_day(day: int) -> str:
    """`21 May`."""
    month, number = month_and_day(day)
    return f"{number} {MONTHS[month - 1]}"


def daylight_h(latitude_deg: float, day: int) -> float:
    """Hours from sunrise to sunset, 0..24, on a day of the year; flat horizon, no twilight.

    Source: FAO-56 equations 24 (declination) and 25, 34 (sunset angle, daylight hours).
    """
    declination = 0.409 * sin(2.0 * pi * day / YEAR_DAYS - 1.39)
    side = -tan(radians(max(min(latitude_deg, 89.9), -89.9))) * tan(declination)
    return 24.0 / pi * acos(max(min(side, 1.0), -1.0))


def is_dark(hour: WeatherHour, latitude_deg: float | None) -> bool | None:
    """Whether the sun is down: by the file's sunshine, else by latitude and the clock; None: not known.

    By the clock noon is 12:00, which may be wrong by an hour or two where the clock is not the sun's.
    """
    if hour.sun_w_m2 is not None:
        return hour.sun_w_m2 <= 0.0
    if latitude_deg is None:
        return None
    half = daylight_h(latitude_deg, hour.day_of_year) / 2.0
    return not 12.0 - half < hour.hour + 0.5 < 12.0 + half


def checked(name: str, line: int, hour: WeatherHour) -> WeatherHour:
    """The hour itself.

    Raises:
        WeatherError: a value no weather has, which is usually another unit.
    """
    where = f"{name}:{line}"
    if not COLDEST_C <= hour.temp_c <= HOTTEST_C:
        raise WeatherError(
            f"{where}: temperature {hour.temp_c:g} is outside {COLDEST_C:g} to {HOTTEST_C:g} degrees C;"
            " Fahrenheit is read from a plain CSV whose column is called temp_f"
        )
    if not 0.0 <= hour.humidity_pct <= 110.0:
        raise WeatherError(
            f"{where}: humidity {hour.humidity_pct:g} is not 0 to 100 %; mend the row or take it out"
        )
    if hour.wind_m_s is not None and not 0.0 <= hour.wind_m_s <= WINDIEST_M_S:
        raise WeatherError(
            f"{where}: wind {hour.wind_m_s:g} is not 0 to {WINDIEST_M_S:g} m/s; km/h and mph are read from a"
            " plain CSV whose column is called wind_km_h or wind_mph"
        )
    if not 1 <= hour.month <= 12 or not 1 <= hour.day <= MONTH_DAYS[hour.month - 1] + (hour.month == 2):
        raise WeatherError(f"{where}: there is no day {hour.day} in month {hour.month}; mend the date")
    return hour


def looked_through(name: str, hours: Sequence[WeatherHour], lost: int) -> tuple[str, ...]:
    """What must be said of a whole file.

    Args:
        lost: rows left out because a value in them was missing.
    Raises:
        WeatherError: nothing to go by, humidity as fractions, more than one row an hour.
    """
    if not hours:
        raise WeatherError(
            f"{name}: no hour with temperature and humidity in it; is it a weather file at all?"
        )
    if len(hours) >= WEEK_H and max(hour.humidity_pct for hour in hours) <= 1.0:
        raise WeatherError(
            f"{name}: humidity is never over {max(hour.humidity_pct for hour in hours):g}: these are"
            " fractions; multiply them by 100"
        )
    notes = []
    if any((hour.month, hour.day) == (2, 29) for hour in hours):
        notes.append("29 February is counted to the week of the 28th")
    found = {(hour.month, hour.day, hour.hour) for hour in hours}
    double = len(hours) - len(found)
    if double > len(hours) // 20:
        raise WeatherError(f"{name}: {double} hours come twice; give one row an hour, of one year")
    if double:
        notes.append(f"{double} hours come twice, both are counted")
    notes += _holes(found, lost)
    if all(hour.wind_m_s is None for hour in hours):
        notes.append("no wind in it")
    return tuple(notes)


def _holes(found: set[tuple[int, int, int]], lost: int) -> list[str]:
    """Hours that are missing, and whole weeks that are."""
    known: dict[int, int] = {}
    for month, day, _ in found:
        week = (day_of_year(month, day) - 1) // 7 + 1
        known[week] = known.get(week, 0) + 1
    empty = [week for week in range(1, WEEKS + 1) if known.get(week, 0) < WEEK_H // 2]
    notes = []
    if lost:
        notes.append(f"{lost} rows without temperature or humidity are left out")
    short = sum(WEEK_H - min(known[week], WEEK_H) for week in known if week <= WEEKS and week not in empty)
    if short:
        notes.append(f"{short} hours are missing; each week goes by the hours it has")
    if empty:
        notes.append(
            f"{len(empty)} of {WEEKS} weeks are not in it or less than half: nothing is said of them"
        )
    return notes


def by_week(hours: Iterable[WeatherHour]) -> dict[int, list[WeatherHour]]:
    """Week -> its hours, in the order of the file; the day left over under 53."""
    found: dict[int, list[WeatherHour]] = {}
    for hour in hours:
        found.setdefault(hour.week, []).append(hour)
    return found
