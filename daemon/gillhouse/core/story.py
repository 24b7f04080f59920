"""What is told of decisions that move no relay: programmes left out, and 'no change because'.

Nothing here decides. A controller's story is told when it changes, not each time it is true; ordinary
steering (a pulse, a run, a pause) is told by the commands themselves.
"""

from gillhouse.core.arrivals import Step, due_event
from gillhouse.core.house import Plan, State
from gillhouse.core.outputs import Event, EventKind
from gillhouse.core.quantities import Quantity
from gillhouse.core.reasons import Reason
from gillhouse.core.settings import Role
from gillhouse.core.space import SpaceState, modes
from gillhouse.core.space_plan import SpacePlan

STANDS_OUT: dict[Role, tuple[Reason, ...]] = {
    Role.MIST: (
        Reason.NO_GOOD_READING,
        Reason.SATURATED,
        Reason.TOO_HUMID,
        Reason.CAPS_WET,
        Reason.AIR_DRY,
        Reason.ASK_HOSE,
    ),
    Role.FAN: (Reason.NO_GOOD_READING, Reason.OUTSIDE_WORSE, Reason.AT_CAPACITY),
    Role.HEATER: (Reason.NO_GOOD_READING,),
    Role.COOLER: (Reason.NO_GOOD_READING,),
}
"""Stories worth a line; every other is ordinary steering, told as 'back where it should be'."""

FOLLOWS: dict[Role, Quantity] = {
    Role.MIST: Quantity.HUMIDITY,
    Role.FAN: Quantity.CO2,
    Role.HEATER: Quantity.TEMPERATURE,
    Role.COOLER: Quantity.TEMPERATURE,
}
"""What each controller steers by."""

_LOW_SIDE = (Reason.AIR_DRY, Reason.ASK_HOSE)


def tell_stories(plan: SpacePlan, known: SpaceState, step: Step) -> None:
    """Adds a DECISION event for every controller whose story changed."""
    for role, reason in modes(plan, known).items():
        told = reason if reason in STANDS_OUT[role] else Reason.IN_BAND
        last = known.modes.get(role)
        if last is told:
            continue
        known.modes[role] = told
        if last is None and told in (Reason.NO_GOOD_READING, Reason.IN_BAND):
            continue  # at the start nothing has reported yet; that is no news
        step.events.append(_story(plan, known, role, told, step.seq))


def _story(plan: SpacePlan, known: SpaceState, role: Role, told: Reason, seq: int) -> Event:
    quantity = FOLLOWS[role]
    estimate, band = known.estimates.get(quantity), plan.settings.bands.get(quantity)
    facts: dict[str, float | int | str | bool | None] = {"role": role.value, "quantity": quantity.value}
    if estimate is not None and estimate.value is not None:
        facts["value"] = round(estimate.value, 2)
    if band is not None:
        facts["limit"] = band.low if told in _LOW_SIDE else band.high
        facts["band_low"], facts["band_high"] = band.low, band.high
    causes = estimate.seqs if estimate is not None and estimate.seqs else (seq,)
    space = plan.settings.id
    return Event(EventKind.DECISION, space, space, told, facts, causes)


def tell_begun(plan: Plan, state: State, step: Step) -> dict[str, None]:
    """Adds a DUE event for every programme run that has begun; returns the spaces concerned."""
    begun: dict[str, None] = {}
    for space, known in state.spaces.items():
        for relay, run in list(known.pending.items()):
            granted = state.relays[relay]
            if not granted.on or run.seq not in granted.causes:
                continue
            del known.pending[relay]
            begun[space] = None
            reason = Reason.FALLBACK_PROGRAMME if run.fallback else Reason.PROGRAMME
            programme = plan.settings.programmes[run.programme]
            step.events.append(due_event(programme, reason, (run.seq,), relay, run.run_ms))
    return begun


def expire(plan: Plan, state: State, step: Step, space: str) -> None:
    """Leaves out the programme runs of a space that could not begin in time, with what held them back."""
    known = state.spaces[space]
    for relay, run in list(known.pending.items()):
        if step.now.mono_ms < run.until_ms:
            continue
        del known.pending[relay]
        programme = plan.settings.programmes.get(run.programme)
        if programme is not None:
            reason = state.relays[relay].refused or Reason.WAITING_GAP
            step.events.append(due_event(programme, reason, (run.seq,), relay, 0))
