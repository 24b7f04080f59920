"""All that may change a decision. Each is journalled, so a night can be replayed to the same bytes."""

from dataclasses import dataclass
from enum import StrEnum

from gillhouse.core.calibration import Calibration
from gillhouse.core.crops import Stage
from gillhouse.core.measurement import Measurement


class Delivery(StrEnum):
    """How a reading came. Only LIVE may drive or alarm."""

    LIVE = "live"
    QUEUED = "queued"
    LATE = "late"
    AHEAD = "ahead"
    RETAINED = "retained"


@dataclass(frozen=True, slots=True)
class Reading:
    """One value of one sensor, in its quantity's canonical unit."""

    sensor: str
    value: float
    sensed_ms: int
    """Wall time the value belongs to: the board's own if it sends one, else its arrival."""
    own_time: bool = False
    board_seq: int | None = None
    delivery: Delivery = Delivery.LIVE


@dataclass(frozen=True, slots=True)
class Due:
    """A due time. `what` is a programme's id, or `DEADLINE` for the core's own next deadline."""

    what: str
    due_ms: int
    """Wall time it was due (for DEADLINE: of the call)."""


DEADLINE = "deadline"


@dataclass(frozen=True, slots=True)
class RelayReport:
    """What a relay board says of itself."""

    relay: str
    on: bool | None
    """State echoed, or None where only `available` is known."""
    available: bool = True


class Act(StrEnum):
    """What a person may ask for."""

    NOTE = "note"
    ACK = "ack"
    SHELVE = "shelve"
    SHELVE_ONCE = "shelve-once"
    """Until it is over, at the latest until the time given."""
    UNSHELVE = "unshelve"
    OUT_OF_SERVICE = "out-of-service"
    """Of an alarm: what it watches is being mended, until the time given; `text` says why."""
    IN_SERVICE = "in-service"
    RESET = "reset"
    PASS_ON = "pass-on"
    """Of an alarm: `who` (a person's id) cannot come; the next one is called now."""
    OVERRIDE = "override"
    RELEASE = "release"
    """Ends an override."""
    HOSED = "hosed"
    """Of a space: everything in it was watered by hand."""
    DRY = "dry"
    """Of a space: caps were seen to have just dried."""
    CLEANED = "cleaned"
    """Of a mist relay: its nozzles; of a fan: its filter."""
    FLUSHED = "flushed"
    """Of a mist relay: fresh water was run through its line by hand."""
    MORE_WATER = "more-water"
    """Of a mist relay: half of its day's water again, once a day."""
    DRAINED = "drained"
    """Of a mist relay: its line is empty, nothing in it can freeze or stand."""
    INSIDE = "inside"
    """Of a space: somebody goes in (see `modes`)."""
    CLEANING = "cleaning"
    HARVEST = "harvest"
    AIRING = "airing"
    EMPTY = "empty"
    OVER = "over"
    """Of a space: people are out, or what it was in is over."""


@dataclass(frozen=True, slots=True)
class OperatorAction:
    """Something a named person did."""

    act: Act
    subject: str
    """A space, an alarm or a relay, by `act`."""
    who: str
    text: str = ""
    on: bool | None = None
    """For OVERRIDE. Of INSIDE: somebody is called if nobody says in time that they are out."""
    for_ms: int | None = None
    """How long an OVERRIDE, a SHELVE or a mode lasts."""
    occurrence: int | None = None
    """For ACK: the occurrence meant (a stale acknowledgement touches nothing newer)."""
    amount: float | None = None
    """For AIRING: air changes."""
    corrects: int | None = None
    """For NOTE: the journal number of the note this one puts right; both stay."""


@dataclass(frozen=True, slots=True)
class Calibrated:
    """A named person held a sensor against something known. Its readings are corrected from here on."""

    sensor: str
    calibration: Calibration | None
    """None: the last one is taken back, and the one before it counts again."""
    who: str


@dataclass(frozen=True, slots=True)
class Measure:
    """A named person begins a measuring run of a space, or ends the one that is on."""

    space: str
    who: str
    begin: bool = True


