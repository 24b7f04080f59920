"""The alarm relay: on while all is well, so that a cut wire, a dead board and a dead daemon call too.

Here: when it drops, and its weekly test. Not here: the alarms. It drops while an alarm of priority 1 waits
for somebody, and rises when that is acknowledged. Once a week, by the local clock, it drops for two seconds:
whatever hangs on it must be heard. It rises first when the daemon has heard a sensor, so a start that hears
nothing is an alarm too.
"""

from datetime import datetime, time, timedelta, tzinfo

from gillhouse.core.arrivals import Step
from gillhouse.core.asks import Ask
from gillhouse.core.guard_settings import SafetySettings
from gillhouse.core.guard_state import AlarmRelay
from gillhouse.core.house import Plan, State
from gillhouse.core.outputs import Authority, Event, EventKind, Facts
from gillhouse.core.reasons import Reason

TEST_MS = 2_000
"""It drops for so long in its test. Our choice."""
WEEK = timedelta(days=7)
_CALLING = ("B", "E")
"""States of an alarm that waits for somebody (see `alarm_states`)."""


def asks(plan: Plan, state: State, step: Step) -> list[Ask]:
    """On, unless something waits for somebody or the test is on."""
    found = []
    for relay in plan.guard.alarm_relays:
        known = state.guards.alarm_relays.get(relay) or AlarmRelay()
        waits = waiting(state)
        if known.test_to_ms is not None and step.now.mono_ms < known.test_to_ms:
            facts: Facts = {"seconds": TEST_MS / 1000}
            ask = Ask(relay, False, None, Authority.DEMAND, Reason.SELF_TEST, (), facts)
        elif waits is not None:
            ask = Ask(relay, False, None, Authority.DEMAND, Reason.ALARM_CALLS, (), {"alarm": waits})
        elif not state.guards.heard:
            ask = Ask(relay, False, None, Authority.DEMAND, Reason.STARTING)
        else:
            ask = Ask(relay, True, None, Authority.DEMAND, Reason.ALL_WELL, (step.seq,))
        found.append(ask)
    return found


def waiting(state: State) -> str | None:
    """The first alarm of priority 1 that nobody has acknowledged."""
    for record in state.book.records.values():
        if record.priority == 1 and not record.holds and record.state in _CALLING:
            return record.alarm
    return None


def follow(plan: Plan, state: State, step: Step) -> None:
    """Begins and ends tests; asks equipment again where the relay should move."""
    now = step.now
    for relay in plan.guard.alarm_relays:
        known = state.guards.alarm_relays.setdefault(relay, AlarmRelay(now.wall_ms))
        if known.tested_wall_ms is None or known.tested_wall_ms > now.wall_ms:
            known.tested_wall_ms = now.wall_ms  # the clock was ahead: count from here
        if known.test_to_ms is not None and now.mono_ms >= known.test_to_ms:
            known.test_to_ms, step.grant = None, True
            facts: Facts = {"seconds": TEST_MS / 1000, "echoed": state.relays[relay].echoed}
            step.events.append(Event(EventKind.DECISION, relay, None, Reason.SELF_TEST, facts, (step.seq,)))
        elif now.wall_ms >= next_test_ms(known.tested_wall_ms, plan.settings.safety, plan.settings.zone):
            known.tested_wall_ms = now.wall_ms
            if state.relays[relay].on:
                known.test_to_ms, step.grant = now.mono_ms + TEST_MS, True
        wants_on = state.guards.heard and waiting(state) is None and known.test_to_ms is None
        step.grant = step.grant or wants_on is not state.relays[relay].on


def next_test_ms(after_ms: int, safety: SafetySettings, zone: tzinfo) -> int:
    """Wall time of the first test after `after_ms`, by the farm's own clock."""
    local = datetime.fromtimestamp(after_ms / 1000, zone)
    day = local.date() + timedelta(days=(safety.test_weekday - local.weekday()) % 7)
    at = time(safety.test_at_min // 60, safety.test_at_min % 60)
    due = datetime.combine(day, at, zone)
    if int(due.timestamp() * 1000) <= after_ms:
        due = datetime.combine(day + WEEK, at, zone)
    return int(due.timestamp() * 1000)


def next_ms(plan: Plan, state: State) -> list[int]:
    """When a test begins or ends: monotonic."""
    found = []
    for relay in plan.guard.alarm_relays:
        known = state.guards.alarm_relays.get(relay)
        if known is None:
            continue
        run = state.relays[relay]
        if run.on and waiting(state) is not None:  # an alarm has just begun
            held_ms = run.since_mono_ms + plan.settings.relays[relay].least_on_ms
            found.append(max(state.mono_ms + 1, held_ms))
        if known.test_to_ms is not None:
            found.append(known.test_to_ms)
        if known.tested_wall_ms is not None:
            due = next_test_ms(known.tested_wall_ms, plan.settings.safety, plan.settings.zone)
            found.append(state.mono_ms + due - state.wall_ms)
    return found
