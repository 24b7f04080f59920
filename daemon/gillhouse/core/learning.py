"""The shadow estimates within the farm: fed with what each space's sensors say and what has been on.

What lives here: what joins `shadow` to the farm's state, and the taking over from the fans' labels once an
estimate has earned it. What must not: the estimate (there). Mist is not taken over: the account of the air's
water (see `moisture`) learns its own share from reading to reading; here its drift is watched. Called after
anything has moved and once a minute: what was on at the last call has been on since.
"""

from collections.abc import Iterable
from math import fsum

from gillhouse.core.air import humidity_ratio
from gillhouse.core.arrivals import Step
from gillhouse.core.house import Plan, State
from gillhouse.core.instant import Instant
from gillhouse.core.measuring import look
from gillhouse.core.moisture import FAN_LEAST, FAN_MOST, USEFUL_SHARE
from gillhouse.core.outputs import Event, EventKind, Facts
from gillhouse.core.reasons import Reason
from gillhouse.core.settings import Role, SpaceKind
from gillhouse.core.shadow import Seen, ShadowPlan, ShadowState, fan_factor, follow
from gillhouse.core.space_plan import SpacePlan

WORTH = 0.05
"""A fan that is taken over already is counted anew when it is off by this much."""


def follow_all(plan: Plan, state: State, now: Instant, spaces: Iterable[str] | None = None) -> None:
    """Lets estimates take note of the time since their last call; of all spaces, or of `spaces` alone."""
    for space in plan.spaces if spaces is None else spaces:
        own = plan.spaces[space]
        # In the open the wind moves more than any fan: nothing could be told from it.
        if own.settings.kind is not SpaceKind.OPEN and (own.air is not None or own.mist is not None):
            known = state.shadows.setdefault(space, ShadowState())
            counted = state.fan_shares.get(space, 1.0)
            follow(_labels(plan, own, counted), known, _seen(plan, state, own, now))
            known.fan_m3_per_h = fsum(flow for relay, flow in own.flows if state.relays[relay].on) / counted
            known.litres_per_h = fsum(
                plan.settings.relays[mist].litres_per_h
                for mist in own.by_role.get(Role.MIST, ())
                if state.relays[mist].on
            )


def take_over(plan: Plan, state: State, step: Step) -> bool:
    """Lets a space's fans count as what was learnt of them, or by their labels again.

    Returns: whether any does; the farm must then make its plan anew.
    """
    changed = False
    for space in plan.spaces:
        wanted, counted = _wanted(state, space), state.fan_shares.get(space, 1.0)
        if wanted == counted or (wanted != 1.0 and abs(wanted - counted) < WORTH):
            continue
        changed = True
        state.fan_shares[space] = wanted
        # The account of the air's water has its own opinion of the fan, as a share of what it counts as.
        factor = state.spaces[space].mist.air.fan
        factor.value = min(max(factor.value * counted / wanted, FAN_LEAST), FAN_MOST)
        facts: Facts = {"pct": round(100.0 * wanted), "words": _words(wanted)}
        event = Event(EventKind.DECISION, space, space, Reason.FAN_COUNTS, facts, (step.seq,))
        step.events.append(event)
        step.spaces[space] = None
    return changed


def _wanted(state: State, space: str) -> float:
    known = state.shadows.get(space)
    return 1.0 if known is None else round(fan_factor(known), 2)


def _words(wanted: float) -> str:
    if wanted == 1.0:
        return "what was learnt has foretold CO2 worse than its label for a day"
    return "that has foretold CO2 better than its label for three days"


def _labels(plan: Plan, own: SpacePlan, counted: float) -> ShadowPlan:
    mists = own.by_role.get(Role.MIST, ())
    return ShadowPlan(
        volume_m3=own.settings.volume_m3,
        leak_ach=own.settings.leak_ach,
        fan_m3_per_h=sum(flow for _, flow in own.flows) / counted,
        useful_share=USEFUL_SHARE,
        mist_litres_per_h=sum(plan.settings.relays[mist].litres_per_h for mist in mists),
    )


def _seen(plan: Plan, state: State, own: SpacePlan, now: Instant) -> Seen:
    seen = look(plan, state, own.settings.id)
    intake, been_on = state.spaces[own.settings.id].intake, state.shadows[own.settings.id]
    known = seen.humidity is not None and seen.temperature is not None and seen.humidity < 100.0
    return Seen(
        wall_ms=now.wall_ms,
        mono_ms=now.mono_ms,
        co2_ppm=seen.co2,
        ratio=humidity_ratio(seen.temperature, seen.humidity) if known else None,  # type: ignore[arg-type]
        intake_ppm=intake.co2_ppm,
        intake_ratio=intake.ratio,
        fan_m3_per_h=been_on.fan_m3_per_h,
        litres_per_h=been_on.litres_per_h,
        undisturbed=not seen.door_open and not seen.people,
    )
