"""Mist: water is counted, not percent.

The air's water is followed as it is now, not as its sensor shows it late (`moisture`). A pulse brings it so
far over its aim that, with what fans and leaks will carry off (flow x difference of humidity ratio) and with
what drifts in or out, it is at its aim in the middle of the time to the next one. While the air is in its
band pulses keep a pace that a valve survives for years; where it is under it, or soon will be, they come as
fast as the equipment may. Mist is never held back merely because a fan runs.
"""

from dataclasses import dataclass, field

from gillhouse.core.air import AIR_KG_PER_M3, dew_point_c, humidity_ratio
from gillhouse.core.crops import Band
from gillhouse.core.demand import HOUR_MS, LONGEST_STEP_MS, Inside, Wish, humidity_aim
from gillhouse.core.film import Film, dry, fallen, is_wet
from gillhouse.core.moisture import Exchange, Moisture, carry, correct, forget, poured
from gillhouse.core.outputs import Facts
from gillhouse.core.reasons import Reason

ASSUMED_LITRES_PER_H = 6.0
"""Of a mist relay without a label. Common practice, no source."""

DRIFT_MOST = 0.3
"""Drift is believed up to this share of what the nozzle sprays, either way."""

PACE_MS = 240_000
"""While humidity is in its band pulses begin this far apart: 15 an hour keep a valve for years. Common
practice, no source."""

OPEN_PACE_MS = 120_000
"""The same where wind changes the air within minutes."""

SWING_PCT = 2.0
SWING_LEAST_PCT, SWING_MOST_PCT = 1.5, 5.0
SWING_UP_PCT_H, SWING_DOWN_PCT_H = 40.0, 0.1
"""The aim rises while the air is under its band and sinks while it is in it, so slowly that the two are in
balance where the air is under it for a quarter of a percent of the time. By simulation (tests/bench), no
source."""

DRIFT_LASTS_MS = 30_000
"""What drifts in or out now is taken to go on for so long: a cooler's coil, a gust may end soon."""

PEAK_PCT, OPEN_PEAK_PCT = 1.5, 1.0
"""A pulse ends so far under the upper edge."""

COOLING_K = 900.0
"""By so much a kilogram of vanished drops per kilogram of air cools it at once: 2.45 MJ/kg over 1006 J/kgK,
and the shelves' own warmth, taken as 1.7 times the air's (an invented range is 1 to 4)."""

SATURATION_PER_K = 0.064
"""Saturated air holds so much more per kelvin (ASHRAE 2017 ch. 1, saturation pressure near 16 C)."""

PULSE_PASSES_MS = 10_000
"""What fans and leaks carry off in so long makes room for the pulse."""

OPEN_PASSES_MS = 30_000
"""The same where wind carries it off. By simulation (tests/bench), no source."""

AHEAD_MS = 90_000
"""The air is looked at so far ahead: what will be under its band by then is urgent now."""

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
    crop_kg: float = 0.0
    open_air: bool = False
    """Wind dries and wets it as it likes: wet caps hold no mist back."""
    pace_ms: int = PACE_MS
    drift_lasts_ms: int = DRIFT_LASTS_MS
    passes_ms: int = PULSE_PASSES_MS
    peak_pct: float = PEAK_PCT


@dataclass(slots=True)
class MistState:
    air: Moisture = field(default_factory=Moisture)
    film: Film = field(default_factory=Film)
    wanted_ms: int = 0
    """The pulse that is wanted now; under the shortest, none is."""
    urgent: bool = False
    """The air is under its band, or soon will be."""
    gap_until_ms: dict[str, int] = field(default_factory=dict)
    """By relay: no pulse before this..."""
    pace_until_ms: dict[str, int] = field(default_factory=dict)
    """... nor before this, while nothing is urgent."""
    swing_pct: float = SWING_PCT
    """How far the aim keeps over the lower edge: learnt from how long the air falls under it."""
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


def _follow(plan: MistPlan, inside: Inside, state: MistState, mono_ms: int) -> None:
    """Carries what is believed of the air to `mono_ms`, and takes in a reading that is new."""
    air, humidity = state.air, inside.humidity
    elapsed_h = min(max(mono_ms - air.at_ms, 0), LONGEST_STEP_MS) / HOUR_MS
    if mono_ms - air.at_ms > LONGEST_STEP_MS:
        air.at_ms = mono_ms - LONGEST_STEP_MS
    exchange = Exchange(plan.volume_m3, plan.leak_m3_per_h, inside.fan_m3_per_h, inside.intake_ratio)
    carry(air, exchange, mono_ms)
    if air.ratio is not None and plan.band.low is not None:
        is_dry = air.ratio < humidity_ratio(inside.temperature_c, plan.band.low)
        swing = state.swing_pct + (SWING_UP_PCT_H if is_dry else -SWING_DOWN_PCT_H) * elapsed_h
        state.swing_pct = min(max(swing, SWING_LEAST_PCT), SWING_MOST_PCT)
    if humidity.value is None:
        forget(air)
    elif air.ratio is None or (not humidity.held and humidity.mono_ms > air.read_ms):
        seen = humidity_ratio(inside.temperature_c, humidity.value)
        correct(air, plan.volume_m3, seen, humidity.mono_ms, DRIFT_MOST * plan.litres_per_h)


