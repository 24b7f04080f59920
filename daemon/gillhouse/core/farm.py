"""The one entry of the core: an input goes in, everything that follows from it comes out.

What lives here: the order of things. An input first changes what is known (`arrivals`), then the spaces it
concerns decide (`space`), then the equipment grants (`interlock`), then the alarms are told (`watch`,
`alarm`). What must not: a clock, a file, a rule of any one of them. An ordinary reading is cheap: only its
own space decides, equipment is asked only if a wish changed or a deadline has come, and alarms are told only
what changed.
"""

from collections.abc import Callable
from dataclasses import replace
from typing import Any, cast

from gillhouse.core import (
    alarm_relay,
    arrivals,
    batch_arrivals,
    by_hand,
    calibrating,
    call_arrivals,
    capacity,
    effect_watch,
    findings,
    guard_bars,
    guarding,
    hosing,
    keeping,
    learning,
    measuring,
    mode_turns,
    plumbing,
    too_many,
    watch,
)
from gillhouse.core.arrivals import Step
from gillhouse.core.batch_acts import next_change_ms
from gillhouse.core.delivered import leave_out
from gillhouse.core.demand import earliest
from gillhouse.core.house import Plan, State, fit, make_plan
from gillhouse.core.inputs import (
    BatchAction,
    Calibrated,
    ChannelReport,
    ClockStep,
    Due,
    Input,
    Link,
    LinkChange,
    Measure,
    Measured,
    OperatorAction,
    Reading,
    RelayReport,
    SensorsAway,
    SettingsChange,
    Started,
    TooMany,
)
from gillhouse.core.instant import Instant
from gillhouse.core.interlock import grant, next_deadline_ms, resettle
from gillhouse.core.measured import measured_or_label
from gillhouse.core.moments import Moments, next_silence_ms
from gillhouse.core.outputs import Outcome
from gillhouse.core.quantities import Quantity
from gillhouse.core.settings import FarmSettings
from gillhouse.core.snapshot import from_plain, to_plain
from gillhouse.core.space import asks, due_ms, given, rests
from gillhouse.core.standing import situation, standing
from gillhouse.core.status import status
from gillhouse.core.story import expire, tell_begun, tell_stories
from gillhouse.core.switches import switched

ANSWERS = 2
"""What is granted may change an ask (a fan begins, so mist is wanted): so often that is answered at once."""

_Take = Callable[[Plan, State, Step, Any], None]

_TAKES: dict[type, _Take] = {
    Reading: arrivals.take_reading,
    Due: arrivals.take_due,
    RelayReport: arrivals.take_report,
    OperatorAction: keeping.take_action,
    Calibrated: calibrating.take_calibrated,
    SensorsAway: calibrating.take_away,
    Measure: measuring.take_measure,
    Measured: measuring.take_measured,
    BatchAction: batch_arrivals.take_batch,
    LinkChange: arrivals.take_link,
    ChannelReport: call_arrivals.take_report,
    TooMany: too_many.take_too_many,
    ClockStep: keeping.take_clock,
    SettingsChange: arrivals.take_settings,
    Started: arrivals.take_started,
}


