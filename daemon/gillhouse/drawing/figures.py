"""What a strip chart is drawn from: plain frozen values, already worded. No drawing here.

Times are whole milliseconds of wall time; what a moment is called (zones, hours) is the caller's matter.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum
from typing import Protocol


class Ink(StrEnum):
    """Pens of the recorder: one per kind of trace."""

    HUMIDITY = "humidity"
    CO2 = "co2"
    TEMPERATURE = "temperature"


class Lasting(Protocol):
    """Anything with a begin and an end."""

    @property
    def from_ms(self) -> int: ...

    @property
    def to_ms(self) -> int: ...


def gaps(steps: Sequence[Lasting], from_ms: int, to_ms: int) -> list[tuple[int, int]]:
    """The times without a step; of a staircase of readings, those of which nothing is known."""
    found = []
    since = from_ms
    for step in steps:
        if step.from_ms > since:
            found.append((since, step.from_ms))
        since = max(since, step.to_ms)
    if since < to_ms:
        found.append((since, to_ms))
    return found


@dataclass(frozen=True, slots=True)
class Step:
    """A value held from `from_ms` up to `to_ms`."""

    from_ms: int
    to_ms: int
    value: float
    late: bool = False
    """Known only afterwards; drawn dashed."""


@dataclass(frozen=True, slots=True)
class BandSpan:
    """Where the value should be during a time; None leaves that side open."""

    from_ms: int
    to_ms: int
    low: float | None
    high: float | None


@dataclass(frozen=True, slots=True)
class TraceLane:
    """A lane with a pen line."""

    title: str
    summary: str
    """The night in a few words, at the lane's right end."""
    short: str
    """The same for a narrow sheet."""
    ink: Ink
    steps: Sequence[Step]
    """In order of time, not overlapping; what lies between is a gap."""
    bands: Sequence[BandSpan]
    least_span: float
    """The scale never shows less than this, so that noise does not fill the lane."""
    ceiling: float | None = None
    """The scale never goes beyond (humidity: 100)."""
    empty: str = ""
    """What to write across a lane without any step."""


@dataclass(frozen=True, slots=True)
class MarkLane:
    """A lane with marks while something was on."""

    title: str
    summary: str
    solid: Sequence[tuple[int, int]]
    """It was on."""
    hollow: Sequence[tuple[int, int]] = ()
    """It would have been on."""


@dataclass(frozen=True, slots=True)
class Flag:
    """A numbered flag; the caller explains the number beside or below the chart."""

    number: int
    at_ms: int
    alarm: bool
    """An alarm, else a note."""
    to_ms: int | None = None
    """An alarm's end."""


@dataclass(frozen=True, slots=True)
class Tick:
    at_ms: int
    label: str


@dataclass(frozen=True, slots=True)
class Strip:
    """One sheet: lanes over one time axis."""

    key: str
    """Unique within a page; a letter, then letters, digits and hyphens."""
    title: str
    description: str
    """All a reader who cannot see the chart needs."""
    from_ms: int
    to_ms: int
    ticks: Sequence[Tick]
    traces: Sequence[TraceLane]
    marks: Sequence[MarkLane]
    flags: Sequence[Flag]
