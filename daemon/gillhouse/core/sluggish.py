"""A sensor that follows the air more slowly than its neighbour: a dirty filter cap, most likely.

What lives here: the lag of one of two sensors behind the other, from all the steps that mist, fan and door
make in their air. What must not: settings, spaces, what is told of it (see `findings`). A first-order sensor
moves at the speed of its distance from the air over its time constant; so over any window its distance from a
quick neighbour, summed over time, is its lag times what it moved. The lag is the slope of that line through
many windows. Noise makes it smaller, never larger, and a fixed error of either is taken out by the gap's own
mean.
"""

from dataclasses import dataclass, field
from math import exp, sqrt
from typing import Final

MEMORY_MS: Final = 12 * 3_600_000
"""Steps count for about so long."""

LEAST_WATCH_MS: Final = 6 * 3_600_000
"""Nothing is said before two sensors were watched for so long."""

WINDOW_MS: Final = 300_000
"""Movement is taken over this, so that the last digit's noise is small beside it."""

LONGEST_STEP_MS: Final = 150_000
"""After a longer pause a window begins anew: what happened in between is not known."""

LEAST_MOVE_K: Final = 0.2
"""The quicker one's dew point must move by this in a window, on the root of the mean square, to say anything:
about a percent of humidity."""

SLOW_S: Final = 180.0
"""So many seconds behind its neighbour is dirty. Capped humidity sensors take 20 to 120 s, so two clean ones
are less than 100 apart. Common practice, no source."""

ENDS_AT: Final = 0.7
"""It ends when the lag is back under this share of that."""


@dataclass(slots=True)
class Behind:
    """Sums of what one sensor moved in each window, and of its distance from the other."""

    from_k: float = 0.0
    """At the window's begin."""
    moved_behind: float = 0.0
    moved_square: float = 0.0
    lag_s: float = 0.0
    """Seconds behind the other; 0 where the air hardly moved."""
    slow: bool = False


@dataclass(slots=True)
class Pace:
    """What is remembered of a pair."""

    first: Behind = field(default_factory=Behind)
    second: Behind = field(default_factory=Behind)
    window_ms: int = -1
    """Since the window began; -1: none is open."""
    ahead_ks: float = 0.0
    """First less second over the window, K s."""
    weight: float = 0.0
    """Windows that count."""
    watched_ms: int = 0


def watch(pace: Pace, first_k: float, second_k: float, mean_gap_k: float, elapsed_ms: int) -> None:
    """Takes one look at a pair's dew points.

    Args:
        mean_gap_k: the slow mean of first less second, which is no lag.
        elapsed_ms: since the last look.
    """
    if pace.window_ms < 0 or not 0 < elapsed_ms <= LONGEST_STEP_MS:
        _open(pace, first_k, second_k)
        return
    pace.watched_ms = min(pace.watched_ms + elapsed_ms, LEAST_WATCH_MS)
    pace.window_ms += elapsed_ms
    pace.ahead_ks += (first_k - second_k - mean_gap_k) * elapsed_ms / 1000.0
    if pace.window_ms < WINDOW_MS:
        return
    keep = exp(-pace.window_ms / MEMORY_MS)
    pace.weight = keep * pace.weight + 1.0
    _add(pace.first, first_k, -pace.ahead_ks, keep)
    _add(pace.second, second_k, pace.ahead_ks, keep)
    square = max(pace.first.moved_square, pace.second.moved_square) / pace.weight
    for one in (pace.first, pace.second):
        moves = sqrt(square) >= LEAST_MOVE_K and one.moved_square > 0.0
        one.lag_s = one.moved_behind / one.moved_square if moves else 0.0
        limit = SLOW_S * (ENDS_AT if one.slow else 1.0)
        one.slow = pace.watched_ms >= LEAST_WATCH_MS and one.lag_s > limit
    _open(pace, first_k, second_k)


def _open(pace: Pace, first_k: float, second_k: float) -> None:
    pace.window_ms, pace.ahead_ks = 0, 0.0
    pace.first.from_k, pace.second.from_k = first_k, second_k


def _add(one: Behind, now_k: float, behind_ks: float, keep: float) -> None:
    moved = now_k - one.from_k
    one.moved_behind = keep * one.moved_behind + moved * behind_ks
    one.moved_square = keep * one.moved_square + moved * moved
