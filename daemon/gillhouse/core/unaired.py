"""A CO2 sensor that sets itself by fresh air, in a room that never has any.

Such a sensor takes the lowest value of some days for fresh air and moves its scale there. Where the room
never comes down that far, its readings sink day by day and the fan stays off: with a lowest of 600 ppm taken
for 400, a true 1,000 reads 800. What lives here: the lowest value of each day, and the rule. What must not:
settings, spaces.
"""

from typing import Final

DAY_MS: Final = 86_400_000

DAYS: Final = 7
"""So many whole days without fresh air. Data sheets of self-calibrating modules want it once a week."""

AIRED_PPM: Final = 500.0
"""A day's lowest at or under this has seen fresh air: outdoors 425, and a cheap sensor's 50 and some more."""

KEPT_DAYS: Final = DAYS + 2


def note(lows: dict[int, float], value: float, wall_ms: int) -> None:
    """Takes a CO2 value into its day's lowest. Days count from 1970 UTC; old ones are dropped."""
    day = wall_ms // DAY_MS
    lows[day] = min(value, lows.get(day, value))
    for old in [one for one in lows if not day - KEPT_DAYS < one <= day]:
        del lows[old]


def lowest_unaired(lows: dict[int, float], wall_ms: int) -> float | None:
    """The lowest of the last `DAYS` whole days, where none of them saw fresh air; else None.

    A day of which nothing is known may have been aired, so it makes the answer None.
    """
    today = wall_ms // DAY_MS
    days = [lows.get(today - back) for back in range(DAYS + 1)]
    known = [low for low in days if low is not None]
    if len(known) <= DAYS or min(known) <= AIRED_PPM:
        return None
    return min(known)
