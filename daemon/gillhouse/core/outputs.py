"""All that may follow from an input: commands, events, alarm notices, with their reasons and causes."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from enum import IntEnum, StrEnum

from gillhouse.core.readings import Verdict
from gillhouse.core.reasons import Reason

Facts = Mapping[str, float | int | str | bool | None]
"""What a reason or an alarm is about, by name; JSON as it stands; enough to word it without prose."""


class Authority(IntEnum):
    """Order of authority, strongest first."""

    EMERGENCY = 1
    INTERLOCK = 2
    LONGEST_RUN = 3
    OVERRIDE = 4
    DEMAND = 5
    SCHEDULE = 6
    DEFAULT = 7


@dataclass(frozen=True, slots=True)
class Command:
    """What a relay shall do. ON is a lease: without renewal the driver lets go when `lease_ms` has passed."""

    relay: str
    on: bool
    lease_ms: int
    """0 for OFF."""
    authority: Authority
    reason: Reason
    causes: tuple[int, ...] = ()
    """Journal sequence numbers of the readings, due times or actions that led here, newest first."""
    facts: Facts = field(default_factory=dict)
    renewal: bool = False
    """Already on; the lease is only extended."""
    advise: bool = False
    """Advise only: recorded, never driven."""


class EventKind(StrEnum):
    """What is worth a line in the log. (Extend as needed; every kind has words in `audit`.)"""

    STARTED = "started"
    STOPPED = "stopped"
    GAP = "gap"
    CLOCK = "clock"
    CONFIG = "config"
    LINK = "link"
    NOTE = "note"
    REFUSED = "refused"
    """A wish an interlock held back, or a person's request that cannot be done."""
    DUE = "due"
    """A programme's due time came: run, or left out, with the reason."""
    DECISION = "decision"
    """A standing decision changed without a relay moving: 'no change because'."""
    REJECTED = "rejected"
    """A message no reading could be made of."""
    RELAY = "relay"
    """What a relay board said, where it differs from what was asked."""
    SENSOR = "sensor"
    """A sensor's standing changed: silent, back, flat, saturated."""
    WATER = "water"
    BATCH = "batch"
    """Something about a batch: added, moved, a stage begun or proposed, its blocks wet with dew."""
    CALL = "call"
    """A message to a person, with why; its subject is the person."""


@dataclass(frozen=True, slots=True)
class Event:
    kind: EventKind
    subject: str
    """Id of the space, relay, sensor, link or programme it is about."""
    space: str | None
    reason: Reason | None = None
    facts: Facts = field(default_factory=dict)
    causes: tuple[int, ...] = ()


class Transition(StrEnum):
    """What happened to an alarm."""

    ACT = "ACT"
    RTN = "RTN"
    ACK = "ACK"
    REALARM = "REALARM"
    """Acknowledged, but there for so long that it is as new."""
    REPEAT = "REPEAT"
    """Nobody has acknowledged it: said again."""
    SHELVE = "SHELVE"
    UNSHELVE = "UNSHELVE"
    SUPP = "SUPP"
    UNSUPP = "UNSUPP"
    RESET = "RESET"
    PASS = "PASS"
    """Somebody who was called cannot come."""
    REFUSED = "REFUSED"


@dataclass(frozen=True, slots=True)
class AlarmNotice:
    """One transition of one alarm. Facts, not prose: `alerts.wording` makes the text."""

    alarm: str
    """Instance id, `kind:subject`, such as `humidity-low:tent`."""
    kind: str
    """Key of `core.alarm.KINDS`."""
    occurrence: int
    transition: Transition
    priority: int
    """1 wakes someone, 2 high, 3 daytime."""
    state: str
    """Shown state after the transition, letter A to F."""
    announce: bool
    """A message goes out for this."""
    space: str | None
    facts: Facts = field(default_factory=dict)
    who: str = ""


class CallKind(StrEnum):
    """Why a message goes to a person."""

    ALARM = "alarm"
    CLEARED = "cleared"
    """What they were called for is over."""
    BACK = "back"
    """Watching again after a time in which nobody could have been called."""
    DIGEST = "digest"
    WEEKLY = "weekly"
    """The reminders; it goes over every way, so that each is tried once a week."""


@dataclass(frozen=True, slots=True)
class Call:
    """One message to one person. Facts, not prose, and no channel: `alerts` words it and finds the way."""

    id: str
    """The same at every replay: the number of the input it came from, and its place among its calls."""
    kind: CallKind
    person: str
    priority: int | None = None
    night: bool = False
    """In the person's quiet hours: it should ring."""
    notices: tuple[AlarmNotice, ...] = ()
    """Gravest first."""
    facts: Facts = field(default_factory=dict)
    lines: tuple[Facts, ...] = ()
    """Of a digest or a weekly list."""


@dataclass(frozen=True, slots=True)
class Outcome:
    """Everything that follows from one input, in order."""

    commands: tuple[Command, ...] = ()
    events: tuple[Event, ...] = ()
    notices: tuple[AlarmNotice, ...] = ()
    verdict: Verdict | None = None
    """For a Reading: the quality it was given."""
    calls: tuple[Call, ...] = ()
    """Messages to people; each also stands among the events, as kind CALL."""
