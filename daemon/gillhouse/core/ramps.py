"""From one band to another without a step: how far each edge has come, and how long the way is.

Here: arithmetic on bands, nothing else. Which bands, and when a ramp began, is `in_force`'s. A ramp moves in
steps of a quarter of an hour, each quantity at its own pace, and is over within a day.

What an edge does that only one of the two bands has:

- one that the new band lacks opens at once;
- a target edge that the old band lacks comes at the end: before it there is nothing to move from;
- an alarm limit that the old band lacks keeps, on the way, the new band's distance to the target edge. Where
  there is no such edge to go by, a limit of temperature holds at once (it is about survival and is never held
  off), any other comes at the end.
"""

from collections.abc import Callable
from dataclasses import dataclass, field, replace
from math import ceil

from gillhouse.core.crops import Band
from gillhouse.core.quantities import Quantity

STEP_MS = 900_000
"""Bands move this often."""
LONGEST_MS = 86_400_000
"""No ramp lasts longer: a day after a stage change everything holds as wished."""

PACE_PER_H: dict[Quantity, float] = {
    # Our own choice, no source: slow enough that blocks follow the air (a block of some kilograms takes two
    # hours or so, see `cold_blocks`; at 93 % the air is 1.1 K from wetting them), quick enough that the fall
    # of warmth and CO2 that brings on pins is felt the same day.
    Quantity.HUMIDITY: 2.0,
    Quantity.TEMPERATURE: 1.0,
    Quantity.CO2: 1000.0,
}
"""How far the edge with the longest way moves in an hour, in the quantity's unit."""

SURVIVAL = (Quantity.TEMPERATURE,)
"""Alarm limits of these are about survival: never held off."""


@dataclass(slots=True)
class Ramp:
    """A space on its way. What it goes to is worked out anew each time, so a config may change under way."""

    begun_wall_ms: int
    reached_ms: int
    """Of the way, in whole steps; never goes back."""
    old: dict[Quantity, Band] = field(default_factory=dict)
    """The bands in force when it began."""


def reached(ramp: Ramp, wall_ms: int) -> int:
    """How far a ramp is at a wall time, ms in whole steps; a clock that goes back takes nothing back."""
    gone = min(max(wall_ms - ramp.begun_wall_ms, 0), LONGEST_MS)
    return max(ramp.reached_ms, gone // STEP_MS * STEP_MS)


def length_ms(quantity: Quantity, old: Band, new: Band) -> int:
    """How long the way from `old` to `new` is: whole steps, 0 for none, a day at most."""
    if _edges(old) == _edges(new):
        return 0
    ways = [
        abs(there - here)
        for here, there in zip(_edges(old), _edges(new), strict=True)
        if here is not None and there is not None
    ]
    hours = max(ways, default=0.0) / PACE_PER_H[quantity]
    steps = max(1, ceil(hours * 3_600_000 / STEP_MS))
    return min(steps * STEP_MS, LONGEST_MS)


def between(quantity: Quantity, old: Band, new: Band, reached_ms: int) -> Band:
    """The band `reached_ms` into the way from `old` to `new`. Every edge lies between the two."""
    whole = length_ms(quantity, old, new)
    if reached_ms >= whole:
        return new
    part = reached_ms / whole
    low, high = _moved(old.low, new.low, part), _moved(old.high, new.high, part)
    hard = quantity in SURVIVAL
    lower, upper = _Side(low, hard, min), _Side(high, hard, max)
    alarm_low = _limit(lower, (old.low, old.alarm_low), (new.low, new.alarm_low), part)
    alarm_high = _limit(upper, (old.high, old.alarm_high), (new.high, new.alarm_high), part)
    # A limit that holds at once, with no edge on its own side yet, must leave the other side its room.
    alarm_low = _within(alarm_low, None, alarm_high if high is None else high)
    alarm_high = _within(alarm_high, alarm_low if low is None else low, None)
    floor, ceiling = alarm_low if low is None else low, alarm_high if high is None else high
    aim = _within(_moved(old.target, new.target, part), floor, ceiling)
    return replace(new, low=low, high=high, target=aim, alarm_low=alarm_low, alarm_high=alarm_high)


@dataclass(frozen=True, slots=True)
class _Side:
    """One side of a band under way."""

    edge: float | None
    """Its target edge at this moment."""
    hard: bool
    """Its limit is never held off."""
    outer: Callable[[float, float], float]
    """Of two figures the one farther out."""


def _edges(band: Band) -> tuple[float | None, ...]:
    return band.alarm_low, band.low, band.target, band.high, band.alarm_high


def _moved(old: float | None, new: float | None, part: float) -> float | None:
    if old is None or new is None:
        return None
    there = round(old + part * (new - old), 2)
    return min(max(there, min(old, new)), max(old, new))


_Pair = tuple[float | None, float | None]
"""Target edge and alarm limit of one side."""


def _limit(side: _Side, old: _Pair, new: _Pair, part: float) -> float | None:
    """The alarm limit of one side under way."""
    old_edge, old_limit = old
    new_edge, new_limit = new
    if new_limit is None:
        return None
    if old_limit is not None:
        limit = _moved(old_limit, new_limit, part)
    elif side.edge is not None and new_edge is not None:
        limit = side.outer(new_limit, round(side.edge + new_limit - new_edge, 2))
    else:
        limit = new_limit if side.hard or old_edge is not None else None
    return limit if limit is None or side.edge is None else side.outer(limit, side.edge)


def _within(value: float | None, low: float | None, high: float | None) -> float | None:
    if value is None:
        return None
    raised = value if low is None else max(value, low)
    return raised if high is None else min(raised, high)
