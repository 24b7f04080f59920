"""Whether mist and fans of each space show in its air: the farm's half of `effect`.

Here: what has been commanded is counted, the air is looked at twice a minute, and what does not fit is told
to the alarm book. Not here: what fits (see `effect`), how long it must last (the alarm's own delays). Only
what is driven is judged: what is advised may be worked by anybody. In the open the wind does more than any
fan.
"""

from collections.abc import Iterable, Mapping
from math import fsum
from typing import Final

from gillhouse.core.air import humidity_ratio
from gillhouse.core.alarm import Condition, alarm_id
from gillhouse.core.effect import Account, EffectPlan, Look, Misfit, count, misfits
from gillhouse.core.estimate import Estimate
from gillhouse.core.house import Plan, State
from gillhouse.core.instant import Instant
from gillhouse.core.outputs import Facts
from gillhouse.core.quantities import Quantity
from gillhouse.core.settings import Role, SpaceKind
from gillhouse.core.space_plan import SpacePlan

LOOK_MS: Final = 30_000
"""Looked at this often, with whatever input comes then."""

NO_CONTACT_MS: Final = 20 * 60_000
"""Where no contact tells of an open door, what looks like mist or fan unasked must last for so long: a visit
looks the same. Our choice."""

_ROLES: Final = {
    Misfit.MIST_NOTHING: Role.MIST,
    Misfit.MIST_UNASKED: Role.MIST,
    Misfit.FAN_NOTHING: Role.FAN,
    Misfit.FAN_UNASKED: Role.FAN,
}
_UNASKED: Final = (Misfit.MIST_UNASKED, Misfit.FAN_UNASKED)

Switch = Mapping[str, bool | None]


def is_time(state: State, mono_ms: int) -> bool:
    """Whether the next look is due."""
    return not 0 <= mono_ms - state.effects.looked_ms < LOOK_MS


def follow(plan: Plan, state: State, now: Instant, spaces: Iterable[str] | None = None) -> None:
    """Books what has been on since the last call, in all spaces or in `spaces`; call it whenever a relay of
    theirs has moved."""
    for space in plan.spaces if spaces is None else spaces:
        own = plan.spaces[space]
        if _is_judged(own):
            account = state.effects.spaces.setdefault(space, Account(at_ms=now.mono_ms))
            count(account, now.mono_ms, _mist_on(plan, state, own), _fan_on(state, own))


def look(plan: Plan, state: State, now: Instant, doors: Switch, people: Switch) -> list[Condition]:
    """Looks at every space's air; returns the conditions whose answer changed.

    Args:
        doors, people: by space; None: not known.
    """
    state.effects.looked_ms = now.mono_ms
    follow(plan, state, now)
    changed: list[Condition] = []
    for space, own in plan.spaces.items():
        if not _is_judged(own):
            continue
        account = state.effects.spaces[space]
        visited = bool(doors.get(space)) or bool(people.get(space))
        account.found = misfits(_labels(own), account.seen, _seen(state, own, account, visited))
        for condition in conditions(plan, state, space):
            key = alarm_id(condition.kind, space)
            if key not in state.watching or state.watching[key] is not condition.active:
                state.watching[key] = condition.active
                changed.append(condition)
    return changed


def conditions(plan: Plan, state: State, space: str) -> list[Condition]:
    """What the alarm book is told of a space."""
    own, account = plan.spaces[space], state.effects.spaces.get(space)
    if not _is_judged(own):
        return []
    delay_ms = None if space in plan.switches[Quantity.DOOR] else NO_CONTACT_MS
    found = []
    for misfit, role in _ROLES.items():
        relays = own.by_role[role]
        if not relays:
            continue
        advised = any(plan.settings.relays[relay].advise_only for relay in relays)
        active = None if account is None or advised else account.found.get(misfit)
        wait_ms = delay_ms if misfit in _UNASKED else None
        facts = _facts(state, own, misfit)
        found.append(Condition(misfit.value, space, space, active, facts, on_delay_ms=wait_ms))
    return found


def _is_judged(own: SpacePlan) -> bool:
    return own.settings.kind is not SpaceKind.OPEN and (own.mist is not None or own.air is not None)


def _mist_on(plan: Plan, state: State, own: SpacePlan) -> float:
    litres = {relay: plan.settings.relays[relay].litres_per_h for relay in own.by_role[Role.MIST]}
    if not all(litres.values()):
        litres = dict.fromkeys(litres, 1.0)  # no labels: each counts the same
    on = fsum(each for relay, each in litres.items() if state.relays[relay].on)
    return on / fsum(litres.values()) if on else 0.0


def _fan_on(state: State, own: SpacePlan) -> float:
    on = fsum(flow for relay, flow in own.flows if state.relays[relay].on)
    return on / fsum(flow for _, flow in own.flows) if on else 0.0


def _labels(own: SpacePlan) -> EffectPlan:
    leak_m3_per_h = own.mist.leak_m3_per_h if own.mist else own.air.leak_m3_per_h if own.air else 0.0
    return EffectPlan(
        volume_m3=own.settings.volume_m3,
        litres_per_h=own.mist.litres_per_h if own.mist else 0.0,
        fan_m3_per_h=own.air.fan_m3_per_h if own.air else 0.0,
        leak_m3_per_h=leak_m3_per_h,
    )


def _seen(state: State, own: SpacePlan, account: Account, visited: bool) -> Look:
    known = state.spaces[own.settings.id]
    humidity, co2 = (_value(known.estimates.get(each)) for each in (Quantity.HUMIDITY, Quantity.CO2))
    temperature = _value(known.estimates.get(Quantity.TEMPERATURE))
    band = own.settings.bands.get(Quantity.HUMIDITY)
    low = None if band is None else band.low
    warmth_c = own.assumed_c if temperature is None else temperature
    return Look(
        mono_ms=account.at_ms,
        ratio=None if humidity is None else humidity_ratio(warmth_c, humidity),
        humidity_pct=humidity or 0.0,
        full=humidity is not None and humidity >= 100.0,
        dry=humidity is not None and low is not None and humidity < low,
        co2_ppm=co2,
        intake_ratio=known.intake.ratio,
        intake_ppm=known.intake.co2_ppm,
        mist_ms=account.mist_ms,
        fan_ms=account.fan_ms,
        door_open=visited,
    )


def _value(estimate: Estimate | None) -> float | None:
    """Of an estimate that is no memory."""
    return None if estimate is None or estimate.held else estimate.value


def _facts(state: State, own: SpacePlan, misfit: Misfit) -> Facts:
    quantity = Quantity.HUMIDITY if _ROLES[misfit] is Role.MIST else Quantity.CO2
    estimate = state.spaces[own.settings.id].estimates.get(quantity)
    value = None if estimate is None or estimate.value is None else round(estimate.value, 2)
    return {"role": _ROLES[misfit].value, "quantity": quantity.value, "value": value}
