"""What a space's air asks of its equipment: mist, fresh air, heat or cold. Bands in, wishes out.

Nothing here knows of dwell times, doors, tanks or shared pumps (see `interlock`), nor which sensor a value
came from. Each controller keeps a little state and is called whenever something is known anew:

* Mist. Water is counted, not percent: what the fresh air carries away (flow x difference of humidity ratio)
  plus what the air itself lacks of its aim (a dew-point error), plus a slow clamped trim for all that the
  labels get wrong. The sum is owed to the nozzle as time, and paid in pulses.
* Fresh air. CO2 near its ceiling buys one run, no longer than the fan's figures say is needed; a floor of
  fresh air is owed as cubic metres and paid in the shortest runs. Mist is never forbidden because a fan runs.
* Heat and cold. A share of time, paid in runs of at least the relay's shortest.
"""

from collections.abc import Sequence
from dataclasses import dataclass, field
from math import exp, inf
from typing import Protocol

from gillhouse.core.air import dew_point_c, humidity_ratio
from gillhouse.core.crops import Band
from gillhouse.core.outputs import Facts
from gillhouse.core.reasons import Reason
from gillhouse.core.ventilation import purge_h

HOUR_MS = 3_600_000
LONGEST_STEP_MS = 120_000
"""A controller that was not asked for longer than this counts no more than this."""

AIR_KG_PER_M3 = 1.19
"""Dry air in a cubic metre near 18 C and 90 % (1 / 0.840 m3/kg, ASHRAE 2017 ch. 1 eqn 26)."""

UNCALIBRATED_AIM_PCT = 93.0
"""A humidity sensor whose calibration is not in date steers no higher: 3 points of bias would wet caps."""

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

LONGEST_PULSE_MS = 120_000
"""No mist pulse is longer, whatever is owed. Common practice for a solenoid, no source."""

SHORTEST_RUN_MS = 60_000
"""Shortest fan run where the relay names none; shorter ones wear it and move little air."""

LONGEST_RUN_MS = 600_000
"""One fresh-air run; after it the air is looked at again."""

SETTLE_MS = 90_000
"""After a run the CO2 sensor is given time to see it (lag of 45 to 120 s)."""

FLOOR_M3_PER_H_PER_KG = 0.1
"""Fresh air per kilogram of substrate while CO2 is measured: a third of what a growers' handbook figure (1.4
m3/h per kg of standing mushrooms, quoted second hand) makes of a fifth of the weight standing. CO2 leads;
the floor only keeps the air from standing. An estimate."""

WET_MARGIN_K = 0.5
"""Intake air whose dew point is nearer than this to the room's temperature wets what it meets."""

FRESH_STEP_KG = 0.0005
"""Intake air must be drier by this humidity ratio before it is used to dry."""


class Known(Protocol):
    """What is believed of one quantity (see `estimate.Estimate`)."""

    @property
    def value(self) -> float | None: ...
    @property
    def held(self) -> bool: ...
    @property
    def trusted(self) -> bool: ...
    @property
    def error(self) -> float: ...
    @property
    def seqs(self) -> tuple[int, ...]: ...


@dataclass(slots=True)
class Inside:
    """The air of a space and what moves it, at one moment."""

    humidity: Known
    temperature: Known
    co2: Known
    temperature_c: float
    """Measured, or assumed where no sensor says so."""
    intake_c: float
    intake_ratio: float
    """Humidity ratio of the air the fan brings in, kg/kg."""
    intake_dew_c: float
    intake_co2_ppm: float
    fan_m3_per_h: float
    """Flow of the fans that are on now, leakage apart."""
    cold: bool = False
    """Under its temperature band, and colder outside."""


@dataclass(frozen=True, slots=True)
class Wish:
    """What a controller wants of its relays now."""

    on: bool
    reason: Reason
    run_ms: int | None = None
    """A run of this length; None: hold as long as it is wished."""
    causes: tuple[int, ...] = ()
    facts: Facts = field(default_factory=dict)


