"""The air people breathed inside a space: CO2 as averages over a shift and over a quarter of an hour.

Here: one account a space, minute by minute of wall time. Not here: who is inside (`modes`), what is called
for (`keeping`). A limit for people is an average: over 8 hours, or over 15 minutes, for the one who was
there. Minutes outside count as outdoor air. Who it was is not known, so each space is counted as if one
person did all the work in it: never too little for anybody who works in one space alone, too little for
somebody who goes from one to the next.
"""

from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Final

MINUTE_MS: Final = 60_000
SHIFT_MIN: Final = 480
"""Eight hours."""
QUARTER_MIN: Final = 15
OUTDOOR_PPM: Final = 425.0
"""As `IntakeSettings.co2_ppm`."""
UNKNOWN: Final = -1
"""A minute inside of which no CO2 is known."""
LONGEST_STEP_MIN: Final = 10
"""No reading speaks for longer: after a longer hole the minutes of it are unknown."""


@dataclass(slots=True)
class Breathed:
    """The minutes of the last 8 hours with somebody inside."""

    minutes: list[int] = field(default_factory=list)
    """Of wall time, rising."""
    ppm: list[int] = field(default_factory=list)
    """CO2 in each of them, or `UNKNOWN`."""


def note(known: Breathed, ppm: float | None, since_wall_ms: int, wall_ms: int) -> None:
    """Adds the minutes since the last call, or since somebody came in, with the CO2 of now.

    Args:
        ppm: None where no sensor says.
        since_wall_ms: when the present stay began.
    """
    now = wall_ms // MINUTE_MS
    begin = since_wall_ms // MINUTE_MS
    if known.minutes:
        begin = max(begin, known.minutes[-1] + 1)
    for minute in range(max(begin, now - SHIFT_MIN + 1), now + 1):
        near = ppm is not None and now - minute < LONGEST_STEP_MIN
        known.minutes.append(minute)
        known.ppm.append(round(ppm) if near and ppm is not None else UNKNOWN)
    forget(known, wall_ms)


def forget(known: Breathed, wall_ms: int) -> None:
    """Drops what is older than 8 hours, or lies ahead because the clock was set back."""
    now = wall_ms // MINUTE_MS
    keep = [at for at, minute in enumerate(known.minutes) if now - SHIFT_MIN < minute <= now]
    if len(keep) != len(known.minutes):
        known.minutes = [known.minutes[at] for at in keep]
        known.ppm = [known.ppm[at] for at in keep]


def step(known: Breathed, by_ms: int) -> None:
    """The wall clock was set: what was noted by the old one is told by the new."""
    shift = round(by_ms / MINUTE_MS)
    known.minutes = [minute + shift for minute in known.minutes]


def average(known: Breathed, over_min: int, wall_ms: int) -> float | None:
    """Mean CO2 over the last `over_min` minutes, ppm; None where nothing is known of any minute inside.

    Minutes inside without a reading count as the mean of those with one.
    Source: a time-weighted average, the sum of level times time over the whole time (29 CFR 1910.1000(d)).
    """
    now = wall_ms // MINUTE_MS
    inside = [
        ppm for minute, ppm in zip(known.minutes, known.ppm, strict=True) if now - over_min < minute <= now
    ]
    seen = [ppm for ppm in inside if ppm != UNKNOWN]
    if not seen:
        return None
    mean = sum(seen) / len(seen)
    return (mean * len(inside) + OUTDOOR_PPM * (over_min - len(inside))) / over_min


def unknown_min(ppm: Sequence[int]) -> int:
    """Minutes inside of which no CO2 is known."""
    return sum(1 for one in ppm if one == UNKNOWN)
