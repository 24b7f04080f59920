"""What sticky cards and other traps caught, as a series: its trend, and how it compares with the usual here.

Here: arithmetic on counts. Not here: where they are written down (`diary`), any limit for catches: no
published count of adults on a card that asks for action was found, so the farm's own past is the measure.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from math import exp, log, sqrt
from statistics import median
from typing import Final

DAY_MS: Final = 86_400_000
TREND_COUNTS: Final = 3
"""Fewer counts show no trend."""
TREND_WITHIN_MS: Final = 42 * DAY_MS
"""Older counts say nothing of now: six weeks, the length of a crop. Our choice, no source."""
USUAL_COUNTS: Final = 6
"""Fewer earlier counts are no usual. Our choice, no source."""
CLEAR: Final = 2.0
"""The slope must be so many times its own uncertainty. About 95 % for many counts (Student's t)."""


@dataclass(frozen=True, slots=True)
class Catch:
    """One look at the traps."""

    at_ms: int
    caught: int
    """On all of them; 0 or more."""
    traps: int
    days: float
    """They had hung since the last look."""

    @property
    def per_trap_day(self) -> float:
        return self.caught / (self.traps * self.days)


@dataclass(frozen=True, slots=True)
class Trend:
    per_day: float
    """Growth rate of the catch: 0.1 is 10 % a day, near enough."""
    clear: bool
    """It stands out from the scatter."""
    counts: int

    @property
    def doubling_days(self) -> float | None:
        """None where it does not clearly grow."""
        return log(2.0) / self.per_day if self.clear and self.per_day > 0.0 else None

    @property
    def halving_days(self) -> float | None:
        return -log(2.0) / self.per_day if self.clear and self.per_day < 0.0 else None


def trend(catches: Sequence[Catch]) -> Trend | None:
    """The straight line through the catch's logarithm over the last weeks; None for too few counts.

    A look without any catch counts as half a fly, for zero has no logarithm (common practice, no source).
    Source: ordinary least squares and the standard error of its slope.
    """
    order = sorted(catches, key=lambda one: one.at_ms)
    recent = [one for one in order if one.at_ms > order[-1].at_ms - TREND_WITHIN_MS] if order else []
    if len({one.at_ms for one in recent}) < TREND_COUNTS:
        return None
    days = [(one.at_ms - recent[0].at_ms) / DAY_MS for one in recent]
    logs = [log(max(one.caught, 0.5) / (one.traps * one.days)) for one in recent]
    n = len(recent)
    mean_x, mean_y = sum(days) / n, sum(logs) / n
    across = sum((x - mean_x) ** 2 for x in days)
    slope = sum((x - mean_x) * (y - mean_y) for x, y in zip(days, logs, strict=True)) / across
    left = sum((y - mean_y - slope * (x - mean_x)) ** 2 for x, y in zip(days, logs, strict=True))
    error = sqrt(left / (n - 2) / across)
    return Trend(slope, abs(slope) > CLEAR * error, n)


@dataclass(frozen=True, slots=True)
class Usual:
    """What was caught here before, per trap and day."""

    middle: float
    high: float
    """The highest but for one look in ten."""
    counts: int


def usual(catches: Sequence[Catch]) -> Usual | None:
    """The usual from all looks but the last; None while there are too few."""
    before = sorted(one.per_trap_day for one in sorted(catches, key=lambda one: one.at_ms)[:-1])
    if len(before) < USUAL_COUNTS:
        return None
    return Usual(median(before), before[(len(before) * 9 - 1) // 10], len(before))


def first_rise_ms(catches: Sequence[Catch]) -> int | None:
    """The first look of those after an empty one (or of all) that caught something, of the latest run."""
    found = None
    for one in sorted(catches, key=lambda each: each.at_ms):
        if one.caught == 0:
            found = None
        elif found is None:
            found = one.at_ms
    return found


def expected(now_per_trap_day: float, course: Trend, days: float) -> float:
    """The catch per trap and day some days on, if the trend goes on as it is."""
    return now_per_trap_day * exp(course.per_day * days)
