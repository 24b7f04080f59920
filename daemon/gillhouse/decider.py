"""What follows from one input: the core decides, relays are told, then the store, then people.

In that order: control never waits for the disk. Also here: where a replay can start (segments) and what a
restart starts from (the checkpoint), since both are states of the core between two inputs. Runs on the
control thread alone. Not here: what waits, and for what (`control`).
"""

from dataclasses import dataclass

from gillhouse.alerts.outbox import Alerts
from gillhouse.core.farm import Farm
from gillhouse.core.inputs import ClockStep, Input, Link, LinkChange, Reading, SettingsChange, Started
from gillhouse.core.instant import Instant
from gillhouse.core.outputs import Authority, Command, Event, EventKind, Outcome
from gillhouse.core.reasons import Reason
from gillhouse.core.settings import FarmSettings
from gillhouse.errors import RelayError
from gillhouse.payloads.routes import Rejected
from gillhouse.relays import Relays
from gillhouse.resume import CHECKPOINT
from gillhouse.store.rows import (
    AlarmRow,
    CommandRow,
    CounterRow,
    Entry,
    EventRow,
    InputRow,
    MetaRow,
    ReadingRow,
    SegmentRow,
)
from gillhouse.store.writer import Writer

SEGMENT_MS = 6 * 3_600_000
"""A segment opens at every start and this often, with a whole snapshot: a night is replayed from there."""
CHECKPOINT_MS = 300_000
"""The state is also kept this often, over the last copy, so that a restart after a crash loses little."""
REJECT_EVERY_MS = 3_600_000
"""One line in the log per sensor and reason this often; each one is counted."""
EDGE = 0
"""Sequence number of rows that no core made: a replay leaves them alone."""


@dataclass(slots=True)
class Hands:
    """What decisions are made with, and where they go."""

    farm: Farm
    digest: str
    version: str
    relays: Relays
    writer: Writer
    alerts: Alerts


