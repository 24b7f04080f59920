"""What the inputs that protect keep off, and what they ask on: bars and asks for the equipment.

Reads only. The emergency stop is the strongest of all bars. What an input said last holds while it is silent;
one that has not reported since the start is waited for, as long as it takes to count as silent.
"""

from gillhouse.core import alarm_relay
from gillhouse.core.arrivals import Step
from gillhouse.core.asks import Ask, Bar, Return
from gillhouse.core.house import Plan, State
from gillhouse.core.outputs import Authority, Facts
from gillhouse.core.quality import awaited
from gillhouse.core.quantities import Quantity
from gillhouse.core.reasons import Reason


def barred(plan: Plan, state: State, other: dict[str, Bar]) -> dict[str, Bar]:
    """Relays kept off. `other`: what keeps relays off besides; only an emergency stop goes before it."""
    guard, known = plan.guard, state.guards
    found: dict[str, Bar] = {}
    for relay, inputs in guard.inputs.items():
        _not_heard(state, found, relay, inputs)
    for relay in plan.settings.relays:
        _companions(plan, state, found, relay)
    _upstream(plan, state, found)
    for sensor, circuit in known.circuits.items():
        if circuit.gone:
            bar = Bar(Reason.MAINS_GONE, {"sensor": sensor})
            found.update(dict.fromkeys(guard.circuits[sensor], bar))
    found.update(other)
    for sensor, trip in known.trips.items():
        if trip.held:
            stop = plan.settings.sensors[sensor].quantity is Quantity.EMERGENCY_STOP
            bar = Bar(
                Reason.EMERGENCY_STOP if stop else Reason.LEAK,
                {"sensor": sensor},
                Authority.EMERGENCY if stop else Authority.INTERLOCK,
            )
            kept = dict.fromkeys(guard.trips[sensor], bar)
            found = {**found, **kept} if stop else {**kept, **found}
    return found


def _not_heard(state: State, found: dict[str, Bar], relay: str, inputs: tuple[str, ...]) -> None:
    for sensor in inputs:
        if sensor in state.sensors and awaited(state.sensors[sensor]):
            found[relay] = Bar(Reason.NOT_HEARD, {"sensor": sensor})


def _companions(plan: Plan, state: State, found: dict[str, Bar], relay: str) -> None:
    """No heat without a fan that is seen to run."""
    for other in plan.settings.relays[relay].only_with:
        proof = state.guards.proofs.get(other)
        if proof is None or not proof.running:
            found[relay] = Bar(Reason.NOT_PROVED, {"other": other})


def _upstream(plan: Plan, state: State, found: dict[str, Bar]) -> None:
    """What lies upstream of a load that stuck, or of water nobody asked for, stays off until the reset."""
    guard = plan.guard
    for upstream, loads in guard.upstream.items():
        stuck = [load for load in loads if load in state.relays and state.relays[load].locked]
        wet = [
            sensor
            for sensor, one in state.guards.unasked.items()
            if one.held and any(valve in loads for valve in guard.flows.get(sensor, ()))
        ]
        if stuck:
            bar = Bar(Reason.UPSTREAM_OFF, {"other": stuck[0]})
        elif wet:
            bar = Bar(Reason.WATER_UNASKED, {"sensor": wet[0]})
        else:
            continue
        found[upstream] = bar
        found.update({load: bar for load in guard.masters.get(upstream, ()) if load not in stuck})


def returning(plan: Plan, state: State) -> dict[str, Return]:
    """Relays whose mains came back, with those that share them."""
    apart_ms = plan.settings.safety.stagger_ms
    return {
        relay: Return(circuit.back_ms, apart_ms, plan.guard.circuits[sensor])
        for sensor, circuit in state.guards.circuits.items()
        if circuit.back_ms is not None
        for relay in plan.guard.circuits[sensor]
    }


def asks(plan: Plan, state: State, step: Step, standing: list[Ask]) -> list[Ask]:
    """Fans that heat needs, masters of what is on, and the alarm relay.

    Args:
        standing: what everybody else asks.
    """
    found = []
    strongest: dict[str, Ask] = {}
    for ask in standing:
        held = strongest.get(ask.relay)
        if held is None or ask.authority < held.authority:
            strongest[ask.relay] = ask
    for other, needing in plan.guard.companions.items():
        wants = [strongest[relay] for relay in needing if relay in strongest and strongest[relay].on]
        if wants:
            first = min(wants, key=lambda ask: ask.authority)
            facts: Facts = {"other": first.relay}
            authority = max(first.authority, Authority.OVERRIDE)
            found.append(Ask(other, True, None, authority, Reason.NEEDED_BY, first.causes, facts))
    for master, loads in plan.guard.masters.items():
        on = [load for load in loads if state.relays[load].on and not _is_advice(plan, master, load)]
        if on:
            causes = state.relays[on[0]].causes
            found.append(
                Ask(master, True, None, Authority.DEMAND, Reason.UPSTREAM_OF, causes, {"other": on[0]})
            )
    return found + alarm_relay.asks(plan, state, step)


def _is_advice(plan: Plan, master: str, load: str) -> bool:
    """What is only advised moves nothing that is driven."""
    relays = plan.settings.relays
    return relays[load].advise_only and not relays[master].advise_only


def masters_lag(plan: Plan, state: State) -> bool:
    """A master is not as its loads want it: equipment must be asked once more."""
    return any(
        any(state.relays[load].on and not _is_advice(plan, master, load) for load in loads)
        is not state.relays[master].on
        for master, loads in plan.guard.masters.items()
    )
