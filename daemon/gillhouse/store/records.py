"""What the reader gives back: rows with their types restored. No SQL here."""

from array import array
from dataclasses import dataclass, field
from typing import NamedTuple

from gillhouse.core.inputs import Delivery, Input
from gillhouse.core.instant import Instant
from gillhouse.core.outputs import AlarmNotice, Command, Event
from gillhouse.core.readings import Mark, Quality


@dataclass(frozen=True, slots=True)
class Series:
    """A sensor as the store knows it. Unit as a UCUM code."""

    id: int
    sensor: str
    quantity: str
    unit: str
    space: str | None
    zone: str


@dataclass(frozen=True, slots=True)
class ReadingAt:
    """A stored reading. `ts` is wall ms."""

    ts: int
    value: float
    quality: Quality
    mark: Mark
    delivery: Delivery
    seq: int
    own_time: bool = False
    board_seq: int | None = None


@dataclass(frozen=True, slots=True)
class HourAt:
    """A sensor's hour, summed up; see `store.hours`."""

    begin_ms: int
    n: int
    """Readings that counted."""
    known_ms: int
    """Time one of them held."""
    least: float
    most: float
    mean: float
    """Over the time known."""


@dataclass(slots=True)
class Trace:
    """One sensor's readings as columns, in order of time, for charts."""

    ts: "array[int]" = field(default_factory=lambda: array("q"))
    value: "array[float]" = field(default_factory=lambda: array("d"))
    quality: "array[int]" = field(default_factory=lambda: array("b"))
    """Members of `core.readings.Quality`, as numbers."""


@dataclass(frozen=True, slots=True)
class CommandAt:
    id: int
    seq: int
    ts: int
    command: Command


@dataclass(frozen=True, slots=True)
class EventAt:
    id: int
    seq: int
    ts: int
    event: Event


@dataclass(frozen=True, slots=True)
class AlarmAt:
    id: int
    seq: int
    ts: int
    notice: AlarmNotice


@dataclass(frozen=True, slots=True)
class Segment:
    """A stretch of the journal; see `rows.SegmentRow`. The core's state then: `Reader.state_at`."""

    id: int
    first_seq: int
    now: Instant
    digest: str
    version: str
    why: str
    time_unsure: bool
    last_seq: int | None
    """The last number before the next segment; None while none has begun."""


Journalled = tuple[int, Instant, Input]
"""One input, exactly as the core was given it: seq, moment, value."""


class Seed(NamedTuple):
    """A stored reading as a repeat would be known by; see `Routes.remember`."""

    sensor: str
    ts: int
    board_seq: int | None
    own_time: bool
    value: float


@dataclass(frozen=True, slots=True)
class OutboxAt:
    """A message to people and how far it has come. Times in wall ms."""

    id: int
    ts: int
    channel: str
    subject: str
    text: str
    attempts: int
    next_try: int
    alarm: str | None
    occurrence: int | None
    last_error: str | None
    sent: int | None
    attachments: str | None


@dataclass(frozen=True, slots=True)
class Opened:
    """What the writer found when it opened the store."""

    new: bool
    """There was no store before."""
    clean: bool
    """The last writer closed it in good order (or there was none)."""
    next_seq: int
    next_outbox_id: int
    last_ms: int | None
    """Wall time of the newest row; None in a new store."""
