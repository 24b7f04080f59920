"""What waits for a person's reset, and which hardware is to be tested: plain values for `now`, the page."""

from gillhouse.core import reminders as due_things
from gillhouse.core.house import Plan, State
from gillhouse.core.instant import Instant
from gillhouse.core.quantities import Quantity
from gillhouse.core.reasons import WORDS, Reason


def held(plan: Plan, state: State) -> list[dict[str, object]]:
    """What stays off until a person resets it: the name to reset, and why in words."""
    found: list[dict[str, object]] = []
    for sensor, trip in state.guards.trips.items():
        stop = plan.settings.sensors[sensor].quantity is Quantity.EMERGENCY_STOP
        if trip.held:
            found.append(_line(sensor, Reason.EMERGENCY_STOP if stop else Reason.LEAK, trip.tripped))
    for sensor, flow in state.guards.unasked.items():
        if flow.held:
            found.append(_line(sensor, Reason.WATER_UNASKED, flow.flowing))
    for relay, run in state.relays.items():
        if run.locked:
            proof = state.guards.proofs.get(relay)
            found.append(_line(relay, Reason.RELAY_STUCK, proof is not None and proof.stuck))
    return found


def _line(subject: str, reason: Reason, still: bool) -> dict[str, object]:
    return {"subject": subject, "words": WORDS[reason].format(sensor=subject), "still": still}


def reminders(plan: Plan, now: Instant) -> list[str]:
    """Hardware whose test is overdue, in words."""
    return [WORDS[one.reason].format(**one.facts) for one in due_things.due(plan.settings, None, now)]