# --- mist ----------------------------------------------------------------------------------------------


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


def humidity_aim(band: Band, trusted: bool, error: float) -> float:
    """The humidity to steer at, percent: the band's target or middle, kept off the edges by the error."""
    low = band.low if band.low is not None else 0.0
    high = band.high if band.high is not None else 100.0
    aim = band.target if band.target is not None else (low + high) / 2
    margin = min(error, (high - low) / 2)
    aim = min(max(aim, low + margin), high - margin)
    return aim if trusted else min(aim, UNCALIBRATED_AIM_PCT)


def _mist_mode(band: Band, value: float, last: Reason) -> Reason:
    """Which story the humidity tells; one point of hysteresis keeps noise from telling two."""
    if value >= 100.0:
        return Reason.SATURATED
    if band.high is not None and value > band.high - (1.0 if last is Reason.TOO_HUMID else 0.0):
        return Reason.TOO_HUMID
    if band.low is not None and value < band.low + (1.0 if last is Reason.AIR_DRY else 0.0):
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
        owed = 0.0 if wet else min(max(owed, -plan.pulse_ms), plan.longest_ms)
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


# --- fresh air -----------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class AirPlan:
    """A space's fresh-air fans and what they work against."""

    fan_m3_per_h: float
    """Label flow of all of them together; 0 where no label says so."""
    shortest_ms: int
    longest_ms: int
    rest_ms: int
    volume_m3: float
    leak_m3_per_h: float
    floor_m3_per_h: float
    """Fresh air owed whatever CO2 says, with a CO2 reading..."""
    blind_m3_per_h: float
    """... and without one."""
    band: Band | None
    humidity: Band | None


@dataclass(slots=True)
class AirState:
    last_ms: int = 0
    owed_m3: float = 0.0
    wait_until_ms: int = 0
    runs: int = 0
    """Runs for CO2 in a row that did not bring it down: the next one is longer."""
    mode: Reason = Reason.STARTING


def co2_start(high: float, error: float) -> float:
    """CO2 at which a run begins, ppm: under the ceiling by the sensor's error and by what builds up."""
    return high - max(0.05 * high, error, 40.0)


def floor_flow(fresh_air_ach: float, volume_m3: float, crop_kg: float) -> float:
    """Least fresh air, m3/h: by the kilograms of crop, never more than the crop table's air changes."""
    cap = fresh_air_ach * volume_m3
    return min(cap, FLOOR_M3_PER_H_PER_KG * crop_kg) if crop_kg > 0.0 else cap


def fresh_air(plan: AirPlan, inside: Inside, state: AirState, mono_ms: int) -> Wish:
    """What the fresh-air fans of a space should do. Moves the air account to `mono_ms`."""
    step_h = min(mono_ms - state.last_ms, LONGEST_STEP_MS) / HOUR_MS
    state.last_ms = mono_ms
    blind = inside.co2.value is None
    floor = plan.blind_m3_per_h if blind else plan.floor_m3_per_h
    owed = state.owed_m3 + (floor - plan.leak_m3_per_h - inside.fan_m3_per_h) * step_h
    run_m3 = max(plan.fan_m3_per_h, 1.0) * plan.shortest_ms / HOUR_MS
    state.owed_m3 = min(max(owed, -floor), max(2 * run_m3, 0.0))
    for rule in (_by_co2, _by_floor, _by_wetness):
        wish = rule(plan, inside, state, mono_ms)
        if wish is not None:
            return wish
    state.mode = Reason.NO_GOOD_READING if blind else Reason.IN_BAND
    return Wish(False, state.mode, None, inside.co2.seqs)


