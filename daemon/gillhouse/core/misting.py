"""Mist: water is counted, not percent.

What the fresh air carries away (flow x difference of humidity ratio) plus what the air itself lacks of its
aim (a dew-point error), plus a slow clamped trim for all that the labels get wrong, is owed to the nozzle as
time and paid in pulses. Water that the sensor cannot show yet is predicted, so that nothing is paid twice.
Mist is never held back merely because a fan runs.
"""

from dataclasses import dataclass, field
from math import exp

from gillhouse.core.air import dew_point_c, humidity_ratio
from gillhouse.core.crops import Band
from gillhouse.core.demand import AIR_KG_PER_M3, HOUR_MS, LONGEST_STEP_MS, Inside, Wish, humidity_aim
from gillhouse.core.outputs import Facts
from gillhouse.core.reasons import Reason

USEFUL_SHARE = 0.6
"""Share of a nozzle's water that stays in the air. Cheap low-pressure nozzles in damp air: about half.
Common practice, no source; the trim learns the rest."""

ASSUMED_LITRES_PER_H = 6.0
"""Of a mist relay without a label. Common practice, no source."""

CATCH_UP_H = 300 / 3600
"""Lacking water is brought back over this time: well over the lag of a capped sensor plus its interval."""

TRIM_H = 0.5
"""The trim takes about this long to learn what the labels hide."""

UNSEEN_MS = 90_000
"""Water given or carried away within about this time has not reached the reading yet (lag of a capped sensor,
20 to 120 s, and half its interval)."""

PULSE_STEP_KG_PER_KG = 0.0003
"""A pulse is cut down until it raises the air's humidity ratio by no more than this (2 to 3 points)..."""

CUT = 4
"""... but to no less than this share of the ordinary pulse."""

CUT_LEAST_MS = 1_500
"""... and no less than this: a valve that only clicks wets nothing. Common practice, no source."""

STRETCH = 4
"""A pulse grows to so many ordinary pulses when more is owed, as a wide-open fan asks."""

BACK_PCT = 1.5
"""So far back in its band, and humidity is no longer too dry or too wet. Common practice, no source."""

LONGEST_PULSE_MS = 120_000
"""No mist pulse is longer, whatever is owed. Common practice for a solenoid, no source."""


@dataclass(frozen=True, slots=True)
class MistPlan:
    """A space's nozzles and what they work against."""

    relays: tuple[str, ...]
    litres_per_h: float
    pulse_ms: int
    gap_ms: int
    longest_ms: int
    volume_m3: float
    leak_m3_per_h: float
    band: Band


@dataclass(slots=True)
class MistState:
    last_ms: int = 0
    trim_kg_h: float = 0.0
    unseen_kg: float = 0.0
    """Water that mist has given and fans have carried off lately, which the sensor cannot show yet."""
    owed_ms: dict[str, float] = field(default_factory=dict)
    """Mist time owed, by relay."""
    gap_until_ms: dict[str, int] = field(default_factory=dict)
    mode: Reason = Reason.STARTING


def _mist_mode(band: Band, value: float, last: Reason) -> Reason:
    """Which story the humidity tells; some hysteresis keeps noise from telling two."""
    if value >= 100.0:
        return Reason.SATURATED
    if band.high is not None and value > band.high - (BACK_PCT if last is Reason.TOO_HUMID else 0.0):
        return Reason.TOO_HUMID
    if band.low is not None and value < band.low + (BACK_PCT if last is Reason.AIR_DRY else 0.0):
        return Reason.AIR_DRY
    return Reason.HOLD_HUMID


def _mist_rate(plan: MistPlan, inside: Inside, state: MistState, step_h: float, aim: float) -> float:
    """Water wanted now, kg/h, after moving the trim by `step_h`."""
    value = inside.humidity.value
    assert value is not None
    aim_ratio = humidity_ratio(inside.temperature_c, aim)
    ratio = humidity_ratio(inside.temperature_c, value)
    blown = inside.fan_m3_per_h * AIR_KG_PER_M3 * (ratio - inside.intake_ratio)
    state.unseen_kg = (state.unseen_kg - blown * step_h) * exp(-step_h * HOUR_MS / UNSEEN_MS)
    lacking_kg = plan.volume_m3 * AIR_KG_PER_M3 * (aim_ratio - ratio) - state.unseen_kg
    flow = plan.leak_m3_per_h + inside.fan_m3_per_h
    carried = flow * AIR_KG_PER_M3 * (aim_ratio - inside.intake_ratio)
    if not inside.humidity.held:
        most = 0.5 * plan.litres_per_h * USEFUL_SHARE
        trim = state.trim_kg_h + lacking_kg / CATCH_UP_H / TRIM_H * step_h
        state.trim_kg_h = min(max(trim, -most), most)
    wanted = carried + lacking_kg / CATCH_UP_H + state.trim_kg_h
    # Air that is wetter than its aim pays for what the fan carries off, before any mist does.
    return wanted if lacking_kg > 0.0 else min(wanted, 0.0)


