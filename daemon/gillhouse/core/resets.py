"""A named person looked at what stopped, and lets it run again: stuck relays, trips, water nobody asked for.

Here: what may be reset and when. Not here: the alarm's own states (`alarm_acts`). Nothing is reset while it
still is so: a stop that is pressed, a load that runs though told off. A reset that names an alarm moves that
alarm too, by its table; one that names the thing (`tent-mist`, `stop`) also answers for its alarms: who
resets has seen them.
"""

from dataclasses import replace

from gillhouse.core import echo
from gillhouse.core.arrivals import Step
from gillhouse.core.house import Plan, State
from gillhouse.core.inputs import Act, OperatorAction
from gillhouse.core.outputs import Event, EventKind, Facts, Transition
from gillhouse.core.reasons import Reason


def take(plan: Plan, state: State, step: Step, item: OperatorAction) -> None:
    """Does one RESET, or says why not."""
    by_alarm = item.subject in state.book.records
    subject = item.subject.partition(":")[2] if by_alarm else item.subject
    if subject not in state.relays and subject not in plan.guard.sensors:
        if by_alarm:
            step.notices += state.book.act(step.now, item)
        else:
            _refuse(step, item, Reason.UNKNOWN_SUBJECT)
        return
    if is_still_so(plan, state, step, subject):
        if by_alarm:
            step.notices += state.book.act(step.now, item)
        _refuse(step, item, Reason.STILL_SO)
        return
    if not _move_alarms(state, step, item, subject if not by_alarm else None):
        return
    if _let_go(state, subject):
        step.grant = True
        facts: Facts = {"who": item.who, "subject": subject, "text": item.text}
        space = plan.relay_space.get(subject)
        step.events.append(Event(EventKind.DECISION, subject, space, Reason.RESET_DONE, facts, (step.seq,)))


def is_still_so(plan: Plan, state: State, step: Step, subject: str) -> bool:
    """What stopped it is still there."""
    known = state.guards
    if subject in state.relays:
        proof, run = known.proofs.get(subject), state.relays[subject]
        settings = plan.settings.relays[subject]
        says_on = not run.on and run.echoed is True and settings.echo_within_ms is not None
        return (proof is not None and proof.known and proof.stuck) or says_on
    trip, flow = known.trips.get(subject), known.unasked.get(subject)
    return (trip is not None and trip.tripped) or (flow is not None and flow.flowing)


def _move_alarms(state: State, step: Step, item: OperatorAction, subject: str | None) -> bool:
    """Resets the alarm that is named, or all latched ones about `subject`. False: the table refuses it."""
    if subject is None:
        notices = state.book.act(step.now, item)
        step.notices += notices
        return all(notice.transition is not Transition.REFUSED for notice in notices)
    for record in list(state.book.records.values()):
        if record.subject == subject and record.latched:
            named = replace(item, subject=record.alarm)
            if not record.acked:
                step.notices += state.book.act(step.now, replace(named, act=Act.ACK))
            step.notices += state.book.act(step.now, named)
    return True


def _let_go(state: State, subject: str) -> bool:
    known = state.guards
    if subject in state.relays:
        return echo.reset(state.relays[subject])
    held = False
    for one in (known.trips.get(subject), known.unasked.get(subject)):
        if one is not None and one.held:
            one.held, held = False, True
    return held


def _refuse(step: Step, item: OperatorAction, reason: Reason) -> None:
    facts: Facts = {"subject": item.subject, "who": item.who, "act": item.act.value}
    step.events.append(Event(EventKind.REFUSED, item.subject, None, reason, facts, (step.seq,)))
