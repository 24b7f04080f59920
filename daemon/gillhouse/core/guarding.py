"""The inputs that protect, within the farm: what they say is taken in, and what follows is noted.

Here: emergency stop and leak (they hold until a person resets them), mains that are gone and come back,
loads that do not do as told, water nobody asked for; each with its condition for the alarms. Not here: the
judgement on one load (`proving`), what is barred and asked (`guard_bars`), the alarm relay (`alarm_relay`).
A sensor that says nothing keeps what it said last: a stop stays a stop.
"""

from gillhouse.core import proving
from gillhouse.core.alarm import Condition, alarm_id
from gillhouse.core.arrivals import Step
from gillhouse.core.guard_state import Circuit, LoadProof, Trip, Unasked
from gillhouse.core.house import Plan, State
from gillhouse.core.modes import WHOLE_FARM, By, Mode, ModeState
from gillhouse.core.outputs import Event, EventKind, Facts
from gillhouse.core.quality import SensorState, drives
from gillhouse.core.quantities import Quantity
from gillhouse.core.reasons import Reason

UNASKED_MS = 60_000
"""Water for longer than this with every valve told off is an alarm. Our choice."""

BOOT_MS = 600_000
"""After the mains of the whole farm came back, so long for router and boards. Common practice, no source."""

_TRIP_REASON = {Quantity.EMERGENCY_STOP: Reason.EMERGENCY_STOP, Quantity.LEAK: Reason.LEAK}


def follow(plan: Plan, state: State, step: Step) -> None:
    """Takes in what every one of these inputs says now; asks equipment again where that changes anything."""
    guard, known = plan.guard, state.guards
    for sensor in guard.trips:
        _trip(plan, state, step, sensor)
    for sensor in guard.circuits:
        _circuit(plan, state, step, sensor)
    for relay in guard.proved:
        _prove(plan, state, step, relay)
    for sensor in guard.flows:
        _flow(plan, state, step, known.unasked.setdefault(sensor, Unasked()), sensor)
    _whole_farm(plan, state, step)
    for condition in conditions(plan, state):
        key = alarm_id(condition.kind, condition.subject)
        if key not in state.watching or state.watching[key] is not condition.active:
            state.watching[key] = condition.active
            step.conditions.append(condition)


def restart(plan: Plan, state: State, step: Step) -> None:
    """A start: what holds, holds; what a circuit's loads were told is staggered again."""
    known = state.guards
    known.heard = False
    known.proofs = {relay: LoadProof() for relay in plan.guard.proved}
    known.unasked = {sensor: Unasked(held=old.held) for sensor, old in known.unasked.items()}
    for trip in known.trips.values():
        trip.tripped = False
    for circuit in known.circuits.values():
        circuit.back_ms = None if circuit.gone else step.now.mono_ms
    for sensor in plan.guard.circuits:
        known.circuits.setdefault(sensor, Circuit(back_ms=step.now.mono_ms))
    for one in known.alarm_relays.values():
        one.test_to_ms = None


def fit(plan: Plan, state: State) -> None:
    """Drops what the settings no longer name."""
    known, guard = state.guards, plan.guard
    known.proofs = {relay: known.proofs.get(relay) or LoadProof() for relay in guard.proved}
    known.trips = {sensor: known.trips.get(sensor) or Trip() for sensor in guard.trips}
    known.circuits = {sensor: known.circuits.get(sensor) or Circuit() for sensor in guard.circuits}
    known.unasked = {sensor: known.unasked.get(sensor) or Unasked() for sensor in guard.flows}


def next_ms(plan: Plan, state: State) -> list[int]:
    """When it must be looked at again though no input comes: monotonic."""
    found = []
    for relay in plan.guard.proved:
        due = proving.due_ms(
            state.mono_ms, plan.settings.relays[relay], state.relays[relay], _inputs(plan, state, relay)
        )
        if due is not None:
            found.append(due)
    for sensor, one in state.guards.unasked.items():
        settings = plan.settings.sensors.get(sensor)
        if settings is not None and settings.on_change and one.since_ms is not None and not one.flowing:
            found.append(one.since_ms + UNASKED_MS)
    # One that passed while its input was silent waits for the input to speak; else it would come without end.
    return [due_ms for due_ms in found if due_ms > state.mono_ms]


# --- one by one ----------------------------------------------------------------------------------------


def _value(state: State, sensor: str) -> bool | None:
    known: SensorState | None = state.sensors.get(sensor)
    if known is None or not drives(known) or known.good_value is None:
        return None
    return known.good_value >= 0.5


def _trip(plan: Plan, state: State, step: Step, sensor: str) -> None:
    trip, says = state.guards.trips.setdefault(sensor, Trip()), _value(state, sensor)
    if says is None or says is trip.tripped:
        return
    trip.tripped, step.grant = says, True
    if says and not trip.held:
        trip.held = True
        settings = plan.settings.sensors[sensor]
        _tell(step, sensor, settings.space, _TRIP_REASON[settings.quantity], {"sensor": sensor})


def _circuit(plan: Plan, state: State, step: Step, sensor: str) -> None:
    circuit, says = state.guards.circuits.setdefault(sensor, Circuit()), _value(state, sensor)
    if says is None or says is not circuit.gone:
        return
    circuit.gone, step.grant = not says, True
    circuit.back_ms = step.now.mono_ms if says else None
    reason = Reason.STAGGERED if says else Reason.MAINS_GONE
    space = plan.settings.sensors[sensor].space
    _tell(step, sensor, space, reason, {"sensor": sensor})
    if says and space is None:
        _wait_for_boards(state, step)


