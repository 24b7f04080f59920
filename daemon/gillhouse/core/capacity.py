"""Where the equipment of a space gives all it has and the air still is not what it should be.

Here: which role is short of it, and what the alarm book is told. Not here: what runs (`misting`, `fresh_air`,
`warmth`), or how long it must last (the alarm's own delays). A relay that is held back, or only advised, is
not at its limit: something else has its say there.
"""

from collections.abc import Callable
from typing import Final

from gillhouse.core.alarm import Condition, alarm_id
from gillhouse.core.house import Plan, State
from gillhouse.core.outputs import Facts
from gillhouse.core.quantities import Quantity
from gillhouse.core.reasons import Reason
from gillhouse.core.settings import Role
from gillhouse.core.space import SpaceState
from gillhouse.core.space_plan import SpacePlan
from gillhouse.core.warmth import DutyPlan, DutyState

KIND: Final = "at-capacity"

FULL_SHARE: Final = 0.99
"""A heater or cooler that has learnt to be on for this share of the time is on all the time."""


def _mist_short(own: SpacePlan, known: SpaceState) -> bool:
    return own.mist is not None and known.mist.mode is Reason.AIR_DRY


def _air_short(own: SpacePlan, known: SpaceState) -> bool:
    return own.air is not None and known.air.mode is Reason.AT_CAPACITY


def _duty_short(plan: DutyPlan | None, duty: DutyState, value: float | None) -> bool:
    if plan is None or value is None or duty.trim < FULL_SHARE:
        return False
    return value > plan.limit_c if plan.cools else value < plan.limit_c


def _heat_short(own: SpacePlan, known: SpaceState) -> bool:
    return _duty_short(own.heat, known.heat, _temperature(known))


def _cool_short(own: SpacePlan, known: SpaceState) -> bool:
    return _duty_short(own.cool, known.cool, _temperature(known))


def _temperature(known: SpaceState) -> float | None:
    estimate = known.estimates.get(Quantity.TEMPERATURE)
    return None if estimate is None else estimate.value


_RULES: Final[dict[Role, tuple[Callable[[SpacePlan, SpaceState], bool], Quantity]]] = {
    Role.FAN: (_air_short, Quantity.CO2),
    Role.MIST: (_mist_short, Quantity.HUMIDITY),
    Role.HEATER: (_heat_short, Quantity.TEMPERATURE),
    Role.COOLER: (_cool_short, Quantity.TEMPERATURE),
}


def short_of(plan: Plan, state: State, space: str) -> Role | None:
    """The role whose relays are all at their limit; None while none is."""
    own, known = plan.spaces[space], state.spaces[space]
    for role, (is_short, _) in _RULES.items():
        if is_short(own, known) and _are_free(plan, state, own.by_role[role]):
            return role
    return None


def _are_free(plan: Plan, state: State, relays: tuple[str, ...]) -> bool:
    return all(
        state.relays[relay].refused in (None, Reason.WAITING_GAP, Reason.LEAST_OFF)
        and not plan.settings.relays[relay].advise_only
        for relay in relays
    )


def changed(plan: Plan, state: State, space: str) -> tuple[Condition, ...]:
    """The condition of a space, if its answer is another than was last told."""
    key, active = alarm_id(KIND, space), short_of(plan, state, space) is not None
    if state.watching.get(key, False) is active:
        return ()
    state.watching[key] = active
    return (condition(plan, state, space),)


def condition(plan: Plan, state: State, space: str) -> Condition:
    """What the alarm book is told of a space."""
    role = short_of(plan, state, space)
    return Condition(
        KIND, space, space, role is not None, {} if role is None else _facts(plan, state, space, role)
    )


def _facts(plan: Plan, state: State, space: str, role: Role) -> Facts:
    quantity = _RULES[role][1]
    estimate = state.spaces[space].estimates.get(quantity)
    band = plan.settings.spaces[space].bands.get(quantity)
    low_side = role in (Role.MIST, Role.HEATER)
    edge = None if band is None else band.low if low_side else band.high
    value = None if estimate is None or estimate.value is None else round(estimate.value, 2)
    return {
        "role": role.value, "quantity": quantity.value, "value": value, "limit": edge,
        "side": "low" if low_side else "high",
    }  # fmt: skip