def _by_co2(plan: AirPlan, inside: Inside, state: AirState, mono_ms: int) -> Wish | None:
    value, high = inside.co2.value, plan.band.high if plan.band else None
    if value is None or high is None:
        return None
    start = co2_start(high, inside.co2.error)
    if value < start:
        state.runs = 0
        return None
    facts: dict[str, float | int | str | bool | None] = {
        "value": round(value, 1),
        "limit": high,
        "start": round(start, 1),
        "band_high": high,
        "intake_ppm": round(inside.intake_co2_ppm, 1),
        "held": inside.co2.held,
    }
    if inside.intake_co2_ppm > value - 30.0:
        state.mode = Reason.OUTSIDE_WORSE
        return Wish(False, Reason.OUTSIDE_WORSE, None, inside.co2.seqs, facts)
    if mono_ms < state.wait_until_ms:
        return Wish(False, Reason.WAITING_GAP, None, inside.co2.seqs)
    run_ms, reached = _co2_run(plan, inside, value, start, state.runs)
    facts["at_capacity"] = not reached
    state.mode = Reason.CO2_HIGH if reached else Reason.AT_CAPACITY
    return Wish(True, Reason.CO2_HIGH, run_ms, inside.co2.seqs, facts)


def _co2_run(plan: AirPlan, inside: Inside, value: float, start: float, runs: int) -> tuple[int, bool]:
    """How long a run must be, and whether it can be expected to reach the level at all."""
    if plan.fan_m3_per_h <= 0.0:
        return min(plan.shortest_ms * (1 + runs), plan.longest_ms), runs < 5
    stop = start - max(0.02 * start, 20.0)
    changes = (plan.fan_m3_per_h + plan.leak_m3_per_h) / plan.volume_m3
    hours = purge_h(value, stop, inside.intake_co2_ppm, changes)
    if hours == inf:
        return plan.longest_ms, False
    wanted = hours * HOUR_MS * (1 + runs)
    return int(min(max(wanted, plan.shortest_ms), plan.longest_ms)), wanted <= 3 * plan.longest_ms


def _by_floor(plan: AirPlan, inside: Inside, state: AirState, mono_ms: int) -> Wish | None:
    run_m3 = max(plan.fan_m3_per_h, 1.0) * plan.shortest_ms / HOUR_MS
    if state.owed_m3 < run_m3:
        return None
    facts: dict[str, float | int | str | bool | None] = {
        "limit": round(plan.blind_m3_per_h / plan.volume_m3, 2),
        "owed_m3": round(state.owed_m3, 2),
        "intake_c": round(inside.intake_c, 1),
        "intake_dew_c": round(inside.intake_dew_c, 1),
    }
    if inside.intake_dew_c > inside.temperature_c - WET_MARGIN_K and inside.co2.value is not None:
        state.mode = Reason.OUTSIDE_WORSE
        return Wish(False, Reason.OUTSIDE_WORSE, None, inside.co2.seqs, facts)
    if mono_ms < state.wait_until_ms:
        return Wish(False, Reason.WAITING_GAP)
    state.mode = Reason.FRESH_AIR_FLOOR
    return Wish(True, Reason.FRESH_AIR_FLOOR, plan.shortest_ms, inside.co2.seqs, facts)


def _by_wetness(plan: AirPlan, inside: Inside, state: AirState, mono_ms: int) -> Wish | None:
    """Dries with drier outside air, on a calibrated sensor only, and never while it is too cold already."""
    value, band = inside.humidity.value, plan.humidity
    if value is None or band is None or band.high is None or not inside.humidity.trusted:
        return None
    aim = humidity_aim(band, True, inside.humidity.error)
    if inside.humidity.held or value <= aim + 0.5 * (band.high - aim):
        return None
    ratio = humidity_ratio(inside.temperature_c, value)
    if inside.intake_ratio > ratio - FRESH_STEP_KG or inside.cold:
        return None
    if mono_ms < state.wait_until_ms:
        return Wish(False, Reason.WAITING_GAP)
    state.mode = Reason.TOO_HUMID
    changes = (max(plan.fan_m3_per_h, 1.0) + plan.leak_m3_per_h) / plan.volume_m3
    hours = purge_h(ratio, humidity_ratio(inside.temperature_c, aim), inside.intake_ratio, changes)
    run_ms = plan.longest_ms if hours == inf else int(hours * HOUR_MS)
    facts = {"value": round(value, 2), "limit": band.high, "aim": round(aim, 2), "band_high": band.high}
    run_ms = min(max(run_ms, plan.shortest_ms), plan.longest_ms)
    return Wish(True, Reason.TOO_HUMID, run_ms, inside.humidity.seqs, facts)


