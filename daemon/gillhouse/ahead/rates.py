"""How fast an insect comes on at a temperature: tables of tested days, straight lines where there is none.

Here: one hour's share of a stage, and whether anybody ever tested that temperature. Not here: which insect
(`pests`), whose hours (`warmth`), adding up (`pest_clock`).

A table is read as rates (1 / days), straight between its points. Beyond them nothing is made up: above the
warmest point the rate stays as it was there, below the coolest it goes down straight to zero at the
temperature where growth stops. Both are marked. Why tables lead: development flattens when it is warm, and a
straight line through such points misses them by days (docs/explanation/pests.md has the figures).
"""

from bisect import bisect_right
from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum


class Range(StrEnum):
    """Whether a temperature lies within what was tested."""

    WITHIN = "within"
    BELOW = "below"
    ABOVE = "above"
    UNSTATED = "unstated"
    """The source does not say what was tested."""


class Edge(StrEnum):
    """Which end of a window: the fastest that is believable, the likely, the slowest."""

    EARLY = "early"
    LIKELY = "likely"
    LATE = "late"


@dataclass(frozen=True, slots=True)
class Rate:
    per_day: float
    """Share of the stage done in a day."""
    tested: Range


@dataclass(frozen=True, slots=True)
class Point:
    """Days a stage took at one constant temperature."""

    at_c: float
    days: float
    most_days: float
    """As `days` where the source gives one figure."""

    def per_day(self, edge: Edge) -> float:
        if edge is Edge.EARLY:
            return 1.0 / self.days
        if edge is Edge.LATE:
            return 1.0 / self.most_days
        return 2.0 / (self.days + self.most_days)


@dataclass(frozen=True, slots=True)
class RateTable:
    """Range points, the coolest first; at least one."""

    points: Sequence[Point]
    zero_c: float
    """Growth stops here; below every point."""
    source: str

    def rate(self, temp_c: float, edge: Edge = Edge.LIKELY) -> Rate:
        coolest, warmest = self.points[0], self.points[-1]
        if temp_c < coolest.at_c:
            share = max(temp_c - self.zero_c, 0.0) / (coolest.at_c - self.zero_c)
            return Rate(share * coolest.per_day(edge), Range.BELOW)
        if temp_c > warmest.at_c:
            return Rate(warmest.per_day(edge), Range.ABOVE)
        place = bisect_right([point.at_c for point in self.points], temp_c) - 1
        here = self.points[place]
        if place + 1 == len(self.points):
            return Rate(here.per_day(edge), Range.WITHIN)
        after = self.points[place + 1]
        share = (temp_c - here.at_c) / (after.at_c - here.at_c)
        low, high = here.per_day(edge), after.per_day(edge)
        return Rate(low + share * (high - low), Range.WITHIN)


@dataclass(frozen=True, slots=True)
class RateLine:
    """A straight line: a threshold and a sum of degrees over it. Only where no table exists."""

    zero_c: float
    degree_days: float
    """Sum of degrees over `zero_c`, a day each, that the stage takes."""
    tested_c: tuple[float, float] | None
    """From what to what it was tested; None: the source does not say."""
    source: str

    def rate(self, temp_c: float, edge: Edge = Edge.LIKELY) -> Rate:  # a line has no edges
        if self.tested_c is None:
            return Rate(self._straight(temp_c), Range.UNSTATED)
        low, high = self.tested_c
        if temp_c > high:
            return Rate(self._straight(high), Range.ABOVE)
        return Rate(self._straight(temp_c), Range.BELOW if temp_c < low else Range.WITHIN)

    def days_at(self, temp_c: float) -> float:
        """Days at a constant temperature by the bare line, whatever was tested; infinite where too cold."""
        rate = self._straight(temp_c)
        return 1.0 / rate if rate > 0.0 else float("inf")

    def _straight(self, temp_c: float) -> float:
        return max(temp_c - self.zero_c, 0.0) / self.degree_days


Pace = RateTable | RateLine


def days_at(paces: Sequence[Pace], temp_c: float, edge: Edge = Edge.LIKELY) -> float:
    """Days that stages after one another take at a constant temperature; infinite where it is too cold."""
    rates = [pace.rate(temp_c, edge).per_day for pace in paces]
    return sum(1.0 / rate for rate in rates) if all(rates) else float("inf")


def fitted_line(points: Sequence[Point]) -> tuple[float, float, float]:
    """The straight line through 1 / days over temperature.

    Args:
        points: two or more, at different temperatures.
    Returns: threshold in degrees C, degree-days, and the share of the rates' variation it explains (R2).
    Raises:
        ValueError: fewer points, all at one temperature, or no growth with warmth.
    Source: ordinary least squares; threshold = -a / b, constant = 1 / b of rate = a + b T.
    """
    temps = [point.at_c for point in points]
    rates = [point.per_day(Edge.LIKELY) for point in points]
    n = len(points)
    if n < 2 or len(set(temps)) < 2:
        raise ValueError(f"a line needs points at two temperatures or more, there are {sorted(set(temps))}")
    mean_t, mean_r = sum(temps) / n, sum(rates) / n
    across = sum((t - mean_t) ** 2 for t in temps)
    along = sum((t - mean_t) * (r - mean_r) for t, r in zip(temps, rates, strict=True))
    spread = sum((r - mean_r) ** 2 for r in rates)
    if along <= 0.0:
        raise ValueError("these points do not come on faster where it is warmer: no line fits")
    slope = along / across
    return mean_t - mean_r / slope, 1.0 / slope, along * along / (across * spread)
