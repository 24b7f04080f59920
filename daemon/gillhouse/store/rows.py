"""What the writer is given: one small frozen value per row to be stored.

No SQL here and no JSON; `tables` turns these into rows. `urgent` says whether an entry asks for a commit at
once: what a person or a relay depends on does, a plain reading waits for the next group commit.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import ClassVar

from gillhouse.core.inputs import (
    BatchAction,
    ClockStep,
    Input,
    OperatorAction,
    Reading,
    SettingsChange,
    Started,
)
from gillhouse.core.instant import Instant
from gillhouse.core.outputs import AlarmNotice, Command, Event
from gillhouse.core.readings import Verdict

URGENT_INPUTS = (OperatorAction, BatchAction, SettingsChange, Started, ClockStep)
"""Inputs that must outlive a power cut in the next second."""


@dataclass(frozen=True, slots=True)
class ReadingRow:
    """A reading, the moment the core was given it, and the quality the core gave it."""

    seq: int
    now: Instant
    reading: Reading
    verdict: Verdict
    token: object = None
    """Handed to `on_committed` once the row is safe; None when nobody waits for that."""
    urgent: ClassVar[bool] = False


@dataclass(frozen=True, slots=True)
class InputRow:
    """Any other input, as the core was given it."""

    seq: int
    now: Instant
    item: Input

    @property
    def urgent(self) -> bool:
        return isinstance(self.item, URGENT_INPUTS)


@dataclass(frozen=True, slots=True)
class CommandRow:
    """A command and the input (`seq`) it was given for; `ts` is that input's wall time, ms."""

    seq: int
    ts: int
    command: Command

    @property
    def urgent(self) -> bool:
        return not self.command.renewal


@dataclass(frozen=True, slots=True)
class EventRow:
    """An event and the input (`seq`) it came from; `ts` is wall time, ms."""

    seq: int
    ts: int
    event: Event
    urgent: ClassVar[bool] = False


@dataclass(frozen=True, slots=True)
class AlarmRow:
    """A transition of an alarm and the input (`seq`) it came from; `ts` is wall time, ms."""

    seq: int
    ts: int
    notice: AlarmNotice
    urgent: ClassVar[bool] = True


@dataclass(frozen=True, slots=True)
class SegmentRow:
    """A stretch of the journal that can be replayed by itself.

    Put it before the first row of its stretch: readings after it are timed against `now`.
    """

    first_seq: int
    now: Instant
    digest: str
    """Of the config in force; see `ConfigRow`."""
    version: str
    why: str
    snapshot: Mapping[str, object]
    """`Farm.snapshot()` before the input `first_seq`."""
    time_unsure: bool = False
    urgent: ClassVar[bool] = True


@dataclass(frozen=True, slots=True)
class ConfigRow:
    """A config as it was read, kept whole. Putting one that is there already changes nothing."""

    digest: str
    first_used_ms: int
    files: Mapping[str, str]
    """File name to text."""
    urgent: ClassVar[bool] = True


@dataclass(frozen=True, slots=True)
class SeriesRow:
    """What a sensor measures and where. Put at start and after a config re-read; the newest one holds."""

    sensor: str
    quantity: str
    unit: str
    space: str | None
    zone: str
    urgent: ClassVar[bool] = False


@dataclass(frozen=True, slots=True)
class CounterRow:
    """Adds `n` to a counter of the UTC day that holds `ts` (wall ms; None: when it is committed)."""

    name: str
    subject: str
    n: int
    ts: int | None = None
    urgent: ClassVar[bool] = False


@dataclass(frozen=True, slots=True)
class OutboxRow:
    """A message to people, before it is sent. Ids count up from `Opened.next_outbox_id`."""

    id: int
    ts: int
    channel: str
    subject: str
    text: str
    next_try: int
    """Wall ms of the first attempt."""
    alarm: str | None = None
    occurrence: int | None = None
    attachments: str | None = None
    """JSON of the sender's own making."""
    urgent: ClassVar[bool] = True


@dataclass(frozen=True, slots=True)
class OutboxUpdate:
    """What became of an attempt to send. `sent` (wall ms) once the channel said yes.

    With `sent` and an error the message went another way (`went by CHANNEL`), and this row is closed.
    """

    id: int
    attempts: int
    next_try: int
    last_error: str | None = None
    sent: int | None = None

    @property
    def urgent(self) -> bool:
        return self.sent is not None


@dataclass(frozen=True, slots=True)
class MirrorSent:
    """These mirror lines were accepted at `sent` (wall ms)."""

    ids: tuple[int, ...]
    sent: int
    urgent: ClassVar[bool] = False


@dataclass(frozen=True, slots=True)
class MirrorParked:
    """This mirror line was refused for good; `reason` is the receiver's."""

    id: int
    reason: str
    urgent: ClassVar[bool] = False


@dataclass(frozen=True, slots=True)
class MirrorRewind:
    """Send again whatever was accepted at or after `since` (wall ms)."""

    since: int
    urgent: ClassVar[bool] = False


@dataclass(frozen=True, slots=True)
class MirrorDrop:
    """Forget mirror lines sent before `sent_before`, and any made before `made_before` (wall ms)."""

    sent_before: int
    made_before: int
    urgent: ClassVar[bool] = False


@dataclass(frozen=True, slots=True)
class MetaRow:
    """One named fact of the store, over whatever stood under that name: any JSON value."""

    key: str
    value: object
    urgent: ClassVar[bool] = False


Entry = (
    ReadingRow
    | InputRow
    | CommandRow
    | EventRow
    | AlarmRow
    | SegmentRow
    | ConfigRow
    | SeriesRow
    | CounterRow
    | OutboxRow
    | OutboxUpdate
    | MirrorSent
    | MirrorParked
    | MirrorRewind
    | MirrorDrop
    | MetaRow
)
