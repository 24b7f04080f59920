"""The state table of one alarm: four independent facts, a letter shown for them, and what each event does.

What lives here: `AlarmRecord`, `STEPS`, `apply`. What must not: time, delays, parents, messages (see
`alarm`). The facts are `active`, `acked`, `latched` and the holds that keep it from being announced
(shelved for a time, shelved once, by design, out of service); OPC 10000-9 5.8 keeps the same parts
separate. Letters: A normal, B unacknowledged, C acknowledged, D over but unacknowledged, E over, latched
and unacknowledged, F over, latched and acknowledged.
"""

from dataclasses import dataclass, field
from enum import StrEnum

from gillhouse.core.alarm_kinds import KINDS, REALARM_MS, REPEAT_MS
from gillhouse.core.modes import Mode


class Step(StrEnum):
    """What may happen to an alarm."""

    ACT = "ACT"
    RTN = "RTN"
    ACK = "ACK"
    RESET = "RESET"
    REALARM = "REALARM"
    FREED = "FREED"
    """The last hold was taken away."""


class Holding(StrEnum):
    """Why an alarm is not announced. It still lives on and is logged."""

    SHELVED_TIMED = "shelved-timed"
    """By a person, until a set time however often it comes and goes."""
    SHELVED_ONCE = "shelved-once"
    """By a person, until it is over, or at the latest until a set time."""
    BY_DESIGN = "by-design"
    """By a rule: something graver explains it."""
    OUT_OF_SERVICE = "out-of-service"
    """By a person, with a reason, until a set time."""


@dataclass(slots=True)
class Hold:
    """Who keeps an alarm from being announced, why, and until when."""

    who: str
    why: str
    until_mono_ms: int | None = None
    until_wall_ms: int | None = None


@dataclass(slots=True)
class AlarmRecord:
    """One alarm and all that is known of it."""

    alarm: str
    kind: str
    subject: str
    space: str | None
    priority: int
    active: bool = False
    acked: bool = True
    latched: bool = False
    holds: dict[Holding, Hold] = field(default_factory=dict)
    occurrence: int = 0
    old_unacked: list[int] = field(default_factory=list)
    """Earlier occurrences nobody acknowledged."""
    reported: bool | None = None
    """The condition as last reported; None: not known."""
    differs_since: int | None = None
    """Monotonic time since which the condition has been other than `active`."""
    on_delay_ms: int = 0
    off_delay_ms: int = 0
    parents: tuple[str, ...] = ()
    facts: dict[str, float | int | str | bool | None] = field(default_factory=dict)
    since_wall_ms: int = 0
    """When it last started."""
    from_wall_ms: int = 0
    """When its condition began to hold, before the delay."""
    said_mono_ms: int = 0
    """When it was last announced."""
    acked_mono_ms: int = 0
    unseen: bool = False
    """Was on when the daemon stopped, and its condition has not been reported since."""
    unseen_from_ms: int = 0
    """Wall time at which that stop began."""
    first_out: str = ""
    """Of several that started together: the id of the first, with `=` before it where times were equal."""

    @property
    def state(self) -> str:
        """The letter shown."""
        return _LETTER[self.active, self.latched and not self.active, self.acked]


@dataclass(slots=True)
class FirstOut:
    """The first alarm of a group that started together."""

    alarm: str
    mono_ms: int


@dataclass(slots=True)
class BookState:
    """Every alarm that ever began, and when each must be looked at again. All of it is for a snapshot."""

    records: dict[str, AlarmRecord] = field(default_factory=dict)
    firsts: dict[str, FirstOut] = field(default_factory=dict)
    """By space ("" for the farm): the first of its last group."""
    repeat_ms: dict[int, int] = field(default_factory=lambda: dict(REPEAT_MS))
    realarm_ms: dict[int, int] = field(default_factory=lambda: dict(REALARM_MS))
    wake: int | None = None
    modes: dict[str, tuple[Mode, ...]] = field(default_factory=dict)
    """Space -> the modes it is in, gravest first (see `alarm_kinds.SUPPRESSED_IN`)."""
    begun_mono_ms: int | None = None
    """When this run of the daemon began; None: no restart yet."""


@dataclass(frozen=True, slots=True)
class Effect:
    """What came of a step."""

    refused: bool
    announce: bool


_LETTER = {
    # (active, latched though over, acked)
    (False, False, True): "A",
    (True, False, False): "B",
    (True, False, True): "C",
    (False, False, False): "D",
    (False, True, False): "E",
    (False, True, True): "F",
}

STEPS: dict[Step, dict[str, tuple[str, bool]]] = {
    # step -> state before -> (state after, announced unless held); a state that is missing refuses the step.
    # RTN of a latching kind goes to E and F instead of D and A.
    Step.ACT: {"A": ("B", True), "D": ("B", True), "E": ("B", True), "F": ("B", True)},
    Step.RTN: {"B": ("D", False), "C": ("A", False)},
    Step.ACK: {"B": ("C", False), "D": ("A", False), "E": ("F", False)},
    Step.RESET: {"F": ("A", False)},
    Step.REALARM: {"C": ("B", True)},
    Step.FREED: {
        "A": ("A", False),
        "B": ("B", True),
        "C": ("B", True),
        "D": ("A", False),
        "E": ("E", True),
        "F": ("E", True),
    },
}

LATCHED_RETURN = {"D": "E", "A": "F"}

REFUSED = Effect(refused=True, announce=False)


def apply(record: AlarmRecord, step: Step, latching: bool = False) -> Effect:
    """Does `step` to `record`, or refuses it and leaves the record as it was.

    Returns:
        Whether it was refused, and whether a message goes out: never while the alarm is held.
    """
    found = STEPS[step].get(record.state)
    if found is None:
        return REFUSED
    after, announce = found
    if step is Step.RTN and latching:
        after = LATCHED_RETURN[after]
    record.active = after in "BC"
    record.acked = after in "ACF"
    record.latched = after in "EF" or (latching and record.active)
    return Effect(refused=False, announce=announce and not record.holds)


def new_record(kind: str, subject: str, space: str | None) -> AlarmRecord:
    row = KINDS[kind]
    record = AlarmRecord(f"{kind}:{subject}", kind, subject, space, row.priority)
    record.on_delay_ms, record.off_delay_ms = row.on_delay_ms, row.off_delay_ms
    return record
