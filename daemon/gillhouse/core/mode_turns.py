"""What modes do as time passes: switches and buttons begin stays, doors and clocks end modes.

Here: following switches, buttons, doors and clocks, the look once a minute, and the conditions of four
alarms. Not here: how a mode begins by a person (`mode_acts`), what it means for relays (`keeping`), the
single figures (`picking`, `breathed`).
"""

from collections.abc import Callable
from math import exp
from typing import Final

from gillhouse.core import breathed, mode_acts, picking
from gillhouse.core.alarm import Condition
from gillhouse.core.arrivals import Step
from gillhouse.core.breathed import Breathed
from gillhouse.core.house import Plan, State
from gillhouse.core.modes import By, Mode, ModeState, Stays
from gillhouse.core.outputs import Event, EventKind, Facts
from gillhouse.core.quality import drives
from gillhouse.core.quantities import Quantity
from gillhouse.core.reasons import Reason
from gillhouse.core.space_plan import SpacePlan
from gillhouse.core.switches import is_on, said

MINUTE_MS: Final = 60_000
HOUR_MS: Final = 3_600_000
DOOR_SHUT_MS: Final = 10 * MINUTE_MS
"""Picking is over when the door has been shut for so long and nobody is inside. Our choice."""
NOT_BEGUN_MS: Final = 30 * MINUTE_MS
"""... or when it was never opened. Our choice."""
RECOVERY_LONGEST_MS: Final = 2 * HOUR_MS
"""After this the air coming back is no longer told as the end of picking."""
SHIFT_PPM: Final = 5_000.0
"""Mean over 8 hours: OSHA, NIOSH, ACGIH and HSE EH40 (as for `alarm_kinds.PEOPLE_LIMITS`)."""
QUARTER_PPM: Final = 15_000.0
"""Mean over 15 minutes: HSE EH40."""

Told = dict[str, float | int | str | bool | None]


def follow_people(plan: Plan, state: State, step: Step) -> None:
    """Takes in what the switches and buttons beside the doors say now."""
    for space, sensors in plan.switches[Quantity.PEOPLE].items():
        told = said(plan, state, Quantity.PEOPLE, space)
        pressed = any(plan.settings.sensors[name].button and is_on(state, name) for name in sensors)
        if space not in state.stays and not told and not pressed:
            continue
        stays = state.stays.setdefault(space, Stays())
        if told and stays.now is None and not stays.spent:
            mode_acts.come_in(state, step, space, mode_acts.by_switch(step, By.SWITCH, "the switch"))
        elif told is False:
            if stays.spent:  # the stay that is overdue was its own
                stays.spent = stays.overdue = False
            if stays.now is not None and stays.now.by is By.SWITCH:
                mode_acts.go_out(state, step, space, "the switch says nobody")
        if pressed and not stays.pressed:
            mode_acts.come_in(state, step, space, mode_acts.by_switch(step, By.BUTTON, "the button"))
        stays.pressed = pressed


def _forget_idle(state: State) -> None:
    """Drops what there is nothing to remember of, so that a quiet farm costs nothing."""
    for space, stays in list(state.stays.items()):
        if stays == Stays() and not state.book.is_active("not-out", space):
            del state.stays[space]


def follow(plan: Plan, state: State, step: Step) -> None:
    """Brings every mode to this moment and ends what is over. Call it whenever anything came in."""
    if step.grant and plan.switches[Quantity.PEOPLE]:
        follow_people(plan, state, step)
    if not (state.modes or state.stays or state.recovering):
        return
    mono_ms = step.now.mono_ms
    for space, stays in state.stays.items():
        stay = stays.now
        if stay is not None and stay.until_ms is not None and mono_ms >= stay.until_ms:
            call = stay.alone or stay.by is By.SWITCH
            stays.spent = stays.spent or stay.by is By.SWITCH
            mode_acts.go_out(state, step, space, "its time is over", overdue=call)
            step.conditions += conditions(plan, state, step)
    for space, one in list(state.modes.items()):
        how = _how_over(plan, state, step, space, one) if space in plan.spaces else None
        if how is not None:
            mode_acts.end(plan, state, step, space, how)
    for space in list(state.recovering):
        _follow_recovery(plan, state, step, space)
    if mono_ms >= state.kept_ms + MINUTE_MS:
        look(plan, state, step)
        _forget_idle(state)