class Decider:  # 13 methods: what follows from each kind of thing, by its name
    """Owns the core. `next_seq` is the first free number of the journal."""

    def __init__(self, hands: Hands, next_seq: int) -> None:
        self.hands = hands
        self.handled = 0
        """Inputs the core has handled."""
        self._seq = next_seq
        self._segment_ms = 0
        self._checkpoint_ms = 0
        self._time_unsure = False
        self._told: dict[tuple[str, str], int] = {}
        self._on: dict[str, int] = {}

    def handle(self, now: Instant, item: Input, token: object = None) -> Outcome:
        hands, seq = self.hands, self._seq
        self._seq += 1
        outcome = hands.farm.handle(seq, now, item)
        unsent = [row for command in outcome.commands for row in self._apply(now, command)]
        hands.writer.put(*_rows(seq, now, item, outcome, token), *unsent)
        for notice in outcome.notices:
            hands.alerts.notice(now, notice)
        for call in outcome.calls:
            hands.alerts.call(now, call)
        self.handled += 1
        if isinstance(item, LinkChange) and item.link is Link.STORE and item.up:
            # Rows may be missing before this: what comes after stands by itself.
            self.open_segment(now, "store back")
        return outcome

    def _apply(self, now: Instant, command: Command) -> list[Entry]:
        """Brings a command to its relay. Returns rows that take it back where nobody heard it."""
        self._on.pop(command.relay, None)
        try:
            self.hands.relays.apply(command, now)
        except RelayError as error:
            event = Event(EventKind.RELAY, command.relay, None, None, {"trouble": str(error)})
            off = Command(command.relay, False, 0, Authority.DEFAULT, Reason.NO_LINK)
            told: list[Entry] = [EventRow(EDGE, now.wall_ms, event)]
            return [*told, CommandRow(EDGE, now.wall_ms, off)] if command.on else told
        if command.on and not command.advise:
            self._on[command.relay] = now.mono_ms + command.lease_ms
        return []

    def reject(self, now: Instant, rejected: Rejected) -> None:
        subject, put = rejected.sensor or rejected.topic, self.hands.writer.put
        put(CounterRow(f"rejected {rejected.reason}", subject, 1, now.wall_ms))
        key = (subject, str(rejected.reason))
        told = self._told.get(key)
        if told is None or now.mono_ms - told >= REJECT_EVERY_MS:
            self._told[key] = now.mono_ms
            facts = {"why": str(rejected.reason), "found": rejected.detail}
            put(EventRow(EDGE, now.wall_ms, Event(EventKind.REJECTED, subject, None, None, facts)))

    def left_out(self, now: Instant, subject: str) -> None:
        """Counts a message that was over its limit; that it began and ended is told by `TooMany`."""
        self.hands.writer.put(CounterRow("rejected too-many", subject, 1, now.wall_ms))

    def begin(self, now: Instant, first: Started) -> None:
        """Opens the first segment, with `first` as its first input."""
        self._time_unsure = not first.clock_sure
        self.open_segment(now, "start")
        self.handle(now, first)

    def clock(self, now: Instant, step: ClockStep) -> None:
        """Takes what became of the wall clock; a segment has one clock, so another begins."""
        self.handle(now, step)
        self._time_unsure = not step.sure
        self.open_segment(now, "clock step" if step.by_ms else "clock set")

    def open_segment(self, now: Instant, why: str) -> None:
        hands, unsure = self.hands, self._time_unsure
        hands.writer.put(
            SegmentRow(self._seq, now, hands.digest, hands.version, why, hands.farm.snapshot(), unsure)
        )
        self._segment_ms = now.mono_ms
        self._checkpoint(now)

    def look_back(self, now: Instant) -> None:
        """Opens a segment or keeps the state, if it is time."""
        if now.mono_ms - self._segment_ms >= SEGMENT_MS:
            self.open_segment(now, "six hours")
        if now.mono_ms - self._checkpoint_ms >= CHECKPOINT_MS:
            self._checkpoint(now)

    def looks_back_ms(self) -> int:
        """When `look_back` has something to do, on the monotonic clock."""
        return min(self._segment_ms + SEGMENT_MS, self._checkpoint_ms + CHECKPOINT_MS)

    def _checkpoint(self, now: Instant) -> None:
        hands = self.hands
        state = {"seq": self._seq, "config": hands.digest, "snapshot": hands.farm.snapshot()}
        hands.writer.put(MetaRow(CHECKPOINT, state))
        self._checkpoint_ms = now.mono_ms

    def let_go(self, now: Instant) -> None:
        """The end of a clean stop: every relay off, and said so in the log."""
        hands = self.hands
        hands.relays.close(now)
        for relay, until_ms in self._on.items():
            if until_ms > now.mono_ms:
                off = Command(relay, False, 0, Authority.DEFAULT, Reason.STOPPING)
                hands.writer.put(CommandRow(EDGE, now.wall_ms, off))
        hands.writer.put(EventRow(EDGE, now.wall_ms, Event(EventKind.STOPPED, "daemon", None)))
        self._checkpoint(now)

    def resettle(self, now: Instant, settings: FarmSettings, relays: Relays) -> None:
        """Puts re-read settings in force; relays that are gone are let go first."""
        hands = self.hands
        for relay in sorted(set(self._on) - set(settings.relays)):
            self._apply(now, Command(relay, False, 0, Authority.DEFAULT, Reason.STOPPING))
        hands.farm.resettle(settings)
        hands.digest = settings.digest
        hands.relays = relays
        self.open_segment(now, "settings")
        self.handle(now, SettingsChange(settings.digest))


def _rows(seq: int, now: Instant, item: Input, outcome: Outcome, token: object) -> list[Entry]:
    """An input and all that followed from it, as rows of one transaction."""
    first: Entry = InputRow(seq, now, item)
    if isinstance(item, Reading):
        assert outcome.verdict is not None
        first = ReadingRow(seq, now, item, outcome.verdict, token)
    return [
        first,
        *(CommandRow(seq, now.wall_ms, command) for command in outcome.commands),
        *(EventRow(seq, now.wall_ms, event) for event in outcome.events),
        *(AlarmRow(seq, now.wall_ms, notice) for notice in outcome.notices),
    ]
