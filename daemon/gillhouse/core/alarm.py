"""The alarm book: conditions in, notices out, with delays, repeats, holds, parents and who was first.

What lives here: `Condition`, `AlarmBook`, `beyond`. What must not: which limits hold where (see `space`),
the wording of a message. How: every input brings all present conditions; the book keeps one record per
alarm that ever began, moves it by the table in `alarm_states`, and tells each move as a notice with facts,
not prose. A condition that is not known (None) neither starts nor ends an alarm and stops no delay that
runs. Delays are on the monotonic clock.
"""

from collections.abc import Collection, Sequence
from dataclasses import dataclass, field, replace
from enum import StrEnum

from gillhouse.core import alarm_acts, alarm_moves
from gillhouse.core.alarm_kinds import (
    KINDS,
    LONGEST_OUT_MS,
    LONGEST_SHELVE_MS,
    REALARM_MS,
    REPEAT_MS,
)
from gillhouse.core.alarm_notices import BY_PERSON, FactsOut, free, line, notice
from gillhouse.core.alarm_states import AlarmRecord, BookState, Hold, Holding, new_record
from gillhouse.core.inputs import OperatorAction
from gillhouse.core.instant import Instant
from gillhouse.core.modes import Mode
from gillhouse.core.outputs import AlarmNotice, Facts, Transition
from gillhouse.core.settings import AlarmSettings

__all__ = ["KINDS", "AlarmBook", "Condition", "Side", "alarm_id", "beyond"]


FOUND_WITHIN_MS = 120_000
"""What is wrong so soon after a start was so before it: no board has told anything else. Our choice."""


class Side(StrEnum):
    """On which side of a limit the bad lies."""

    LOW = "low"
    HIGH = "high"


@dataclass(frozen=True, slots=True)
class Condition:
    """Whether something is wrong now, before any delay."""

    kind: str
    """Key of `KINDS`."""
    subject: str
    """Id of the space, sensor, relay, tank, shared equipment or link. One shared fault has one subject."""
    space: str | None
    active: bool | None
    """None: not known, neither starts nor ends the alarm."""
    facts: Facts = field(default_factory=dict)
    on_delay_ms: int | None = None
    """None: the kind's."""
    off_delay_ms: int | None = None
    priority: int | None = None
    """None: the kind's. A limit for people is never made less urgent."""
    parents: tuple[str, ...] = ()
    """Ids of alarms that explain this one, such as the silent sensor behind a limit; with the kind's own."""


def alarm_id(kind: str, subject: str) -> str:
    """The id of the alarm of one kind about one subject."""
    return f"{kind}:{subject}"


def beyond(value: float, limit: float, side: Side, deadband: float, was_active: bool) -> bool:
    """Whether `value` counts as beyond `limit`.

    It starts strictly beyond the limit, and ends when it has come back past it by the deadband or more.

    Args:
        was_active: the alarm is on (`AlarmBook.is_active`), so the deadband holds.
    """
    if side is Side.LOW:
        return value < limit + deadband if was_active else value < limit
    return value > limit - deadband if was_active else value > limit