def _how_over(plan: Plan, state: State, step: Step, space: str, one: ModeState) -> str | None:
    """How a mode has just ended; None while it goes on."""
    own = _ENDS.get(one.mode)
    how = None if own is None else own(plan, state, step, space, one)
    if how is None and one.until_ms is not None and step.now.mono_ms >= one.until_ms:
        how = "its time is over"
        if one.mode is Mode.AIRING:
            facts: Facts = {"space": space, "changes": one.changes, "done": round(one.done, 1)}
            _tell(step, space, Reason.AIRING_FAILED, facts)
    return how


def _harvest_over(plan: Plan, state: State, step: Step, space: str, one: ModeState) -> str | None:
    """Follows the door: open, or somebody inside, and it goes on."""
    mono_ms, door = step.now.mono_ms, said(plan, state, Quantity.DOOR, space)
    stays = state.stays.get(space)
    if door or (stays is not None and stays.now is not None):
        one.door_ms, one.opened = mono_ms, one.opened or bool(door)
        return None
    if door is None:
        return None  # no switch, or it does not say: then the clock alone ends it
    wait_ms = DOOR_SHUT_MS if one.opened else NOT_BEGUN_MS
    if mono_ms < one.door_ms + wait_ms:
        return None
    return f"door shut for {wait_ms // MINUTE_MS} min"


def _airing_over(plan: Plan, state: State, step: Step, space: str, one: ModeState) -> str | None:
    elapsed_h = min(max(step.now.mono_ms - one.looked_ms, 0), MINUTE_MS) / HOUR_MS
    one.looked_ms = step.now.mono_ms
    volume_m3 = plan.spaces[space].settings.volume_m3
    one.done += mode_acts.proved_m3_per_h(plan, state, step, space) * elapsed_h / volume_m3
    if one.done < one.changes - 1e-6:
        return None
    co2 = _co2_ppm(plan, state, space)
    facts: Facts = {
        "space": space,
        "changes": one.changes,
        "left_pct": round(100.0 * exp(-one.changes), 1),
        "value": None if co2 is None else round(co2),
        "co2": "" if co2 is None else f", CO2 {co2:.0f} ppm",
    }
    _tell(step, space, Reason.AIRED, facts)
    return "aired"


def _empty_over(plan: Plan, state: State, step: Step, space: str, one: ModeState) -> str | None:
    inside = state.crops.in_space(space)
    return f"{inside[0].id} came in" if inside else None


_ENDS: dict[Mode, Callable[[Plan, State, Step, str, ModeState], str | None]] = {
    Mode.HARVEST: _harvest_over,
    Mode.AIRING: _airing_over,
    Mode.EMPTY: _empty_over,
}


def _follow_recovery(plan: Plan, state: State, step: Step, space: str) -> None:
    known, recovery = state.spaces.get(space), state.recovering[space]
    since_ms = step.now.mono_ms - recovery.since_ms
    if known is None or since_ms > RECOVERY_LONGEST_MS or space in state.modes:
        del state.recovering[space]
        return
    estimate, band = known.estimates.get(Quantity.HUMIDITY), plan.spaces[space].settings.bands.get(
        Quantity.HUMIDITY
    )  # fmt: skip
    if estimate is None or estimate.value is None or not estimate.fresh or band is None:
        return
    if band.low is not None and estimate.value < band.low:
        return
    del state.recovering[space]
    if recovery.pulses:
        facts: Facts = {
            "space": space, "minutes": round(since_ms / MINUTE_MS), "pulses": recovery.pulses,
            "value": round(estimate.value, 1),
        }  # fmt: skip
        _tell(step, space, Reason.RECOVERED, facts)


def _tell(step: Step, space: str, reason: Reason, facts: Facts) -> None:
    step.events.append(Event(EventKind.DECISION, space, space, reason, facts, (step.seq,)))


