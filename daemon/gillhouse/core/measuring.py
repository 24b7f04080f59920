"""Measuring runs within the farm: begun and ended by a person, moved on by whatever comes, told in the log.

What lives here: what joins `step_test` to the farm's state. What must not: phases (there), the fit (in
`step_fit`, over the stored readings). One run a space at a time; a restart of the daemon ends it.
"""

from collections.abc import Iterator

from gillhouse.core.arrivals import Step
from gillhouse.core.asks import Ask
from gillhouse.core.house import Plan, State
from gillhouse.core.inputs import Link, Measure, Measured
from gillhouse.core.measurement import believable
from gillhouse.core.modes import mode_of
from gillhouse.core.outputs import Event, EventKind, Facts
from gillhouse.core.quantities import Quantity
from gillhouse.core.reasons import Reason
from gillhouse.core.settings import Role
from gillhouse.core.step_plan import PHASE_WORDS, STOP_WORDS, RunPlan, Stop, plan_run
from gillhouse.core.step_test import Look, RunState, advance, asks, begin, due_ms, facts, give_up
from gillhouse.core.switches import said


def take_measure(plan: Plan, state: State, step: Step, item: Measure) -> None:
    """Begins a run, or ends the one that is on."""
    if item.space not in plan.spaces:
        unknown: Facts = {"subject": item.space, "who": item.who}
        _refuse(step, item.space, None, Reason.UNKNOWN_SUBJECT, unknown)
        return
    run = state.runs.setdefault(item.space, RunState())
    if not item.begin:
        if run.running:
            give_up(run, Stop.BY_HAND, step.now)
            _tell(step, item.space, run)
        return
    made = plan_run(plan.settings, item.space)
    stop = made if isinstance(made, Stop) else begin(
        made, run, look(plan, state, item.space), step.now, item.who
    )  # fmt: skip
    if stop is not None:
        said: Facts = {"who": item.who, "phase": f"not begun: {STOP_WORDS[stop]}", "why": stop.value}
        _refuse(step, item.space, item.space, Reason.MEASURING, said)
        return
    _tell(step, item.space, run)


def take_measured(plan: Plan, state: State, step: Step, item: Measured) -> None:
    """Puts a run's figures to use, or (None) goes back to the labels. The farm makes its plan anew."""
    if item.space not in plan.spaces or (item.found is not None and not believable(item.found)):
        unknown: Facts = {"subject": item.space, "who": item.who}
        _refuse(step, item.space, None, Reason.UNKNOWN_SUBJECT, unknown)
        return
    state.fan_shares.pop(item.space, None)
    state.shadows.pop(item.space, None)  # what was learnt was learnt against other figures
    state.spaces[item.space].mist.air.fan.value = 1.0
    if item.found is None:
        state.measured.pop(item.space, None)
    else:
        state.measured[item.space] = item.found
    words = "back to the labels" if item.found is None else "figures put to use in place of the labels"
    said: Facts = {"who": item.who, "phase": words}
    step.events.append(Event(EventKind.DECISION, item.space, item.space, Reason.MEASURING, said, (step.seq,)))
    step.spaces[item.space] = None


def restart(state: State, step: Step) -> None:
    """A run that was on when the daemon stopped has a hole in it."""
    for space, run in state.runs.items():
        if run.running:
            give_up(run, Stop.RESTART, step.now)
            _tell(step, space, run)


def move_on(plan: Plan, state: State, step: Step) -> None:
    """Moves every run on; equipment is asked again where a run now asks for something else."""
    for space, run in state.runs.items():
        if not run.running:
            continue
        made = plan_run(plan.settings, space) if space in plan.spaces else Stop.NO_FAN
        if isinstance(made, Stop):
            give_up(run, made, step.now)
            _tell(step, space, run)
            continue
        before = _wanted(made, run, step)
        if advance(made, run, look(plan, state, space), step.now):
            _tell(step, space, run)
        if _wanted(made, run, step) != before or run.pulse_to_ms == step.now.mono_ms:
            step.grant = True


def standing(plan: Plan, state: State, step: Step) -> Iterator[Ask]:
    """What the runs ask; stands beside what people ask by hand."""
    for space, run in state.runs.items():
        made = plan_run(plan.settings, space) if run.running and space in plan.spaces else None
        if isinstance(made, RunPlan):
            yield from asks(made, run, step.now, step.seq)


def next_ms(state: State) -> list[int]:
    """When runs must be looked at again: monotonic."""
    now = [(run, run.looked_ms) for run in state.runs.values() if run.running]
    return [due for run, at_ms in now if (due := due_ms(run, at_ms)) is not None]


def look(plan: Plan, state: State, space: str) -> Look:
    """What is known of a space now, for a run."""
    known = state.spaces[space].estimates
    values = {
        quantity: known[quantity].value if quantity in known and known[quantity].fresh else None
        for quantity in (Quantity.CO2, Quantity.HUMIDITY, Quantity.TEMPERATURE)
    }
    fans = [relay for relay, role in plan.spaces[space].relays.items() if role is Role.FAN]
    return Look(
        co2=values[Quantity.CO2],
        humidity=values[Quantity.HUMIDITY],
        temperature=values[Quantity.TEMPERATURE],
        door_open=said(plan, state, Quantity.DOOR, space),
        people=mode_of(state, space) is not None or said(plan, state, Quantity.PEOPLE, space),
        link_up=state.links[Link.BROKER].up,
        fan_on=any(state.relays[fan].on for fan in fans),
    )


def _wanted(made: RunPlan, run: RunState, step: Step) -> list[tuple[str, bool]]:
    return [(ask.relay, ask.on) for ask in asks(made, run, step.now, step.seq)]


def _tell(step: Step, space: str, run: RunState) -> None:
    words = PHASE_WORDS[run.phase] if run.why is None else f"given up: {STOP_WORDS[run.why]}"
    said: Facts = {**facts(run), "phase": words, "step": run.phase.value}
    step.events.append(Event(EventKind.DECISION, space, space, Reason.MEASURING, said, (step.seq,)))
    step.grant = True


def _refuse(step: Step, subject: str, space: str | None, reason: Reason, said: Facts) -> None:
    step.events.append(Event(EventKind.REFUSED, subject, space, reason, said, (step.seq,)))