class AlarmBook(BookState):  # 13 methods: what time, people, rules and restarts do, each by its name
    """All alarms of a farm. It holds state and nothing else (see `BookState`), so a snapshot can keep it."""

    __slots__ = ()

    def settle(self, settings: AlarmSettings) -> None:
        """Takes the repeat times from the farm's settings; what they leave out has its default."""
        self.repeat_ms = {**REPEAT_MS, **settings.repeat_ms}
        self.realarm_ms = {**REALARM_MS, **settings.realarm_ms}

    def is_active(self, kind: str, subject: str) -> bool:
        """The alarm is on, after delays: the deadband applies to its condition."""
        record = self.records.get(alarm_id(kind, subject))
        return record is not None and record.active

    def update(self, now: Instant, conditions: Sequence[Condition]) -> list[AlarmNotice]:
        """Takes the present conditions. One that is not among them stays as last reported.

        Returns:
            What happened, in order; empty for nearly every reading.
        """
        changed = False
        for condition in conditions:
            changed = _report(self, now, condition) or changed
        if not changed and (self.wake is None or now.mono_ms < self.wake):
            return []
        notices: list[AlarmNotice] = []
        for record in self.records.values():
            alarm_moves.expire(now, record, notices)
            alarm_moves.explain(self, now, record, notices)
            alarm_moves.move(self, now, record, notices)
        for record in self.records.values():
            alarm_moves.explain(self, now, record, notices)  # a parent may just have moved
            alarm_moves.remind(self, now, record, notices)
        self.wake = alarm_moves.next_look(self)
        return notices

    def act(self, now: Instant, action: OperatorAction) -> list[AlarmNotice]:
        """Does what a named person asked: acknowledge, shelve or reset. Other acts are none of the book's.

        An acknowledgement names an alarm (and best its occurrence), or a space: then all of that space's.
        What cannot be done leaves the alarm as it was and gives a notice that says so.
        """
        do = alarm_acts.ACTS.get(action.act)
        if do is None:
            return []
        notices: list[AlarmNotice] = []
        do(self, now, action, notices)
        self.wake = alarm_moves.next_look(self)
        return notices

    def shelve(self, now: Instant, action: OperatorAction, once: bool = False) -> list[AlarmNotice]:
        """Shelves for `action.for_ms`, or with `once` until it is over but no longer than that."""
        notices: list[AlarmNotice] = []
        alarm_acts.shelve(self, now, action, notices, Holding.SHELVED_ONCE if once else Holding.SHELVED_TIMED)
        self.wake = alarm_moves.next_look(self)
        return notices

    def hold(self, now: Instant, alarm: str, holding: Holding, hold: Hold) -> list[AlarmNotice]:
        """Keeps `alarm` from being announced, by design or out of service.

        Raises:
            ValueError: the kind is unknown, or it protects people and must not be held.
        """
        record = alarm_acts.record_of(self, alarm)
        if record is None:
            raise ValueError(f"{alarm}: no such kind of alarm; expected KIND:SUBJECT")
        if KINDS[record.kind].people:
            raise ValueError(f"{alarm}: a limit that protects people cannot be held back")
        record.holds[holding] = hold
        self.wake = alarm_moves.next_look(self)
        transition = Transition.SHELVE if holding in BY_PERSON else Transition.SUPP
        told = notice(record, transition, False, {"hold": holding.value, "why": hold.why})
        return [replace(told, who=hold.who)]

    def release(self, now: Instant, alarm: str, holding: Holding, who: str) -> list[AlarmNotice]:
        """Takes one hold away; when it was the last, what is left of the alarm is announced again."""
        notices: list[AlarmNotice] = []
        record = self.records.get(alarm)
        if record is not None and holding in record.holds:
            notices.append(replace(free(now, record, holding), who=who))
        self.wake = alarm_moves.next_look(self)
        return notices

    def restart(self, now: Instant, away_ms: int | None = None) -> None:
        """Begins again after a stop: stored states stay, delays begin anew, holds are kept by wall time.

        A hold whose end cannot be recovered is dropped (OPC 10000-9, 5.8.17). Call once, before `update`.

        Args:
            away_ms: how long nobody watched; None: not known.
        """
        self.begun_mono_ms, self.modes = now.mono_ms, {}
        for record in self.records.values():
            record.reported, record.differs_since, record.unseen = None, None, True
            record.unseen_from_ms = 0 if away_ms is None else now.wall_ms - away_ms
            record.said_mono_ms = record.acked_mono_ms = now.mono_ms
            for holding, hold in list(record.holds.items()):
                left = 0 if hold.until_wall_ms is None else hold.until_wall_ms - now.wall_ms
                if holding is Holding.BY_DESIGN or not 0 < left <= _longest_ms(record, holding):
                    del record.holds[holding]
                else:
                    hold.until_mono_ms = now.mono_ms + left
        self.wake = alarm_moves.next_look(self)

    def step(self, now: Instant, by_ms: int) -> None:
        """The wall clock was set: what began, or is held, by the clock of this run is told by the new one.

        What began in an earlier run keeps its time: another clock told that.
        """
        was_ms = now.wall_ms - by_ms
        for record in self.records.values():
            for name in ("since_wall_ms", "from_wall_ms"):
                at_ms = getattr(record, name)
                if was_ms - now.mono_ms <= at_ms <= was_ms:
                    setattr(record, name, at_ms + by_ms)
            for hold in record.holds.values():
                if hold.until_wall_ms is not None:
                    hold.until_wall_ms += by_ms

    def in_modes(self, now: Instant, modes: dict[str, tuple[Mode, ...]]) -> list[AlarmNotice]:
        """Takes which modes each space is in, gravest first; spaces in none are left out.

        Returns: what that holds back or frees; nothing where no mode changed.
        """
        if modes == self.modes:
            return []
        self.modes, self.wake = dict(modes), now.mono_ms
        return self.update(now, [])

    def next_deadline_ms(self) -> int | None:
        """Monotonic time at which `update` must be called though no input comes."""
        return self.wake

    def active(self) -> list[FactsOut]:
        """What is on the list, gravest first: JSON-able, for page and status."""
        listed = [record for record in self.records.values() if record.state != "A" or record.holds]
        listed.sort(key=lambda record: (record.priority, record.since_wall_ms, record.alarm))
        return [line(record) for record in listed]

    def retire(self, subjects: Collection[str]) -> list[AlarmNotice]:
        """After new settings: forgets alarms about other `subjects`, and says so for those that were on."""
        gone = [record for record in self.records.values() if record.subject not in subjects]
        notices = []
        for record in gone:
            if record.active:
                record.active = record.latched = False
                notices.append(notice(record, Transition.RTN, False, {"retired": True}))
            del self.records[record.alarm]
        self.wake = alarm_moves.next_look(self)
        return notices


