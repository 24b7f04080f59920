"""Degree-days over a threshold: by the hour, by a day's mean, and by a sine through its least and most.

Pure arithmetic. With a log the hourly sum is the true one; the other two are for days of which only least
and most are known. The mean counts cool days too low, because what goes below the threshold is taken off.
"""

from collections.abc import Iterable
from math import asin, cos, pi


def by_hours(hourly_c: Iterable[float], zero_c: float) -> float:
    """Degree-days of hourly temperatures: what each hour is over `zero_c`, a twenty-fourth of it."""
    return sum(max(temp_c - zero_c, 0.0) for temp_c in hourly_c) / 24.0


def by_mean(least_c: float, most_c: float, zero_c: float) -> float:
    """Degree-days of one day by the middle of its least and most.

    Raises:
        ValueError: the least is over the most.
    """
    _check(least_c, most_c)
    return max((least_c + most_c) / 2.0 - zero_c, 0.0)


def by_sine(least_c: float, most_c: float, zero_c: float) -> float:
    """Degree-days of one day by a sine through its least and most, without an upper limit.

    A least that is just at the threshold counts as a whole day over it: there the sine touches, and does not
    cross.

    Raises:
        ValueError: the least is over the most.
    Source: single sine, after Baskerville and Emin, Ecology 50:514, 1969 (from memory).
    """
    _check(least_c, most_c)
    middle, swing = (most_c + least_c) / 2.0, (most_c - least_c) / 2.0
    if least_c >= zero_c:
        return middle - zero_c
    if most_c <= zero_c:
        return 0.0
    crosses = asin((zero_c - middle) / swing)
    return ((middle - zero_c) * (pi / 2.0 - crosses) + swing * cos(crosses)) / pi


def _check(least_c: float, most_c: float) -> None:
    if least_c > most_c:
        raise ValueError(f"the day's least ({least_c:g}) is over its most ({most_c:g}); swap them")