def _wait_for_boards(state: State, step: Step) -> None:
    """The mains of all is back: boards and the router need their time before silence is news again."""
    for known in state.sensors.values():
        known.powered_ms = step.now.mono_ms + BOOT_MS
        known.silent = False
    step.sensor_back = step.tell_all = True


def _inputs(plan: Plan, state: State, relay: str) -> proving.Inputs:
    return {
        proof.sensor: (plan.settings.sensors[proof.sensor], state.sensors[proof.sensor])
        for proof in plan.settings.relays[relay].proofs
        if proof.sensor in plan.settings.sensors
    }


def _prove(plan: Plan, state: State, step: Step, relay: str) -> None:
    settings, known = plan.settings.relays[relay], state.relays[relay]
    proof = state.guards.proofs.setdefault(relay, LoadProof())
    if settings.advise_only:
        return  # somebody else may be working it
    was_running = proof.running
    proving.look(step.now.mono_ms, settings, known, proof, _inputs(plan, state, relay))
    if proof.stuck and not known.locked:
        known.locked, known.by_proof = True, True
        step.grant = True
        _tell(step, relay, plan.relay_space.get(relay) or settings.space, Reason.RELAY_STUCK, {})
    step.grant = step.grant or (proof.running is not was_running and relay in plan.guard.companions)


def _flow(plan: Plan, state: State, step: Step, one: Unasked, sensor: str) -> None:
    """Water that no valve explains."""
    valves = [(plan.settings.relays[relay], state.relays[relay]) for relay in plan.guard.flows[sensor]]
    says, known = _value(state, sensor), state.sensors[sensor]
    if not says or any(valve.advise_only or run.on for valve, run in valves):
        one.flowing = one.flowing and says is None
        one.since_ms = one.since_ms if says is None else None
        return
    settings, mono_ms = plan.settings.sensors[sensor], step.now.mono_ms
    off_ms = max(run.since_mono_ms for _, run in valves)
    if settings.pulses is not None and known.counted_from_ms < off_ms:
        return  # it may have grown while a valve was open
    if one.since_ms is None:
        one.since_ms = max(off_ms, mono_ms if settings.on_change else known.good_ms)
    seen_ms = mono_ms if settings.on_change else known.good_ms
    if seen_ms - one.since_ms < UNASKED_MS or one.flowing:
        return
    one.flowing = True
    if not one.held:
        one.held, step.grant = True, True
        _tell(step, sensor, settings.space, Reason.WATER_UNASKED, {"sensor": sensor})


def _whole_farm(plan: Plan, state: State, step: Step) -> None:
    """Notes the emergency stop and mains that are gone as what the whole farm is in."""
    known, sensors = state.guards, plan.settings.sensors
    stops = [
        sensor
        for sensor, trip in known.trips.items()
        if trip.held and sensors[sensor].quantity is Quantity.EMERGENCY_STOP and sensors[sensor].space is None
    ]
    gone = [sensor for sensor, one in known.circuits.items() if one.gone and sensors[sensor].space is None]
    mode = Mode.EMERGENCY_STOP if stops else Mode.MAINS_OFF if gone else None
    now = state.modes.get(WHOLE_FARM)
    if (None if now is None else now.mode) is mode:
        return
    state.modes.pop(WHOLE_FARM, None)
    if mode is not None:
        at = step.now
        why = (stops or gone)[0]
        state.modes[WHOLE_FARM] = ModeState(
            mode, at.mono_ms, None, at.wall_ms, None, why, "", step.seq, By.SWITCH
        )


def _tell(step: Step, subject: str, space: str | None, reason: Reason, facts: Facts) -> None:
    step.events.append(Event(EventKind.DECISION, subject, space, reason, facts, (step.seq,)))


# --- what the alarms are told --------------------------------------------------------------------------

_TRIP_KIND = {Quantity.EMERGENCY_STOP: "emergency-stop", Quantity.LEAK: "leak"}


def conditions(plan: Plan, state: State) -> list[Condition]:
    """Every condition of these inputs, as it stands."""
    found, known, settings = [], state.guards, plan.settings
    for sensor, trip in known.trips.items():
        one = settings.sensors[sensor]
        active = trip.tripped if _value(state, sensor) is not None else None
        found.append(Condition(_TRIP_KIND[one.quantity], sensor, one.space, active, {"sensor": sensor}))
    for sensor, circuit in known.circuits.items():
        space = settings.sensors[sensor].space
        loads = ", ".join(plan.guard.circuits[sensor])
        gone = circuit.gone if _value(state, sensor) is not None else None
        found.append(Condition("mains-off", sensor, space, gone, {"sensor": sensor, "loads": loads}))
    for relay, proof in known.proofs.items():
        load, run = settings.relays[relay], state.relays[relay]
        space = plan.relay_space.get(relay) or load.space
        facts: Facts = {"relay": relay, "role": load.role.value, "told_on": run.on}
        judged = proof.known and not load.advise_only
        found.append(Condition("load-stuck", relay, space, proof.stuck if judged else None, facts))
        found.append(Condition("load-dead", relay, space, proof.dead if judged else None, facts))
    for sensor, flow in known.unasked.items():
        unasked = flow.flowing if _value(state, sensor) is not None else None
        space = settings.sensors[sensor].space
        found.append(Condition("flow-unasked", sensor, space, unasked, {"sensor": sensor}))
    return found
