"""What inputs do to calls: a start, a clock that steps, new settings, what a channel says of a message.

Here: the farm's half of `calling`. Not here: who is called (`calling`), what is counted (`digest`).
"""

from gillhouse.core import calling, digest, reminders
from gillhouse.core.arrivals import Step
from gillhouse.core.call_turn import Turn
from gillhouse.core.house import Plan, State
from gillhouse.core.inputs import ChannelReport, ClockStep, Input, Started
from gillhouse.core.modes import modes_of
from gillhouse.core.outputs import Call, Event, EventKind, Facts


def take_report(plan: Plan, state: State, step: Step, item: ChannelReport) -> None:
    """A channel took a message, or did not."""
    digest.take_report(state.calls, step.now, item)
    step.conditions += digest.channel_conditions(plan.settings.calling, state.calls, step.now.wall_ms)


def settle(state: State, step: Step, item: Input) -> None:
    """What concerns the time calls are kept by: a start and a clock that steps; other inputs only wake it."""
    if isinstance(item, Started):
        calling.restart(state.calls, state.book, step.now, item.clock_sure)
    elif isinstance(item, ClockStep):
        calling.step(state.calls, step.now, item.by_ms, item.sure)
    else:
        state.calls.wake_ms = None


def look(plan: Plan, state: State, step: Step) -> None:
    """Tells the alarm book the modes, and the channels that took nothing for too long when calls are due."""
    if state.modes or state.book.modes or state.stays:
        modes = {space: found for space in plan.spaces if (found := modes_of(state, space))}
        step.notices += state.book.in_modes(step.now, modes)
    if plan.settings.calling.people and (step.tell_all or calling.is_due(state.calls, step.now)):
        step.conditions += digest.channel_conditions(plan.settings.calling, state.calls, step.now.wall_ms)


def call(plan: Plan, state: State, step: Step, item: Input) -> list[Call]:
    """Every message that follows from this input; each also stands among the events."""
    settings = plan.settings.calling
    if not settings.people or not (step.notices or calling.is_due(state.calls, step.now)):
        return []
    turn = Turn(settings, plan.settings.zone, state.calls, state.book, (step.seq, step.now))
    if isinstance(item, Started):
        calling.back_from_away(turn, item.away_ms)
    made = calling.follow(turn, step.notices, _reminders(plan, state, step))
    step.events += [_event(step.seq, one) for one in made]
    return made


def _reminders(plan: Plan, state: State, step: Step) -> tuple[Facts, ...]:
    """What waits for a person, once a week; looked up only then."""
    due_ms = state.calls.weekly_ms
    if due_ms is None or step.now.wall_ms < due_ms:
        return ()
    found = reminders.due(plan.settings, state.found, step.now)
    return tuple(
        {"reason": one.reason.value, "subject": one.subject, "space": one.space, **one.facts} for one in found
    )


def _event(seq: int, call: Call) -> Event:
    facts: dict[str, float | int | str | bool | None] = {"why": call.kind.value, "night": call.night}
    if call.notices:
        first = call.notices[0]
        facts |= {"alarm": first.alarm, "occurrence": first.occurrence, "priority": call.priority}
        facts["others"] = ", ".join(one.alarm for one in call.notices[1:])
    told: Facts = facts
    return Event(EventKind.CALL, call.person, None, None, told, (seq,))
