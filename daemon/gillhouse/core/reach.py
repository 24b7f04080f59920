"""How humid an open space came of late, by time of day: its own reach.

Here: a fading count of what was measured, in six parts of the day. Not here: sensors, words. Nobody can hold
a barn at 90 % on a dry afternoon; what weather, hose and nozzles made of that hour in the last days says what
there is to be had, and a score that asks for more judges the weather.
"""

from dataclasses import dataclass, field
from typing import Final

PARTS: Final = 6
"""Of the day, four hours each."""
BIN_PCT: Final = 2.0
BINS: Final = 50
FADES: Final = 720.0
"""Minutes of one part, three days of it, after which a count has faded to a third."""
LEAST_MIN: Final = 120.0
"""Fewer minutes known tell nothing."""
LOW_SHARE, HIGH_SHARE = 0.1, 0.9
"""It was drier, and damper, for a tenth of the time each."""


@dataclass(slots=True)
class Reach:
    """Minutes by humidity in steps of `BIN_PCT`, for each part of the day; empty until something is known."""

    parts: list[list[float]] = field(default_factory=list)
    part: int = -1
    """The part of the day last counted."""
    within_min: float = 0.0
    """Minutes in its band, or as near to it as it comes at that time of day, fading like the rest..."""
    known_min: float = 0.0
    """... of so many known."""


def note(reach: Reach, part: int, humidity_pct: float, minutes: float) -> None:
    """Counts some minutes at one humidity.

    Args:
        part: of the day, 0 from local midnight to 5.
    """
    if not reach.parts:
        reach.parts = [[0.0] * BINS for _ in range(PARTS)]
    own = reach.parts[part]
    keep = 1.0 - min(minutes / FADES, 1.0)
    for place in range(BINS):
        own[place] *= keep
    own[min(max(int(humidity_pct / BIN_PCT), 0), BINS - 1)] += minutes


def score(reach: Reach, part: int, humidity_pct: float, low_pct: float, minutes: float) -> None:
    """Counts whether it is as humid as it should be, or as it comes at that time of day."""
    own = span(reach, part)
    edge = low_pct if own is None else min(low_pct, own[1] - BIN_PCT)
    keep = 1.0 - min(minutes / (FADES * PARTS), 1.0)
    reach.within_min = reach.within_min * keep + (minutes if humidity_pct >= edge else 0.0)
    reach.known_min = reach.known_min * keep + minutes


def span(reach: Reach, part: int) -> tuple[float, float] | None:
    """From how dry to how damp it was at that time of day lately, percent; None while too little is known."""
    if not reach.parts or sum(reach.parts[part]) < LEAST_MIN:
        return None
    return _quantile(reach.parts[part], LOW_SHARE), _quantile(reach.parts[part], HIGH_SHARE)


def _quantile(counts: list[float], share: float) -> float:
    """Such that `share` of the time was drier; spread evenly within a step."""
    wanted, below = share * sum(counts), 0.0
    for place, count in enumerate(counts):
        if count > 0.0 and below + count >= wanted:
            return BIN_PCT * (place + (wanted - below) / count)
        below += count
    return 100.0