def mist(plan: MistPlan, inside: Inside, state: MistState, mono_ms: int) -> dict[str, Wish]:
    """What each mist relay of a space should do. Moves the water account to `mono_ms`."""
    step_h = min(mono_ms - state.last_ms, LONGEST_STEP_MS) / HOUR_MS
    state.last_ms = mono_ms
    value = inside.humidity.value
    if value is None:
        state.mode = Reason.NO_GOOD_READING
        state.owed_ms = dict.fromkeys(plan.relays, 0.0)
        return dict.fromkeys(plan.relays, Wish(False, Reason.NO_GOOD_READING))
    state.mode = _mist_mode(plan.band, value, state.mode)
    aim = humidity_aim(plan.band, inside.humidity.trusted, inside.humidity.error)
    rate = _mist_rate(plan, inside, state, step_h, aim)
    share = rate / (plan.litres_per_h * USEFUL_SHARE)
    wet = state.mode in (Reason.SATURATED, Reason.TOO_HUMID)
    wishes: dict[str, Wish] = {}
    for relay in plan.relays:
        owed = state.owed_ms.get(relay, 0.0) + share * step_h * HOUR_MS
        owed = 0.0 if wet else min(max(owed, -float(plan.pulse_ms)), float(plan.longest_ms))
        state.owed_ms[relay] = owed
        wishes[relay] = _mist_wish(plan, inside, state, relay, mono_ms, aim)
    return wishes


def _mist_wish(
    plan: MistPlan, inside: Inside, state: MistState, relay: str, mono_ms: int, aim: float
) -> Wish:
    owed = state.owed_ms[relay]
    if state.mode in (Reason.SATURATED, Reason.TOO_HUMID):
        return Wish(False, state.mode, None, inside.humidity.seqs, _mist_facts(plan, inside, aim, False))
    if owed < plan.pulse_ms:
        return Wish(False, Reason.IN_BAND if state.mode is Reason.HOLD_HUMID else Reason.WAITING_GAP)
    if mono_ms < state.gap_until_ms.get(relay, 0):
        return Wish(False, Reason.WAITING_GAP)
    return Wish(True, state.mode, int(owed), inside.humidity.seqs, _mist_facts(plan, inside, aim, True))


def _mist_facts(plan: MistPlan, inside: Inside, aim: float, dew: bool) -> Facts:
    value = inside.humidity.value
    assert value is not None
    low, high = plan.band.low, plan.band.high
    limit = high if value >= (high if high is not None else 101.0) else low
    facts: dict[str, float | int | str | bool | None] = {
        "value": round(value, 2),
        "limit": round(aim if limit is None else limit, 2),
        "aim": round(aim, 2),
        "band_low": low,
        "band_high": high,
        "held": inside.humidity.held,
    }
    if dew:
        dew_c = dew_point_c(inside.temperature_c, max(value, 1.0))
        facts["dew_point_c"] = round(dew_c, 2)
        facts["aim_dew_point_c"] = round(dew_point_c(inside.temperature_c, aim), 2)
    return facts


def mist_given(plan: MistPlan, state: MistState, relay: str, mono_ms: int, run_ms: int) -> None:
    """Takes a run that began at `mono_ms` off what is owed, whoever asked for it."""
    state.owed_ms[relay] = max(state.owed_ms.get(relay, 0.0) - run_ms, -float(plan.longest_ms))
    state.unseen_kg += plan.litres_per_h / len(plan.relays) * USEFUL_SHARE * run_ms / HOUR_MS
    state.gap_until_ms[relay] = mono_ms + run_ms + plan.gap_ms


def mist_due_ms(plan: MistPlan, state: MistState) -> int | None:
    """When a pulse that is owed may begin; None where none is owed."""
    due = [
        state.gap_until_ms.get(relay, 0)
        for relay in plan.relays
        if state.owed_ms.get(relay, 0.0) >= plan.pulse_ms
    ]
    return min(due, default=None)