def next_ms(plan: Plan, state: State) -> list[int]:
    """When modes must be looked at again though nothing comes in: monotonic."""
    stays = [stay.now for stay in state.stays.values() if stay.now is not None]
    modes = [*state.modes.values(), *stays]
    found = [one.until_ms for one in modes if one.until_ms is not None]
    busy = stays or state.recovering or any(one.mode in (Mode.HARVEST, Mode.AIRING) for one in modes)
    if busy:
        found.append(state.kept_ms + MINUTE_MS)
    for space, one in state.modes.items():
        if one.mode is Mode.AIRING and space in plan.spaces:
            left_ms = mode_acts.least_airing_ms(plan, space, max(one.changes - one.done, 0.0))
            found.append(one.looked_ms + min(max(left_ms, 1_000), MINUTE_MS // 4))
        elif one.mode is Mode.HARVEST:
            found.append(one.door_ms + (DOOR_SHUT_MS if one.opened else NOT_BEGUN_MS))
    return [at_ms for at_ms in found if at_ms > state.mono_ms]


# --- once a minute -------------------------------------------------------------------------------------


def look(plan: Plan, state: State, step: Step) -> None:
    """The air people breathe, the water that picked caps lose, and what is called for."""
    state.kept_ms = step.now.mono_ms
    for space, account in state.harvests.items():
        fans = any(state.relays[relay].on for relay, _ in plan.spaces[space].flows)
        moving = fans or said(plan, state, Quantity.DOOR, space) is not False
        hose = plan.spaces[space].settings.hose
        picking.follow(account, state.spaces[space], moving, hose, step.now.wall_ms)
    for space, stays in state.stays.items():
        if stays.now is not None and space in plan.spaces:
            since_ms = stays.now.since_wall_ms
            log = state.breathed.setdefault(space, Breathed())
            breathed.note(log, _co2_ppm(plan, state, space), since_ms, step.now.wall_ms)
    for log in state.breathed.values():
        breathed.forget(log, step.now.wall_ms)
    state.breathed = {space: log for space, log in state.breathed.items() if log.minutes}
    step.conditions += conditions(plan, state, step)


def _co2_ppm(plan: Plan, state: State, space: str) -> float | None:
    """The highest of a space's CO2 sensors: people stand anywhere."""
    seen = [state.sensors[sensor.id] for sensor in plan.spaces[space].sensors[Quantity.CO2]]
    return max(
        (known.good_value for known in seen if drives(known) and known.good_value is not None), default=None
    )


def conditions(plan: Plan, state: State, step: Step) -> list[Condition]:
    """Somebody not out in time; too much CO2 breathed; a crop that dries while it is picked."""
    found = []
    wall_ms = step.now.wall_ms
    for space, own in plan.spaces.items():
        stays, log = state.stays.get(space), state.breathed.get(space)
        inside = stays is not None and stays.now is not None
        for kind, over_min, limit in (
            ("co2-shift", breathed.SHIFT_MIN, SHIFT_PPM),
            ("co2-quarter", breathed.QUARTER_MIN, QUARTER_PPM),
        ):
            mean = None if log is None else breathed.average(log, over_min, wall_ms)
            if mean is None and not state.book.is_active(kind, space):
                continue
            facts: Told = {
                "value": None if mean is None else round(mean), "limit": limit, "side": "high",
                "quantity": Quantity.CO2.value,
            }  # fmt: skip
            found.append(Condition(kind, space, space, inside and mean is not None and mean > limit, facts))
        if stays is not None:
            found.append(Condition("not-out", space, space, stays.overdue))
        found += _crop_drying(state, space, own, wall_ms)
    return found


def _crop_drying(state: State, space: str, own: SpacePlan, wall_ms: int) -> list[Condition]:
    account = state.harvests.get(space)
    if account is None:
        active = state.book.is_active("crop-drying", space)
        return [Condition("crop-drying", space, space, False)] if active else []
    left_h = picking.left_h(account, own.settings.hose, wall_ms)
    water_mm = min(zone.water_mm for zone in account.zones.values())
    facts: Told = {"lost_mm": round(max(-water_mm, 0.0), 3), "spare_mm": own.settings.hose.spare_mm}
    return [Condition("crop-drying", space, space, None if left_h is None else left_h <= 0.0, facts)]
