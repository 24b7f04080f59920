"""What a person asks of one relay by hand: begun, given back, over in time, over with a restart, outweighed.

Here: every change of `State.overrides`, told in words. Not here: what an override may not do; that is decided
where everything is (see `interlock`). How: an override always ends, has a name and a reason, and is refused
where it cannot be taken. One that something stronger outweighs stands for its time, and that is told once.
"""

from collections.abc import Iterable

from gillhouse.core.arrivals import Step
from gillhouse.core.asks import Ask
from gillhouse.core.house import Override, Plan, State
from gillhouse.core.inputs import Act, Link, OperatorAction
from gillhouse.core.outputs import Authority, Event, EventKind, Facts
from gillhouse.core.reasons import Reason

OVERRIDE_MS = 1_800_000
"""An override that names no time lasts this long..."""
OVERRIDE_MOST_MS = 14_400_000
"""... and none lasts longer than this. Our choice, no source."""


def take(plan: Plan, state: State, step: Step, item: OperatorAction) -> None:
    """Takes up, renews or gives back an override; refuses it with a reason where it cannot be."""
    refusal = _why_not(plan, state, item)
    if refusal is not None:
        _refuse(plan, step, item, *refusal)
        return
    relay = item.subject
    held = state.overrides.pop(relay, None)
    step.grant = True
    if item.act is Act.RELEASE:
        assert held is not None  # just looked at
        _tell(plan, step, relay, Reason.RELEASED, {"who": item.who, "on": held.on})
        return
    lasts_ms = min(OVERRIDE_MS if item.for_ms is None else item.for_ms, OVERRIDE_MOST_MS)
    state.overrides[relay] = Override(
        on=bool(item.on), until_ms=step.now.mono_ms + lasts_ms, who=item.who, seq=step.seq, why=item.text
    )
    state.relays[relay].refused = None  # what stands in its way is told to whoever asks now
    facts: Facts = {"who": item.who, "on": bool(item.on), "for_s": lasts_ms / 1000, "text": item.text}
    _tell(plan, step, relay, Reason.OVERRIDE, facts)


def _why_not(plan: Plan, state: State, item: OperatorAction) -> tuple[Reason, Facts] | None:
    """Why an act cannot be taken at all."""
    relay = plan.settings.relays.get(item.subject)
    if relay is None:
        return Reason.UNKNOWN_SUBJECT, {"subject": item.subject}
    if item.act is Act.RELEASE:
        return None if item.subject in state.overrides else (Reason.NOT_BY_HAND, {"relay": relay.id})
    if not item.who.strip() or not item.text.strip():
        return Reason.NAME_AND_REASON, {}
    if item.for_ms is not None and item.for_ms <= 0:
        return Reason.NOT_BELIEVABLE, {"what": "a time in seconds", "value": item.for_ms / 1000}
    if relay.over_broker and not state.links[Link.BROKER].up:
        return Reason.NO_LINK, {}
    return None


def _refuse(plan: Plan, step: Step, item: OperatorAction, reason: Reason, facts: Facts) -> None:
    told: Facts = {**facts, "who": item.who, "act": item.act.value}
    space = plan.relay_space.get(item.subject)
    step.events.append(Event(EventKind.REFUSED, item.subject, space, reason, told, (step.seq,)))


def _tell(plan: Plan, step: Step, relay: str, reason: Reason, facts: Facts) -> None:
    """A line in the log for the beginning or the end of what a person asked of a relay."""
    space = plan.relay_space.get(relay)
    step.events.append(Event(EventKind.DECISION, relay, space, reason, facts, (step.seq,)))


def end_due(plan: Plan, state: State, step: Step) -> None:
    """Drops the overrides whose time is over."""
    for relay in [relay for relay, held in state.overrides.items() if step.now.mono_ms >= held.until_ms]:
        held = state.overrides.pop(relay)
        step.grant = True
        _tell(plan, step, relay, Reason.EXPIRED, {"who": held.who, "on": held.on})


def restart(plan: Plan, state: State, step: Step) -> None:
    """After a start nothing is taken up again that a person asked for by hand: it is dropped, and told."""
    for relay, held in state.overrides.items():
        _tell(plan, step, relay, Reason.DROPPED, {"who": held.who, "on": held.on, "text": held.why})
    state.overrides.clear()


def tell_outweighed(plan: Plan, state: State, step: Step, asks: Iterable[Ask]) -> None:
    """Tells, once each time, the overrides that something stronger goes against.

    What bars a relay is told by `runs.refuse`; here are the asks that win over a person's, such as fresh air
    while somebody is inside.
    """
    strongest: dict[str, Ask] = {}
    for ask in asks:
        held = strongest.get(ask.relay)
        if held is None or ask.authority < held.authority:
            strongest[ask.relay] = ask
    for relay, override in state.overrides.items():
        ask = strongest[relay]
        against = ask.authority < Authority.OVERRIDE and ask.on is not override.on
        if against and override.outweighed is not ask.reason:
            facts: Facts = {**ask.facts, "wanted": Reason.OVERRIDE.value, "wanted_on": override.on}
            space = plan.relay_space.get(relay)
            step.events.append(Event(EventKind.REFUSED, relay, space, ask.reason, facts, (step.seq,)))
        override.outweighed = ask.reason if against else None