@dataclass(frozen=True, slots=True)
class Measured:
    """A named person puts a measuring run's figures to use in place of the labels."""

    space: str
    who: str
    found: Measurement | None
    """None: the labels count again."""


@dataclass(frozen=True, slots=True)
class SensorsAway:
    """Sensors that are out of their place, to be checked or cleaned: heard and kept, but steering nothing."""

    sensors: tuple[str, ...]
    who: str
    for_ms: int
    """They count again after this by themselves; 0: they are back."""


class BatchAct(StrEnum):
    """What a person may do with a batch."""

    ADD = "add"
    STAGE = "stage"
    """Begin a stage; with a moment still to come, plan it."""
    MOVE = "move"
    END = "end"
    ACCEPT = "accept"
    """Say yes to the proposed stage: now, or from its date if that is still to come."""
    LATER = "later"
    """Say 'not yet' to the proposed stage."""


@dataclass(frozen=True, slots=True)
class BatchAction:
    """Something a named person did with a batch, or wants done at a moment."""

    act: BatchAct
    batch: str
    who: str
    at_ms: int | None = None
    """Wall time it happened or shall happen; None: now. For LATER: ask again from then."""
    species: str | None = None
    stage: Stage | None = None
    kg: float | None = None
    space: str | None = None
    rack: str | None = None
    priority: bool | None = None
    blocks_c: float | None = None
    """Temperature the blocks come in at; None: as it was where they stood, if that was measured."""
    block_kg: float | None = None
    """Of one block."""
    text: str = ""


class Link(StrEnum):
    """What may be up or down."""

    BROKER = "broker"
    STORE = "store"
    CONFIG = "config"
    """Down: a re-read config was refused, and the old one stays in force."""


@dataclass(frozen=True, slots=True)
class LinkChange:
    link: Link
    up: bool
    detail: str = ""
    lost_from_ms: int | None = None
    """The broker has forgotten our place: what it was sent from then (wall ms) until now may be gone."""


@dataclass(frozen=True, slots=True)
class ChannelReport:
    """A channel handed a message over, or could not."""

    channel: str
    ok: bool
    grade: int = 1
    """Of a delivery: 1 taken by the channel, 2 received by the other side. The third is a person's answer."""
    call: str = ""
    """Id of the call it was about."""
    detail: str = ""


@dataclass(frozen=True, slots=True)
class TooMany:
    """Somebody began to speak faster than the limit allows, or keeps to it again."""

    subject: str
    """The sensor or relay whose board it is, or `LOCAL`."""
    on: bool
    source: str
    """The topic, or `LOCAL` again."""
    dropped: int = 0
    """Left out so far."""
    who: str = ""
    """For `LOCAL`: the user of this machine."""


LOCAL = "local"
"""Subject of a `TooMany` about the command line's way in."""


@dataclass(frozen=True, slots=True)
class ClockStep:
    """The wall clock moved against the monotonic one by more than 2 s, or was found to be set."""

    by_ms: int
    """0: it did not move; it is known to be right from here on."""
    sure: bool = True
    """False: what it shows now cannot be right either."""


@dataclass(frozen=True, slots=True)
class SettingsChange:
    """The config was re-read, whole. The new settings themselves reach the core by `Farm.resettle`."""

    digest: str


@dataclass(frozen=True, slots=True)
class Started:
    """The daemon began."""

    version: str
    digest: str
    clean: bool
    """The stop before was a clean one (or this is the first start)."""
    away_ms: int | None = None
    """Wall time since the last committed row; None on a first start or where the clock cannot be trusted."""
    clock_sure: bool = True
    """False: the wall clock is not set, so times are unsure until a `ClockStep` that is sure."""
    aside: str = ""
    """The journal was found damaged, is kept under this name, a new one was begun; empty: it was whole."""


Input = (
    Reading
    | Due
    | RelayReport
    | OperatorAction
    | BatchAction
    | Calibrated
    | SensorsAway
    | Measure
    | Measured
    | LinkChange
    | ChannelReport
    | TooMany
    | ClockStep
    | SettingsChange
    | Started
)