def air_given(plan: AirPlan, state: AirState, reason: Reason, mono_ms: int, run_ms: int) -> None:
    """Notes that a run has begun, so that the next one waits until its effect can be seen."""
    hurry = reason is Reason.CO2_HIGH and state.mode is Reason.AT_CAPACITY
    state.wait_until_ms = mono_ms + run_ms + max(plan.rest_ms, 0 if hurry else SETTLE_MS)
    if reason is Reason.CO2_HIGH:
        state.runs = min(state.runs + 1, 9)


# --- heat and cold -------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class DutyPlan:
    """A heater or cooler: at which temperature it aims, and its shortest run."""

    aim_c: float
    cools: bool
    quantum_ms: int
    limit_c: float
    """The band's edge it guards, for the reason."""


@dataclass(slots=True)
class DutyState:
    last_ms: int = 0
    owed_ms: float = 0.0
    trim: float = 0.0
    on: bool = False
    mode: Reason = Reason.STARTING


def temperature_aims(band: Band) -> tuple[float, float] | None:
    """Where the heater and the cooler aim, C: inside the band's edges, well apart. None without a band."""
    low = band.low if band.low is not None else (band.target - 2.0 if band.target is not None else None)
    high = band.high if band.high is not None else (band.target + 2.0 if band.target is not None else None)
    if low is None and high is None:
        return None
    low = high - 6.0 if low is None and high is not None else low
    high = low + 6.0 if high is None and low is not None else high
    assert low is not None
    assert high is not None
    inset = min(1.0, (high - low) / 4)
    return low + inset, high - inset


def duty(plan: DutyPlan, inside: Inside, state: DutyState, mono_ms: int) -> Wish:
    """Whether a heater or cooler should be on. Moves the account of owed time to `mono_ms`."""
    step_ms = min(mono_ms - state.last_ms, LONGEST_STEP_MS)
    state.last_ms = mono_ms
    value = inside.temperature.value
    if value is None:
        state.owed_ms, state.on, state.mode = 0.0, False, Reason.NO_GOOD_READING
        return Wish(False, Reason.NO_GOOD_READING)
    lacking = (value - plan.aim_c) if plan.cools else (plan.aim_c - value)
    if not inside.temperature.held:
        state.trim = min(max(state.trim + lacking * 0.5 * step_ms / HOUR_MS, 0.0), 1.0)
    share = min(max(0.5 * lacking + state.trim, 0.0), 1.0) if lacking > -1.0 else 0.0
    owed = state.owed_ms + share * step_ms - (step_ms if state.on else 0)
    state.owed_ms = min(max(owed, -plan.quantum_ms), 2.0 * plan.quantum_ms)
    state.on = share > 0.0 and state.owed_ms > (0.0 if state.on else plan.quantum_ms - 1.0)
    asks = Reason.TOO_WARM if plan.cools else Reason.TOO_COLD
    state.mode = asks if state.on or share > 0.0 else Reason.IN_BAND
    facts = {
        "value": round(value, 2), "limit": round(plan.aim_c, 2), "edge": plan.limit_c,
        "duty": round(share, 3), "held": inside.temperature.held,
    }
    return Wish(state.on, asks if state.on else Reason.IN_BAND, None, inside.temperature.seqs, facts)


def earliest(moments: Sequence[int | None]) -> int | None:
    """The soonest of some moments, None among them meaning never."""
    return min((moment for moment in moments if moment is not None), default=None)
