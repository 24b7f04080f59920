"""How things stand as the equipment is asked: the asks of all sides, and what the interlocks look at.

Here: gathering, from what is known at this moment. Not here: granting (`interlock`), the spaces' own asks
(`space`). Pure reading; nothing is changed.
"""

from gillhouse.core import guard_bars, keeping, measuring, plumbing, watch
from gillhouse.core.arrivals import Step
from gillhouse.core.asks import Ask, Situation
from gillhouse.core.house import Plan, State
from gillhouse.core.inputs import Link
from gillhouse.core.outputs import Authority, Facts
from gillhouse.core.quantities import Quantity
from gillhouse.core.reasons import Reason
from gillhouse.core.switches import is_on, switched

NO_LINK_MS = 60_000
"""So long without the broker, and relays behind it are not asked for anything: their leases have run out or
will, and what cannot be heard must not be booked as done. A short break changes nothing."""


def link_lost_ms(state: State) -> int | None:
    """From when on relays behind the broker are not asked for anything, monotonic; None while it is there."""
    broker = state.links[Link.BROKER]
    return None if broker.up else broker.since_ms + NO_LINK_MS


def standing(plan: Plan, state: State, step: Step) -> list[Ask]:
    """The asks of all spaces, as what people do, measuring runs, water and a lost broker change them."""
    lost_ms = link_lost_ms(state)
    lost = lost_ms is not None and step.now.mono_ms >= lost_ms
    found = []
    for ask in state.asks.values():
        if lost and ask.on and plan.settings.relays[ask.relay].over_broker:
            ask = Ask(ask.relay, False, None, Authority.DEFAULT, Reason.NO_LINK)
        found.append(ask)
    for relay, held in state.overrides.items():
        if lost and held.on and plan.settings.relays[relay].over_broker:
            continue
        facts: Facts = {"who": held.who}
        found.append(Ask(relay, held.on, None, Authority.OVERRIDE, Reason.OVERRIDE, (held.seq,), facts))
    found += measuring.standing(plan, state, step)
    if plan.settings.water.flush_ms is not None:
        found += plumbing.flushes(plan, state, step.now, keeping.people(plan, state))
    found += keeping.asks(plan, state, step)
    for ask in guard_bars.asks(plan, state, step, found):
        if not (lost and ask.on and plan.settings.relays[ask.relay].over_broker):
            found.append(ask)
    return found


def situation(plan: Plan, state: State, step: Step) -> Situation:
    """What the interlocks look at: doors, people, tanks, frost, and who needs shared air most."""
    tanks = [sensor.id for sensor in plan.settings.sensors.values() if sensor.quantity is Quantity.TANK]
    sharing = [space for space in plan.spaces if space in plan.sharing]
    return Situation(
        door_open=switched(plan, state, Quantity.DOOR),
        people=keeping.people(plan, state),
        barred=guard_bars.barred(plan, state, keeping.barred(plan, state)),
        returning=guard_bars.returning(plan, state),
        tank_wet={tank: is_on(state, tank) for tank in tanks},
        freezing=plumbing.freezing(plan, state),
        need={space: watch.need(plan, state, space) for space in sharing},
        harmed_by_shared_air={space: watch.harmed(plan, state, space) for space in sharing},
        causes=(step.seq,),
    )
