"""This year outdoors against a typical one: the last weeks of the farm's own sensor beside the same weeks
there.

Here: comparing two lots of hours. Not here: the store. Weakness: a typical year is one of many, so a
difference of a degree or two is within what years do (no source; the log of several years will know
better).
"""

from collections.abc import Sequence
from dataclasses import dataclass
from statistics import fmean

from gillhouse.ahead.season import KNOWN_H, Crop, in_band_h
from gillhouse.ahead.weather import Weather, WeatherHour, by_week


@dataclass(frozen=True, slots=True)
class WeekBeside:
    week: int
    here_c: float
    typical_c: float
    here_share: dict[str, float]
    """Crop -> share of the known hours in its range, this year..."""
    typical_share: dict[str, float]
    """... and in a typical one."""

    @property
    def warmer_c(self) -> float:
        return self.here_c - self.typical_c


def beside(logged: Sequence[WeatherHour], typical: Weather, crops: Sequence[Crop]) -> list[WeekBeside]:
    """The weeks that both know by half at least, in the order of the log.

    Args:
        logged: hours of one year at most; the week under way may be among them.
    """
    here, there = by_week(logged), by_week(typical.hours)
    return [
        WeekBeside(
            week,
            fmean(hour.temp_c for hour in own),
            fmean(hour.temp_c for hour in there[week]),
            _shares(own, crops),
            _shares(there[week], crops),
        )
        for week, own in here.items()
        if len(own) >= KNOWN_H and len(there.get(week, [])) >= KNOWN_H
    ]


def told(weeks: Sequence[WeekBeside]) -> str:
    """One sentence on the last four of them."""
    last = weeks[-4:]
    if not last:
        return "this year: the outdoor sensor knows no whole week yet"
    apart = fmean(week.warmer_c for week in last)
    way = (
        "as in a typical year"
        if abs(apart) < 0.5
        else f"{abs(apart):.1f} C {'warmer' if apart > 0 else 'cooler'}"
    )
    return f"this year, the last {len(last)} weeks it knows: {way}"


def _shares(hours: Sequence[WeatherHour], crops: Sequence[Crop]) -> dict[str, float]:
    return {crop.id: in_band_h(hours, crop.low_c, crop.high_c) / len(hours) for crop in crops}