def _look_ahead(plan: MistPlan, inside: Inside, state: MistState, aim: float) -> None:
    """Works out the pulse that is wanted, and whether it is urgent."""
    air = state.air
    assert air.ratio is not None
    air_kg = plan.volume_m3 * AIR_KG_PER_M3
    aim_ratio = humidity_ratio(inside.temperature_c, aim)
    per_m3 = AIR_KG_PER_M3 * (inside.intake_ratio - air.ratio)
    leak_kg_h = plan.leak_m3_per_h * per_m3
    fan_kg_h = air.fan.value * inside.fan_m3_per_h * per_m3
    useful_kg_h = air.useful.value * plan.litres_per_h

    def gain_kg(ahead_ms: int) -> float:
        by_drift = air.drift_kg_h * min(ahead_ms, plan.drift_lasts_ms)
        return (leak_kg_h * ahead_ms + fan_kg_h * min(ahead_ms, inside.fan_left_ms) + by_drift) / HOUR_MS

    # Drops cool the air they vanish in: for some minutes it is damper than its water alone would make it.
    now_pct = aim * air.ratio / aim_ratio
    high = plan.band.high if plan.band.high is not None else 100.0
    per_ratio = now_pct * (1.0 / air.ratio + COOLING_K * SATURATION_PER_K)
    room_kg = air_kg * max(high - plan.peak_pct - now_pct, 0.0) / per_ratio - gain_kg(plan.passes_ms)
    pouring_kg = max(air.pouring_until_ms - air.at_ms, 0) / HOUR_MS * air.pouring_kg_h * air.useful.value
    lacking_kg = air_kg * (aim_ratio - air.ratio) - pouring_kg - gain_kg(plan.pace_ms // 2)
    state.wanted_ms = int(min(lacking_kg, max(room_kg - pouring_kg, 0.0)) / useful_kg_h * HOUR_MS)
    floor = plan.band.low if plan.band.low is not None else aim - BACK_PCT
    soon = air.ratio + (pouring_kg + min(gain_kg(AHEAD_MS), 0.0)) / air_kg
    state.urgent = soon < humidity_ratio(inside.temperature_c, min(floor + BACK_PCT / 2, aim))


def mist(plan: MistPlan, inside: Inside, state: MistState, mono_ms: int) -> dict[str, Wish]:
    """What each mist relay of a space should do. Moves what is believed of the air to `mono_ms`."""
    _follow(plan, inside, state, mono_ms)
    value = inside.humidity.value
    if value is None:
        state.mode, state.wanted_ms, state.urgent = Reason.NO_GOOD_READING, 0, False
        return dict.fromkeys(plan.relays, Wish(False, Reason.NO_GOOD_READING))
    state.mode = _mist_mode(plan.band, value, state.mode)
    aim = humidity_aim(plan.band, inside.humidity.trusted, inside.humidity.error, state.swing_pct)
    assert state.air.ratio is not None
    dry(state.film, inside.temperature_c, state.air.ratio, mono_ms)
    if state.mode in (Reason.SATURATED, Reason.TOO_HUMID):
        state.wanted_ms, state.urgent = 0, False
        facts = _mist_facts(plan, inside, aim, False)
        return dict.fromkeys(plan.relays, Wish(False, state.mode, None, inside.humidity.seqs, facts))
    _look_ahead(plan, inside, state, aim)
    wet = is_wet(state.film) and inside.humidity.trusted and not plan.open_air
    if wet and state.mode is Reason.HOLD_HUMID:
        state.mode = Reason.CAPS_WET
    if wet and not state.urgent:
        facts = _mist_facts(plan, inside, aim, False)
        return dict.fromkeys(plan.relays, Wish(False, Reason.CAPS_WET, None, inside.humidity.seqs, facts))
    return {relay: _mist_wish(plan, inside, state, relay, mono_ms, aim) for relay in plan.relays}


def _mist_wish(  # six arguments: at every reading, so nothing is made to carry them
    plan: MistPlan, inside: Inside, state: MistState, relay: str, mono_ms: int, aim: float
) -> Wish:
    mode = Reason.HOLD_HUMID if state.mode is Reason.CAPS_WET else state.mode
    if state.wanted_ms < plan.pulse_ms:
        return Wish(False, Reason.IN_BAND if mode is Reason.HOLD_HUMID else Reason.WAITING_GAP)
    if mono_ms < _rested_ms(state, relay):
        return Wish(False, Reason.WAITING_GAP)
    run_ms = min(state.wanted_ms, plan.longest_ms)
    return Wish(True, mode, run_ms, inside.humidity.seqs, _mist_facts(plan, inside, aim, True))


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
    """Takes note of a run that began at `mono_ms`, whoever asked for it."""
    litres_per_h = plan.litres_per_h / len(plan.relays)
    poured(state.air, litres_per_h, mono_ms, run_ms)
    litres = litres_per_h * run_ms / HOUR_MS
    if litres > 0.0:
        air_takes_kg = plan.volume_m3 * AIR_KG_PER_M3 * state.film.air_takes
        fallen(state.film, litres, min(state.air.useful.value, air_takes_kg / litres), plan.crop_kg)
    state.gap_until_ms[relay] = mono_ms + run_ms + plan.gap_ms
    state.pace_until_ms[relay] = mono_ms + max(run_ms + plan.gap_ms, plan.pace_ms)


def _rested_ms(state: MistState, relay: str) -> int:
    """When the next pulse may begin."""
    rests = state.gap_until_ms if state.urgent else state.pace_until_ms
    return rests.get(relay, 0)


def mist_due_ms(plan: MistPlan, state: MistState) -> int | None:
    """When a pulse that is wanted may begin; None where none is wanted."""
    if state.wanted_ms < plan.pulse_ms:
        return None
    return min(_rested_ms(state, relay) for relay in plan.relays)
