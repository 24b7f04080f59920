"""What is remembered of calls: which alarms wait to be seen, what each person got, what the digest will say.

Here: state alone, all of it in the snapshot. Not here: when somebody is called (`calling`). Times are wall
milliseconds throughout, because quiet hours and digests are the wall's, and because a restart must lose and
double nothing; a step of the clock moves them (`calling.step`).
"""

from dataclasses import dataclass, field

from gillhouse.core.outputs import AlarmNotice

MOST_LINES = 200
"""Alarms a digest remembers between two digests; the rest is counted."""


@dataclass(slots=True)
class OpenCall:
    """One announced alarm that somebody must still see."""

    notice: AlarmNotice
    """As it was announced last."""
    since_ms: int
    step: int = 0
    """The next row of its escalation."""
    due_ms: int | None = None
    """When that row is due; None: waits for somebody's quiet hours to end."""
    told: list[str] = field(default_factory=list)
    """People who got a message about it."""
    together: dict[str, int] = field(default_factory=dict)
    """Other alarms of the last message about it, each with its occurrence: seen one, seen all."""
    passed: list[str] = field(default_factory=list)
    """People who said that they cannot come: asked last."""
    over: bool = False


@dataclass(slots=True)
class Waiting:
    """An alarm on its way to one person, held for a moment: to collect others, or until morning."""

    since_ms: int
    first: bool
    """The person has not heard of it yet, so others are waited for."""


@dataclass(slots=True)
class PersonCalls:
    """What one person got, and what is on its way to them."""

    waiting: dict[str, Waiting] = field(default_factory=dict)
    """By alarm."""
    cleared: list[AlarmNotice] = field(default_factory=list)
    """Over, and the person had been called for them."""
    sent_ms: list[int] = field(default_factory=list)
    """Messages of the last hour."""
    called_ms: int | None = None
    """When the last call for an alarm went."""
    nights: dict[str, int] = field(default_factory=dict)
    """Calls in quiet hours, by the local date on which the night began; a week of them."""


@dataclass(slots=True)
class DigestLine:
    """One alarm since the last digest."""

    kind: str
    space: str | None
    priority: int
    from_ms: int
    to_ms: int | None = None
    times: int = 1
    seen: bool = False
    """Somebody acknowledged it."""
    mode: str = ""
    """What kept it back, where something did."""


@dataclass(slots=True)
class ChannelLife:
    """When a channel last took a message."""

    since_ms: int
    """When it was first named."""
    ok_ms: int | None = None
    failed: int = 0
    """Attempts since then that failed."""
    detail: str = ""


@dataclass(slots=True)
class CallState:
    """All of it."""

    open: dict[str, OpenCall] = field(default_factory=dict)
    people: dict[str, PersonCalls] = field(default_factory=dict)
    lines: dict[str, DigestLine] = field(default_factory=dict)
    """By alarm."""
    more: int = 0
    """Alarms beyond `MOST_LINES`."""
    readings: int = 0
    """Since the last digest."""
    digest_ms: int | None = None
    """When the next digest is due."""
    weekly_ms: int | None = None
    started_ms: int = 0
    sure: bool = True
    """The wall clock is set. While it is not, nobody's quiet hours can be known and none are kept."""
    announced: dict[str, list[int]] = field(default_factory=dict)
    """Local date -> announced alarms of priority 1, 2, 3; eight days of them."""
    channels: dict[str, ChannelLife] = field(default_factory=dict)
    wake_ms: int | None = None
    """When something is due though nothing comes in."""
    blind: dict[str, list[str]] = field(default_factory=dict)
    """Alarm that left everything unwatched -> people called for it, who are told from when to when."""
    away_ms: int = 0
    """How long nothing ran, since the last digest."""