class Farm:  # 15 methods: the steps of one order of things, each by its name
    """Every space of one farm, and all that is decided in it."""

    def __init__(self, settings: FarmSettings) -> None:
        self._state = State()
        self._moments = Moments()
        self.tells = True
        """False: nobody is there to send what it says, so nobody is called; what waits is kept."""
        self._use(settings)

    def handle(self, seq: int, now: Instant, item: Input) -> Outcome:
        """Takes one input and returns what follows.

        Args:
            seq: the input's journal number; decisions name it as their cause.
            now: the moment it is handled; monotonic time never goes back between two calls but at `Started`.
        """
        state = self._state
        state.mono_ms = now.mono_ms
        step = Step(seq, now, self._watched)
        _TAKES[type(item)](self._plan, state, step, item)
        if type(item) is Started:
            measuring.restart(state, step)
            keeping.restart(self._plan, state, step, item)
            guarding.restart(self._plan, state, step)
            self._moments.forget(self._plan, state)
        elif type(item) is Measured:
            self._use(self._given)
        if type(item) in (Started, ClockStep, SettingsChange):
            call_arrivals.settle(state, step, item)
        elif type(item) is Reading:
            state.calls.readings += 1
        self._settle(step)
        calls = call_arrivals.call(self._plan, state, step, item) if self.tells else []
        return Outcome(
            tuple(step.commands), tuple(step.events), tuple(step.notices), step.verdict, tuple(calls)
        )

    def next_deadline_ms(self) -> int | None:
        """When the core must be called though nothing comes in: monotonic milliseconds, or None."""
        return self._moments.next_ms(self._plan, self._state)

    def snapshot(self) -> dict[str, object]:
        """All that is remembered, as plain JSON values; `restore` goes on from it to the same bytes."""
        return cast(dict[str, object], to_plain(self._state))

    @classmethod
    def restore(cls, settings: FarmSettings, snapshot: dict[str, object]) -> "Farm":
        """A farm that goes on where the one that gave `snapshot` stood.

        Raises:
            ValueError: the snapshot does not fit; it says which field.
        """
        farm = cls(settings)
        farm._state = from_plain(State, snapshot)
        farm._use(settings)
        return farm

    def resettle(self, settings: FarmSettings) -> None:
        """Goes on under other settings; what kept its id keeps its state. Feed `SettingsChange` next."""
        state = self._state
        now = Instant(state.wall_ms, state.mono_ms)
        state.parting += resettle(now, state.relays, self._plan.settings, settings)
        for known in state.spaces.values():
            known.light_to_wall_ms = known.light_from_wall_ms  # the hours may be others now
        self._use(settings)

    def status(self, now: Instant) -> dict[str, object]:
        """What every space is doing and why, for people and pages."""
        return status(self._plan, self._state, now, self.next_deadline_ms())

    # --- inside ------------------------------------------------------------------------------------

    def _use(self, settings: FarmSettings) -> None:
        """Works out everything that follows from the settings, from what was measured, and from the crops."""
        self._given = settings
        as_known = measured_or_label(settings, self._state.measured, self._state.fan_shares)
        self._plan = make_plan(as_known, self._state.crops)
        self._watched = watch.limits(self._plan.settings)
        self._moments.crops_wall_ms = next_change_ms(settings, self._state.crops)
        fit(self._plan, self._state)
        guarding.fit(self._plan, self._state)
        self._moments.forget(self._plan, self._state)

    def _settle(self, step: Step) -> None:
        """Lets everything follow that follows: spaces, equipment, alarms, in this order."""
        state, moments, mono_ms = self._state, self._moments, step.now.mono_ms
        state.wall_ms = step.now.wall_ms
        if step.replan or (moments.crops_wall_ms is not None and state.wall_ms >= moments.crops_wall_ms):
            self._replan(step)
        plan = self._plan
        if step.sensor_back:
            moments.silence_ms = next_silence_ms(plan, state)
        if moments.silence_ms is not None and mono_ms >= moments.silence_ms:
            arrivals.check_silence(plan, state, step)
            moments.silence_ms = next_silence_ms(plan, state)
        if findings.is_time(state, mono_ms):
            learning.follow_all(plan, state, step.now)
            if learning.take_over(plan, state, step):
                self._use(self._given)
                plan = self._plan
            step.events += findings.look(plan, state, step.seq, step.now)
            self._look_at_water(step)
        if effect_watch.is_time(state, mono_ms):
            doors, people = switched(plan, state, Quantity.DOOR), keeping.people(plan, state)
            step.conditions += effect_watch.look(plan, state, step.now, doors, people)
        if state.overrides:
            by_hand.end_due(plan, state, step)
        mode_turns.follow(plan, state, step)
        if plan.guard.any:
            self._guard(step)
        if state.runs:
            measuring.move_on(plan, state, step)
        if moments.relays_ms is not None and mono_ms >= moments.relays_ms:
            step.grant = True
            step.spaces = dict.fromkeys(plan.spaces)
        for space, quantity in step.spaces.items():
            if quantity is not None and rests(state.spaces[space], quantity, mono_ms):
                moments.look_at(space, earliest((moments.space_ms[space], state.spaces[space].news_ms)))
                continue
            self._decide(step, space, quantity)
        if step.grant or not state.links[Link.BROKER].up:
            self._move(step)
        self._alarm(step)

    def _guard(self, step: Step) -> None:
        """Takes in what protects, whenever one of its inputs spoke, something moved, or it is time."""
        plan, state, mono_ms = self._plan, self._state, step.now.mono_ms
        alarm_relay.follow(plan, state, step)
        due_ms = self._moments.guard_ms
        spoke = step.contact is not None and step.contact in plan.guard.sensors
        if spoke or step.grant or (due_ms is not None and mono_ms >= due_ms):
            guarding.follow(plan, state, step)
            self._moments.guard_ms = earliest([*guarding.next_ms(plan, state)])
            if step.sensor_back:
                self._moments.silence_ms = next_silence_ms(plan, state)

    def _move(self, step: Step) -> None:
        """Has the equipment granted, and what that changes answered."""
        for space, quantity in step.spaces.items():
            if quantity is not None:
                self._decide(step, space, None)  # before anything moves, every account is of this moment
        self._grant(step)
        for _ in range(ANSWERS):
            if not step.grant:
                break
            self._grant(step)

    def _look_at_water(self, step: Step) -> None:
        """Once a minute: what flowed, what stands, what may freeze, and what is left on the caps."""
        plan, state = self._plan, self._state
        plumbing.follow(plan, state, step.now)
        stood = plumbing.watch_standing(plan, state, step.now)
        if plumbing.chill(plan, state, tuple(plan.line_sensors), step.now) or stood:
            step.conditions += plumbing.conditions(plan, state, step.now)
            step.grant = True
        step.conditions += plumbing.caps_changed(plan, state, step.now)
        step.events += hosing.look(plan, state, step.seq, step.now)
        step.conditions += hosing.conditions(plan, state, step.now)

    def _replan(self, step: Step) -> None:
        """Brings on what is due with the crops; where that moves a band, everything is looked at anew."""
        state = self._state
        if not batch_arrivals.bring_on(self._plan, state, step) and not step.replan:
            self._moments.crops_wall_ms = next_change_ms(self._given, state.crops)
            return
        plan, before = self._plan, self._watched
        self._use(self._given)
        step.watched = self._watched
        step.gone += watch.gone(plan, state, before, self._watched)
        for known in state.spaces.values():
            known.light_to_wall_ms = known.light_from_wall_ms  # the hours may be others now
        step.spaces = dict.fromkeys(self._plan.spaces)
        step.grant = step.tell_all = True

    def _decide(self, step: Step, space: str, quantity: Quantity | None) -> None:
        """Renews the asks of one space; notes whether any of them says something else than before."""
        plan, state = self._plan, self._state
        own, known = plan.spaces[space], state.spaces[space]
        if known.pending:
            expire(plan, state, step, space)
        out_of_use = keeping.is_empty(state, space)
        if out_of_use:
            leave_out(known.delivered, step.now.mono_ms)
        wished = asks(own, known, state.relays, step.now, plan.settings, quantity)
        for ask in keeping.as_in(state, space, wished):
            if ask.on and not ask.causes:
                ask = replace(ask, causes=(step.seq,))  # no reading behind it: the moment itself
            last = state.asks.get(ask.relay)
            if last is None or last.on is not ask.on or last.reason is not ask.reason:
                step.grant = True
            state.asks[ask.relay] = ask
        if space in plan.sharing:
            step.grant = True
        if not out_of_use:
            tell_stories(own, known, step)
        step.conditions += capacity.changed(plan, state, space)
        self._moments.look_at(space, due_ms(own, known, step.now))

    def _grant(self, step: Step) -> None:
        plan, state = self._plan, self._state
        step.grant = False
        wishes = standing(plan, state, step)
        if state.overrides:
            by_hand.tell_outweighed(plan, state, step, wishes)
        granted = grant(step.now, plan.settings, state.relays, wishes, situation(plan, state, step))
        if state.recovering:
            keeping.given(plan, state, granted.commands)
        if granted.commands:
            moved = {
                plan.relay_space[command.relay]: None
                for command in granted.commands
                if command.relay in plan.relay_space
            }
            learning.follow_all(plan, state, step.now, moved)
            plumbing.follow(plan, state, step.now)
            effect_watch.follow(plan, state, step.now, moved)
            if plan.guard.any:
                guarding.follow(plan, state, step)
                self._moments.guard_ms = earliest([*guarding.next_ms(plan, state)])
                step.grant = step.grant or guard_bars.masters_lag(plan, state)
        step.commands += granted.commands
        step.events += granted.events
        begun: dict[str, None] = {}
        for command in granted.commands:
            space = plan.relay_space.get(command.relay)
            if space is not None and command.on and not command.renewal:
                run_end = state.relays[command.relay].run_end
                run_ms = command.lease_ms if run_end is None else run_end - step.now.mono_ms
                given(plan.spaces[space], state.spaces[space], command, step.now.mono_ms, run_ms)
                begun[space] = None
        begun.update(tell_begun(plan, state, step))
        for space in begun:
            # What was asked has been given: what is asked from now on must not ask for it twice.
            self._decide(step, space, None)
        self._moments.relays_ms = next_deadline_ms(state.relays, plan.settings)
        step.conditions += watch.changed_relays(plan, state, step.now)

    def _alarm(self, step: Step) -> None:
        plan, state = self._plan, self._state
        call_arrivals.look(plan, state, step)
        book_ms = self._moments.book_ms
        due = book_ms is not None and step.now.mono_ms >= book_ms
        if step.tell_all or due:
            for own in self._watched.values():
                for limits in own.values():
                    watch.compare(plan, state, limits)
            step.conditions = step.gone + watch.everything(plan, state, self._watched, step.now)
            step.conditions += plumbing.conditions(plan, state, step.now)
            step.conditions += hosing.conditions(plan, state, step.now)
            step.conditions += mode_turns.conditions(plan, state, step)
            step.conditions += guarding.conditions(plan, state)
        if step.conditions or due:
            step.notices += state.book.update(step.now, step.conditions)
        if step.conditions or due or step.notices:
            self._moments.book_ms = state.book.next_deadline_ms()
