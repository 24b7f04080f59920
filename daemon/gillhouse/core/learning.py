"""The shadow estimates within the farm: fed with what each space's sensors say and what has been on.

What lives here: what joins `shadow` to the farm's state. What must not: the estimate (there), steering by it.
Called before anything may move and once a minute, so that what has been on since the last call is what is on.
"""

from gillhouse.core.air import humidity_ratio
from gillhouse.core.house import Plan, State
from gillhouse.core.instant import Instant
from gillhouse.core.measuring import look
from gillhouse.core.moisture import USEFUL_SHARE
from gillhouse.core.settings import Role
from gillhouse.core.shadow import Seen, ShadowPlan, ShadowState, follow
from gillhouse.core.space_plan import SpacePlan


def follow_all(plan: Plan, state: State, now: Instant) -> None:
    """Lets every estimate take note of the time since the last call."""
    for space, own in plan.spaces.items():
        if own.air is not None or own.mist is not None:
            known = state.shadows.setdefault(space, ShadowState())
            follow(_labels(plan, own), known, _seen(plan, state, own, now))


def _labels(plan: Plan, own: SpacePlan) -> ShadowPlan:
    mists = own.by_role.get(Role.MIST, ())
    return ShadowPlan(
        volume_m3=own.settings.volume_m3,
        leak_ach=own.settings.leak_ach,
        fan_m3_per_h=sum(flow for _, flow in own.flows),
        useful_share=USEFUL_SHARE,
        mist_litres_per_h=sum(plan.settings.relays[mist].litres_per_h for mist in mists),
    )


def _seen(plan: Plan, state: State, own: SpacePlan, now: Instant) -> Seen:
    seen = look(plan, state, own.settings.id)
    intake = state.spaces[own.settings.id].intake
    known = seen.humidity is not None and seen.temperature is not None and seen.humidity < 100.0
    return Seen(
        wall_ms=now.wall_ms,
        mono_ms=now.mono_ms,
        co2_ppm=seen.co2,
        ratio=humidity_ratio(seen.temperature, seen.humidity) if known else None,  # type: ignore[arg-type]
        intake_ppm=intake.co2_ppm,
        intake_ratio=intake.ratio,
        fan_m3_per_h=sum(flow for relay, flow in own.flows if state.relays[relay].on),
        litres_per_h=sum(
            plan.settings.relays[mist].litres_per_h
            for mist in own.by_role.get(Role.MIST, ())
            if state.relays[mist].on
        ),
        undisturbed=not seen.door_open and not seen.people,
    )