def _longest_ms(record: AlarmRecord, holding: Holding) -> int:
    return LONGEST_OUT_MS if holding is Holding.OUT_OF_SERVICE else LONGEST_SHELVE_MS[record.priority]


def _report(book: AlarmBook, now: Instant, condition: Condition) -> bool:
    """Notes a condition. Returns whether that may move anything."""
    alarm = alarm_id(condition.kind, condition.subject)
    record = book.records.get(alarm)
    if record is None:
        if not condition.active:
            return False
        record = new_record(condition.kind, condition.subject, condition.space)
        begun = book.begun_mono_ms
        record.unseen = begun is not None and now.mono_ms <= begun + FOUND_WITHIN_MS
        book.records[alarm] = record
    kind = KINDS[condition.kind]
    record.on_delay_ms = kind.on_delay_ms if condition.on_delay_ms is None else condition.on_delay_ms
    record.off_delay_ms = kind.off_delay_ms if condition.off_delay_ms is None else condition.off_delay_ms
    if kind.people:
        record.on_delay_ms = min(record.on_delay_ms, kind.on_delay_ms)
    record.parents, record.space = condition.parents, condition.space
    if condition.priority is not None:
        record.priority = min(condition.priority, kind.priority) if kind.people else condition.priority
    changed = condition.active is not record.reported
    record.reported = condition.active
    if condition.active is None:
        return changed
    record.facts = dict(condition.facts)
    if condition.active is record.active:
        changed = changed or record.differs_since is not None
        record.differs_since = None
        record.unseen = False
    elif record.differs_since is None:
        record.differs_since, changed = now.mono_ms, True
    else:
        changed = changed or now.mono_ms >= record.differs_since + alarm_moves.delay_ms(record)
    return changed
