"""The control thread: one inbox, one core. The only place that calls `Farm.handle`.

A message is decoded, numbered, handed to the core; what follows is applied first and queued for the store
after, so that control never waits for the disk. Everything else that may change a decision (due times, links,
people, a stepping clock, a re-read config) comes through the same inbox and takes the same way.
Not here: sockets, files, the making of the parts (`service`).
"""

import threading
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from typing import Any, TypeVar

from gillhouse.alerts.outbox import Alerts
from gillhouse.clock import Box, Clock
from gillhouse.core.farm import Farm
from gillhouse.core.inputs import DEADLINE, ClockStep, Due, Input, Link, LinkChange, Reading, SettingsChange
from gillhouse.core.instant import Instant
from gillhouse.core.outputs import Authority, Command, Event, EventKind, Outcome
from gillhouse.core.reasons import Reason
from gillhouse.core.settings import FarmSettings
from gillhouse.errors import GillhouseError, RelayError
from gillhouse.payloads.message import Message
from gillhouse.payloads.routes import Rejected, Routes
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
from gillhouse.timers import Timers

T = TypeVar("T")

SEGMENT_MS = 6 * 3_600_000
"""A segment opens at every start and this often, with a whole snapshot: a night is replayed from there."""
CHECKPOINT_MS = 300_000
"""The state is also kept this often, over the last copy, so that a restart after a crash loses little."""
STEP_MS = 2_000
"""The wall clock moving further than this against the monotonic one is a step, not drift."""
REJECT_EVERY_MS = 3_600_000
"""One line in the log per sensor and reason this often; each one is counted."""

EDGE = 0
"""Sequence number of rows that no core made: a replay leaves them alone."""


@dataclass(frozen=True, slots=True)
class Arrived:
    """A message from the broker; `synced`: it came after our own marker, so it was not waiting there."""

    message: Message
    synced: bool


@dataclass(frozen=True, slots=True)
class Call:
    """Something to do on the control thread, between two inputs."""

    do: Callable[[Instant], None]


Work = Arrived | Call | Input


@dataclass(frozen=True, slots=True)
class Changed:
    """The pieces made anew from a re-read config."""

    routes: Routes
    relays: Relays
    timers: Timers


@dataclass(slots=True)
class Parts:
    """What the control thread works with."""

    clock: Clock
    farm: Farm
    digest: str
    version: str
    routes: Routes
    relays: Relays
    timers: Timers
    writer: Writer
    alerts: Alerts
    chores: Mapping[str, Callable[[Instant], None]] = field(default_factory=dict)
    """Due times that are not the core's: by name, what to start (it must only hand over)."""


