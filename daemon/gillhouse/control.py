"""The control thread: one inbox, and the decider behind it.

Everything that may change a decision (messages, due times, links, people, a stepping clock, a re-read config)
comes through the inbox and takes the same way. Not here: sockets, files, the making of the parts (`service`),
what follows from an input (`decider`).
"""

import threading
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from typing import TypeVar

from gillhouse.clock import Box, Clock
from gillhouse.clock_trust import ClockTrust
from gillhouse.core.edges import RateSettings
from gillhouse.core.inputs import DEADLINE, ClockStep, Delivery, Due, Input, Started, TooMany
from gillhouse.core.instant import Instant
from gillhouse.core.outputs import Outcome
from gillhouse.core.settings import FarmSettings
from gillhouse.decider import Decider
from gillhouse.errors import GillhouseError
from gillhouse.local import Turns
from gillhouse.payloads.message import Message
from gillhouse.payloads.rate import Rates
from gillhouse.payloads.routes import Routes
from gillhouse.relays import Relays
from gillhouse.timers import Timers

T = TypeVar("T")

LIVE = Delivery.LIVE

STEP_MS = 2_000
"""The wall clock moving further than this against the monotonic one is a step, not drift."""


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


@dataclass(slots=True)
class Plan:
    """What is made anew from each config."""

    routes: Routes
    relays: Relays
    timers: Timers
    rates: Rates = field(default_factory=lambda: Rates(0, 1))
    """By topic. Made anew, whoever is over the limit begins anew too."""


@dataclass(frozen=True, slots=True)
class Chores:
    """Due times that are not the core's: by name, what to start (it must only hand over)."""

    by_name: Mapping[str, Callable[[Instant], None]] = field(default_factory=dict)


