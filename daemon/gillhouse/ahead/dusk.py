"""When the sun sets by the clock on the wall, and what is said then of a slug night.

Here: sunset from latitude and day, and the words of the call. Not here: the score (`slugs`), where its hours
come from (`audit.ahead_log`), who is told.

The call is a message to look, no alarm: nothing in the house decides by it.
"""

from collections.abc import Sequence
from dataclasses import dataclass

from gillhouse.ahead.weather import daylight_h

NOON_MIN = 12 * 60
DAY_H = 24.0
MOST_LETTERS = 160
"""Of one text message (GSM 03.38, seven bits a letter)."""


@dataclass(frozen=True, slots=True)
class Tonight:
    """A night that is called in one open space."""

    space: str
    """Its id, which is plain letters."""
    points: float
    dark_h: int
    by_forecast: bool
    """Else last night stands for it."""


def sunset_min(latitude_deg: float, day: int, summer_min: int = 0) -> int | None:
    """Minutes since local midnight at which the sun sets; None: it does not set, or does not rise.

    The sun's noon is taken to be 12:00 of the zone's winter time, which is wrong by up to an hour or so
    east and west of the zone's middle.

    Args:
        day: of the year, 1..365.
        summer_min: how far the clock is put forward, minutes.
    """
    light_h = daylight_h(latitude_deg, day)
    if not 0.0 < light_h < DAY_H:
        return None
    return NOON_MIN + round(light_h * 30.0) + summer_min


def slug_call(called: Sequence[Tonight]) -> str:
    """The call of all open spaces in one text message of plain letters.

    Args:
        called: one at least.
    """
    first, *others = sorted(called, key=lambda one: -one.points)
    by = "by your forecast" if first.by_forecast else "if it is like last night"
    end = f": {first.points:.1f} of {first.dark_h} dark hours {by}. Look two hours after dark, by torch."
    names = first.space
    for at, one in enumerate(others):
        longer = f"{names}, {one.space}"
        left = len(others) - at - 1
        more = f" and {left} more" if left else ""
        if len(f"Slug night, {longer}{more}{end}") > MOST_LETTERS:
            names += f" and {left + 1} more"
            break
        names = longer
    return f"Slug night, {names}{end}"