class Control:
    """Owns the core. Start it, put work into `inbox`, close the inbox to end it."""

    def __init__(self, parts: Parts, next_seq: int) -> None:
        self._parts = parts
        self.inbox: Box[Work] = Box(parts.clock)
        self.handled = 0
        """Inputs the core has handled."""
        self._seq = next_seq
        self._offset_ms = 0
        self._segment_ms = 0
        self._checkpoint_ms = 0
        self._told: dict[tuple[str, str], int] = {}
        self._on: dict[str, int] = {}
        self._thread = threading.Thread(target=self._run, name="control", daemon=True)
        self.on_failure: Callable[[BaseException], None] = lambda _: None

    def start(self, first: Input) -> None:
        """Opens the first segment with `first` (a `Started`) as its first input, then runs."""
        now = self._parts.clock.now()
        self._offset_ms = now.wall_ms - now.mono_ms
        self._parts.timers.rebuild(now)
        self._open_segment(now, "start")
        self.handle(now, first)
        self._thread.start()

    def join(self, timeout_s: float) -> None:
        self._thread.join(timeout_s)

    def at_rest(self) -> bool:
        """Nothing waits to be handled and nothing is due."""
        return self.inbox.at_rest(self._parts.clock.now().mono_ms)

    def _run(self) -> None:
        try:
            while True:
                work = self.inbox.take(self._next_wake())
                if work is None and self.inbox.closed:
                    break
                now = self._parts.clock.now()
                self._look_at_clock(now)
                if work is not None:
                    self._do(now, work)
                self._due(now)
            self._let_go(self._parts.clock.now())
        except BaseException as error:  # noqa: BLE001 - our bug: let go of everything, tell, die
            self._parts.relays.all_off(self._parts.clock.now())
            self.on_failure(error)

    def _next_wake(self) -> int:
        now = self._parts.clock.now()
        times = (
            self._parts.farm.next_deadline_ms(),
            self._parts.timers.next_ms(now),
            self._segment_ms + SEGMENT_MS,
            self._checkpoint_ms + CHECKPOINT_MS,
        )
        return min(at for at in times if at is not None)

    def _do(self, now: Instant, work: Work) -> None:
        match work:
            case Arrived():
                self._arrived(work)
            case Call():
                work.do(now)
            case _:
                self.handle(now, work)

    def call(self, do: Callable[[Instant], T], timeout_s: float = 5.0) -> T:
        """What `do` returns, done on the control thread between two inputs.

        Raises:
            GillhouseError: the control thread did not come to it in time.
        """
        results: list[T] = []
        done = threading.Event()

        def on_control(now: Instant) -> None:
            results.append(do(now))
            done.set()

        self.inbox.put(Call(on_control))
        if not done.wait(timeout_s):
            raise GillhouseError(f"no answer from the control thread within {timeout_s:g} s")
        return results[0]

    def _arrived(self, work: Arrived) -> None:
        parts, message = self._parts, work.message
        for report in parts.relays.report(message):
            self.handle(message.received, report)
        decoded = parts.routes.decode(message, work.synced)
        for rejected in decoded.rejects:
            self._reject(message.received, rejected)
        last = len(decoded.readings) - 1
        for place, reading in enumerate(decoded.readings):
            # The message is acknowledged with its last reading: rows are committed in this order.
            self.handle(message.received, reading, message.token if place == last else None)
        if last < 0 and message.token is not None:
            parts.writer.release_after(message.token)

    def handle(self, now: Instant, item: Input, token: object = None) -> Outcome:
        parts, seq = self._parts, self._seq
        self._seq += 1
        outcome = parts.farm.handle(seq, now, item)
        for command in outcome.commands:
            self._apply(now, command)
        parts.writer.put(*_rows(seq, now, item, outcome, token))
        for notice in outcome.notices:
            parts.alerts.notice(now, notice)
        self.handled += 1
        if isinstance(item, LinkChange) and item.link is Link.STORE and item.up:
            # Rows may be missing before this: what comes after stands by itself.
            self._open_segment(now, "store back")
        return outcome

    def _apply(self, now: Instant, command: Command) -> None:
        parts = self._parts
        self._on.pop(command.relay, None)
        if command.on and not command.advise:
            self._on[command.relay] = now.mono_ms + command.lease_ms
        try:
            parts.relays.apply(command, now)
        except RelayError as error:
            event = Event(EventKind.RELAY, command.relay, None, None, {"trouble": str(error)})
            parts.writer.put(EventRow(EDGE, now.wall_ms, event))

    def _reject(self, now: Instant, rejected: Rejected) -> None:
        subject, put = rejected.sensor or rejected.topic, self._parts.writer.put
        put(CounterRow(f"rejected {rejected.reason}", subject, 1, now.wall_ms))
        key = (subject, str(rejected.reason))
        told = self._told.get(key)
        if told is None or now.mono_ms - told >= REJECT_EVERY_MS:
            self._told[key] = now.mono_ms
            facts = {"why": str(rejected.reason), "found": rejected.detail}
            put(EventRow(EDGE, now.wall_ms, Event(EventKind.REJECTED, subject, None, None, facts)))

    def _due(self, now: Instant) -> None:
        parts = self._parts
        for due in parts.timers.pop_due(now):
            chore = parts.chores.get(due.what)
            if chore is not None:
                chore(now)
            else:
                self.handle(now, due)
        deadline = parts.farm.next_deadline_ms()
        if deadline is not None and deadline <= now.mono_ms:
            self.handle(now, Due(DEADLINE, now.wall_ms))
        if now.mono_ms - self._segment_ms >= SEGMENT_MS:
            self._open_segment(now, "six hours")
        if now.mono_ms - self._checkpoint_ms >= CHECKPOINT_MS:
            self._checkpoint(now)

    def _look_at_clock(self, now: Instant) -> None:
        offset = now.wall_ms - now.mono_ms
        by = offset - self._offset_ms
        if abs(by) <= STEP_MS:
            return
        self._offset_ms = offset
        self.handle(now, ClockStep(by))
        self._parts.timers.rebuild(now)
        self._open_segment(now, "clock step")

    def _open_segment(self, now: Instant, why: str) -> None:
        parts = self._parts
        parts.writer.put(
            SegmentRow(self._seq, now, parts.digest, parts.version, why, parts.farm.snapshot())
        )
        self._segment_ms = now.mono_ms
        self._checkpoint(now)

    def _checkpoint(self, now: Instant) -> None:
        parts = self._parts
        state = {"seq": self._seq, "config": parts.digest, "snapshot": parts.farm.snapshot()}
        parts.writer.put(MetaRow(CHECKPOINT, state))
        self._checkpoint_ms = now.mono_ms

    def _let_go(self, now: Instant) -> None:
        """The end of a clean stop: every relay off, and said so in the log."""
        parts = self._parts
        parts.relays.all_off(now)
        for relay, until_ms in self._on.items():
            if until_ms > now.mono_ms:
                off = Command(relay, False, 0, Authority.DEFAULT, Reason.STOPPING)
                parts.writer.put(CommandRow(EDGE, now.wall_ms, off))
        parts.writer.put(EventRow(EDGE, now.wall_ms, Event(EventKind.STOPPED, "daemon", None)))
        self._checkpoint(now)

    def resettle(self, now: Instant, settings: FarmSettings, change: Changed) -> None:
        """Puts a re-read config in force. Runs on the control thread (see `call`)."""
        parts = self._parts
        for relay in sorted(set(self._on) - set(settings.relays)):
            self._apply(now, Command(relay, False, 0, Authority.DEFAULT, Reason.STOPPING))
        parts.farm.resettle(settings)
        parts.digest = settings.digest
        parts.routes, parts.relays, parts.timers = change.routes, change.relays, change.timers
        parts.timers.rebuild(now)
        self._open_segment(now, "settings")
        self.handle(now, SettingsChange(settings.digest))

    def status(self, now: Instant) -> dict[str, Any]:
        """What every space is doing. Runs on the control thread (see `call`)."""
        return self._parts.farm.status(now)


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