class Control:  # 14 methods: one thread, and the two ways others hand it work
    """Start it, put work into `inbox`, close the inbox to end it."""

    def __init__(  # the clock, and what it works with
        self, clock: Clock, decider: Decider, plan: Plan, chores: Chores, rates: RateSettings
    ) -> None:
        self.inbox: Box[Work] = Box(clock)
        self.decider = decider
        self.trust = ClockTrust(clock)
        self.on_failure: Callable[[BaseException], None] = lambda _: None
        self._clock, self._plan, self._chores = clock, plan, chores
        self._offset_ms = 0
        self.turns = Turns(clock, rates, self.inbox.put)
        """Of those who ask over the local socket."""
        self._crowds: dict[str, str] = {}
        """Topic over its limit -> the sensor or relay it is told of."""
        self.last_turn_ms = clock.now().mono_ms
        """When the loop last came round; the watchdog reads it."""
        self._thread = threading.Thread(target=self._run, name="control", daemon=True)

    def start(self, first: Started) -> None:
        """Opens the first segment with `first` as its first input, then runs."""
        now = self._clock.now()
        self._offset_ms = now.wall_ms - now.mono_ms
        self._plan.timers.rebuild(now)
        self._plan.relays.start(now)
        self.decider.begin(now, first)
        self._thread.start()

    def join(self, timeout_s: float) -> None:
        self._thread.join(timeout_s)

    def turn(self) -> None:
        """Has the loop come round soon, if it can."""
        self.inbox.put(Call(lambda _: None))

    def at_rest(self) -> bool:
        """Nothing waits to be handled and nothing is due."""
        return self.inbox.at_rest(self._clock.now().mono_ms)

    def submit(self, item: Input) -> Outcome:
        """Hands an input to the core and waits for what came of it."""
        return self.call(lambda now: self.decider.handle(now, item))

    def resettle(self, settings: FarmSettings, plan: Plan) -> None:
        """Puts a re-read config in force, between two inputs."""

        def change(now: Instant) -> None:
            plan.relays.start(now, before=self._plan.relays)
            self._let_crowds_be(now)
            self._plan = plan
            plan.timers.rebuild(now)
            self.decider.resettle(now, settings, plan.relays)

        self.call(change)

    def _let_crowds_be(self, now: Instant) -> None:
        """Limits are about to begin anew: nobody is over one."""
        for topic, subject in self._crowds.items():
            dropped = self._plan.rates.dropped(topic)
            self.decider.handle(now, TooMany(subject, False, topic, dropped))
        self._crowds.clear()

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

    def _run(self) -> None:
        try:
            wake_ms = self._next_wake(self._clock.now())
            while True:
                work = self.inbox.take(wake_ms)
                if work is None and self.inbox.closed:
                    break
                now = self._clock.now()
                self.last_turn_ms = now.mono_ms
                self._look_at_clock(now)
                if work is not None:
                    self._do(now, work)
                wake_ms = self._next_wake(now)
                if wake_ms <= now.mono_ms:
                    self._due(now)
                    wake_ms = self._next_wake(now)
            self.decider.let_go(self._clock.now())
        except BaseException as error:  # noqa: BLE001 - our bug: let go of everything, tell, die
            self._plan.relays.all_off(self._clock.now())
            self._plan.relays.close(self._clock.now())
            self.on_failure(error)

    def _next_wake(self, now: Instant) -> int:
        times = (
            self.decider.hands.farm.next_deadline_ms(),
            self._plan.timers.next_ms(now),
            self.decider.looks_back_ms(),
            self._plan.rates.next_ms(),
            self.turns.next_ms(),
        )
        return min(at for at in times if at is not None)

    def _do(self, now: Instant, work: Work) -> None:
        match work:
            case Arrived():
                self._arrived(work)
            case Call():
                work.do(now)
            case _:
                self.decider.handle(now, work)

    def _arrived(self, work: Arrived) -> None:
        plan, decider, message = self._plan, self.decider, work.message
        reports = list(plan.relays.report(message))
        decoded = plan.routes.decode(message, work.synced, self.trust.sure)
        for rejected in decoded.rejects:
            decider.reject(message.received, rejected)
        if work.synced and (reports or any(one.delivery is LIVE for one in decoded.readings)):
            # What waited at the broker or on the board is never too fast: it may all come.
            subject = reports[0].relay if reports else decoded.readings[0].sensor
            if not self._within_rate(work, subject):
                return
        for report in reports:
            decider.handle(message.received, report)
        last = len(decoded.readings) - 1
        for place, reading in enumerate(decoded.readings):
            # The message is acknowledged with its last reading: rows are committed in this order.
            decider.handle(message.received, reading, message.token if place == last else None)
        if last < 0 and message.token is not None:
            decider.hands.writer.release_after(message.token)

    def _within_rate(self, work: Arrived, subject: str) -> bool:
        """Whether a message keeps its topic's limit; one over it is counted and answered, no more."""
        rates, decider, message = self._plan.rates, self.decider, work.message
        if rates.take(message.topic, message.received.mono_ms):
            return True
        self._crowds[message.topic] = subject
        decider.left_out(message.received, subject)
        if rates.dropped(message.topic) == 1:
            decider.handle(message.received, TooMany(subject, True, message.topic, 1))
        if message.token is not None:
            decider.hands.writer.release_after(message.token)
        return False

    def _due(self, now: Instant) -> None:
        decider = self.decider
        for topic, dropped in self._plan.rates.quiet(now.mono_ms).items():
            decider.handle(now, TooMany(self._crowds.pop(topic), False, topic, dropped))
        for quiet in self.turns.ended(now.mono_ms):
            decider.handle(now, quiet)
        for due in self._plan.timers.pop_due(now):
            chore = self._chores.by_name.get(due.what)
            if chore is not None:
                chore(now)
            else:
                decider.handle(now, due)
        deadline = decider.hands.farm.next_deadline_ms()
        if deadline is not None and deadline <= now.mono_ms:
            decider.handle(now, Due(DEADLINE, now.wall_ms))
        decider.look_back(now)

    def _look_at_clock(self, now: Instant) -> None:
        offset = now.wall_ms - now.mono_ms
        by = offset - self._offset_ms
        if abs(by) <= STEP_MS:
            if self.trust.became_sure(now):
                self.decider.clock(now, ClockStep(0))
            return
        self._offset_ms = offset
        self.decider.clock(now, ClockStep(by, self.trust.after_step(now)))
        self._plan.timers.rebuild(now)
