"""The hours of warmth that insects live through: logged, filled where the log has holes, and still to come.

Here: one unbroken row of hours out of what is known, each saying where its figure is from. Not here: the
store it comes from, and what grows by it.

Holes of up to `SHORT_H` are bridged straight. A longer one, and what lies before the log begins, takes the
mean of the same hour of the day on the logged days nearest to it. After the last logged hour comes the
forecast where one is fed, then the mean of the same hour over the last days. What is not logged may be off by
`DOUBT_C`: the early end of a window takes it so much warmer, the late end so much cooler.
"""

from bisect import bisect_left
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from enum import StrEnum
from itertools import pairwise
from statistics import fmean
from typing import Final

from gillhouse.ahead.rates import Edge

HOUR_MS: Final = 3_600_000
DAY_H: Final = 24
SHORT_H: Final = 6
"""Common practice, no source."""
NEAR_DAYS: Final = 4
"""Days on each side of a long hole that stand in for it. Our choice, no source."""
TYPICAL_DAYS: Final = 7
"""The last days, whose mean stands for those to come. Our choice, no source."""


class Origin(StrEnum):
    LOGGED = "logged"
    BRIDGED = "bridged"
    """A short hole."""
    FILLED = "filled"
    """A long hole, or before the log."""
    FORECAST = "forecast"
    TYPICAL = "typical"


DOUBT_C: Final[Mapping[Origin, float]] = {
    # Our choice, no source.
    Origin.LOGGED: 0.0,
    Origin.BRIDGED: 0.5,
    Origin.FILLED: 3.0,
    Origin.FORECAST: 1.5,
    Origin.TYPICAL: 2.0,
}
_SIGN: Final = {Edge.EARLY: 1.0, Edge.LIKELY: 0.0, Edge.LATE: -1.0}


@dataclass(frozen=True, slots=True)
class Hour:
    begin_ms: int
    temp_c: float
    origin: Origin

    def felt_c(self, edge: Edge) -> float:
        """The temperature to reckon with for one end of a window."""
        return self.temp_c + _SIGN[edge] * DOUBT_C[self.origin]


def hourly(
    logged: Mapping[int, float], forecast: Mapping[int, float], from_ms: int, to_ms: int
) -> list[Hour]:
    """Every hour that begins in a range, with a temperature each.

    Args:
        logged: begin of an hour, wall ms and a whole hour -> its mean, degrees C.
        forecast: the same for hours to come; used after the last logged hour only.
    Returns: nothing where nothing is logged: there is no temperature to go by.
    """
    if not logged:
        return []
    last = max(logged)
    begin = from_ms - from_ms % HOUR_MS
    typical = _means(logged, last - TYPICAL_DAYS * DAY_H * HOUR_MS, last + HOUR_MS)
    bridges = _bridges(logged)
    found = []
    for at in range(begin, to_ms, HOUR_MS):
        if at in logged:
            found.append(Hour(at, logged[at], Origin.LOGGED))
        elif at > last and at in forecast:
            found.append(Hour(at, forecast[at], Origin.FORECAST))
        elif at > last:
            found.append(Hour(at, _of_day(typical, at), Origin.TYPICAL))
        elif at in bridges:
            found.append(Hour(at, bridges[at], Origin.BRIDGED))
        else:
            found.append(Hour(at, 0.0, Origin.FILLED))
    return _filled(found, logged)


def counted(hours: Iterable[Hour]) -> dict[Origin, int]:
    """How many hours come from where, in the order of `Origin`."""
    found = dict.fromkeys(Origin, 0)
    for hour in hours:
        found[hour.origin] += 1
    return found


def _bridges(logged: Mapping[int, float]) -> dict[int, float]:
    """The hours of short holes, straight from one side to the other."""
    found: dict[int, float] = {}
    order = sorted(logged)
    for before, after in pairwise(order):
        missing = (after - before) // HOUR_MS - 1
        if not 0 < missing <= SHORT_H:
            continue
        for step in range(1, missing + 1):
            share = step / (missing + 1)
            found[before + step * HOUR_MS] = logged[before] + share * (logged[after] - logged[before])
    return found


def _filled(hours: list[Hour], logged: Mapping[int, float]) -> list[Hour]:
    """Long holes filled from the logged days nearest to each, on both sides of it."""
    order, reach = sorted(logged), NEAR_DAYS * DAY_H * HOUR_MS
    means: dict[int, float] = {}
    hole = -1
    found = []
    for hour in hours:
        if hour.origin is not Origin.FILLED:
            found.append(hour)
            continue
        after = bisect_left(order, hour.begin_ms)
        if after != hole:
            hole = after
            sides = [(order[after], order[after] + reach)]
            if after:
                sides.append((order[after - 1] - reach, order[after - 1] + HOUR_MS))
            means = _joined([_means(logged, *side) for side in sides])
        found.append(Hour(hour.begin_ms, _of_day(means, hour.begin_ms), Origin.FILLED))
    return found


def _means(logged: Mapping[int, float], from_ms: int, to_ms: int) -> dict[int, float]:
    """Hour of the day (UTC) -> mean of the logged ones in a range."""
    by_hour: dict[int, list[float]] = {}
    for at, temp_c in logged.items():
        if from_ms <= at < to_ms:
            by_hour.setdefault(at // HOUR_MS % DAY_H, []).append(temp_c)
    return {hour: fmean(values) for hour, values in sorted(by_hour.items())}


def _joined(sides: Sequence[Mapping[int, float]]) -> dict[int, float]:
    return {
        hour: fmean([side[hour] for side in sides if hour in side])
        for hour in sorted({hour for side in sides for hour in side})
    }


def _of_day(means: Mapping[int, float], at_ms: int) -> float:
    """The mean of that hour of the day, or of all hours where that one was never logged."""
    hour = at_ms // HOUR_MS % DAY_H
    return means[hour] if hour in means else fmean(means.values())
