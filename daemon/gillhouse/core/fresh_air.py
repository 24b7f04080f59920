"""Fresh air: by CO2, by a floor of air, and to dry where outside air is drier.

CO2 near its ceiling buys one run, no longer than the fan's figures say is needed; a floor of fresh air is
owed as cubic metres and paid in the shortest runs. The intake is looked at first: where it would make things
worse, nothing runs and the reason says so.
"""

from dataclasses import dataclass
from math import inf

from gillhouse.core.air import humidity_ratio
from gillhouse.core.crops import Band
from gillhouse.core.demand import (
    HOUR_MS,
    LONGEST_STEP_MS,
    WET_NEAR_PCT,
    Inside,
    Wish,
    airing_dries,
    stays_wet,
    wet_from,
    wet_since,
)
from gillhouse.core.reasons import Reason
from gillhouse.core.ventilation import air_changes, flow, purge_h

LONGEST_RUN_MS = 600_000
"""One fresh-air run; after it the air is looked at again."""

PACE_MS = 600_000
"""Runs for CO2 should not begin more often: 12 switchings an hour keep a relay for years. Common practice, no
source."""

LEAST_DROP, MOST_DROP = 0.02, 0.2
"""A run brings CO2 down by no less and no more than these shares of its ceiling."""

SETTLE_MS = 90_000
"""After a run the CO2 sensor is given time to see it (lag of 45 to 120 s)."""

FLOOR_M3_PER_H_PER_KG = 0.05
"""Fresh air per kilogram of substrate while CO2 is measured, for a crop without a figure of its own: a third
of what a growers' handbook figure (1.4 m3/h per kg of standing mushrooms, quoted second hand) makes of a
fifth of the weight standing. CO2 leads; the floor only keeps the air from standing. An estimate."""

WET_MARGIN_K = 0.5
"""Intake air whose dew point is nearer than this to the room's temperature wets what it meets."""


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
    people_ppm: float | None = None
    """CO2 from which the air is harmful to people who can be inside; None: nobody can."""


@dataclass(slots=True)
class AirState:
    last_ms: int = 0
    owed_m3: float = 0.0
    wait_until_ms: int = 0
    runs: int = 0
    """Runs for CO2 in a row that did not bring it down: the next one is longer."""
    drop_ppm: float = 0.0
    """How far a run brings CO2 down: as little as keeps the fan from starting too often."""
    started_ms: int | None = None
    """The last run for CO2."""
    wet_since_ms: int | None = None
    """The air has been near or over its upper edge since then."""
    mode: Reason = Reason.STARTING


def co2_start(high: float, error: float) -> float:
    """CO2 at which a run begins, ppm: under the ceiling by the sensor's error and by what builds up."""
    return high - max(0.03 * high, error)


def floor_flow(
    fresh_air_ach: float, volume_m3: float, crop_kg: float, by_weight_m3_per_h: float = 0.0
) -> float:
    """Least fresh air, m3/h: by the kilograms of crop, never more than the crop table's air changes.

    `by_weight_m3_per_h` is what the crops' own figures come to together; 0: they have none.
    """
    cap = flow(fresh_air_ach, volume_m3)
    return min(cap, by_weight_m3_per_h or FLOOR_M3_PER_H_PER_KG * crop_kg) if crop_kg > 0.0 else cap


def fresh_air(plan: AirPlan, inside: Inside, state: AirState, mono_ms: int) -> Wish:
    """What the fresh-air fans of a space should do. Moves the air account to `mono_ms`."""
    step_h = min(mono_ms - state.last_ms, LONGEST_STEP_MS) / HOUR_MS
    state.last_ms = mono_ms
    blind = inside.co2.value is None
    floor = plan.blind_m3_per_h if blind else plan.floor_m3_per_h
    owed = state.owed_m3 + (floor - plan.leak_m3_per_h - inside.fan_m3_per_h) * step_h
    run_m3 = max(plan.fan_m3_per_h, 1.0) * plan.shortest_ms / HOUR_MS
    state.owed_m3 = float(min(max(owed, -floor), max(2 * run_m3, 0.0)))
    for rule in (_for_people, _by_co2, _by_floor, _by_wetness):
        wish = rule(plan, inside, state, mono_ms)
        if wish is not None:
            return wish
    state.mode = Reason.NO_GOOD_READING if blind else Reason.IN_BAND
    return Wish(False, state.mode, None, inside.co2.seqs)


def _for_people(plan: AirPlan, inside: Inside, state: AirState, mono_ms: int) -> Wish | None:
    """Air for people comes before the crop's: no rest, no look at the intake, held while it is needed."""
    value, limit = inside.co2.value, plan.people_ppm
    if value is None or limit is None or value < limit:
        return None
    state.mode = Reason.CO2_PEOPLE
    facts: dict[str, float | int | str | bool | None] = {"value": round(value, 1), "limit": limit}
    return Wish(True, Reason.CO2_PEOPLE, None, inside.co2.seqs, facts)


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
    run_ms, reached = _co2_run(plan, inside, value, start - _drop(state, start, mono_ms), state.runs)
    facts["at_capacity"] = not reached
    state.mode = Reason.CO2_HIGH if reached else Reason.AT_CAPACITY
    return Wish(True, Reason.CO2_HIGH, run_ms, inside.co2.seqs, facts)


def _drop(state: AirState, start: float, mono_ms: int) -> float:
    """How far under its start the next run should bring CO2, so that the one after it is not too soon."""
    least = max(LEAST_DROP * start, 20.0)
    drop = max(state.drop_ppm, least)
    if state.started_ms is None:
        return drop
    since_ms = mono_ms - state.started_ms
    if since_ms < PACE_MS:
        return min(drop * 1.2, MOST_DROP * start)
    return max(drop * 0.9, least) if since_ms > 1.2 * PACE_MS else drop


def _co2_run(plan: AirPlan, inside: Inside, value: float, stop: float, runs: int) -> tuple[int, bool]:
    """How long a run must be, and whether it can be expected to reach the level at all."""
    if plan.fan_m3_per_h <= 0.0:
        return min(plan.shortest_ms * (1 + runs), plan.longest_ms), runs < 5
    changes = air_changes(plan.fan_m3_per_h + plan.leak_m3_per_h, plan.volume_m3)
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
    """Dries with drier outside air, on a calibrated sensor only, and never while it is too cold already.

    What a pulse leaves behind goes by itself: only air that stays wet is dried, and no further than needed.
    """
    value, band = inside.humidity.value, plan.humidity
    if value is None or band is None or band.high is None or not inside.humidity.trusted:
        return None
    begin = wet_from(band, inside.humidity.error)
    is_wet = value > begin and not inside.humidity.held
    state.wet_since_ms = wet_since(state.wet_since_ms, is_wet, mono_ms)
    if not stays_wet(state.wet_since_ms, mono_ms) or not airing_dries(inside, value) or inside.cold:
        return None
    aim = begin - min(WET_NEAR_PCT, band.high - begin)
    ratio = humidity_ratio(inside.temperature_c, value)
    if mono_ms < state.wait_until_ms:
        return Wish(False, Reason.WAITING_GAP)
    state.mode = Reason.TOO_HUMID
    changes = air_changes(max(plan.fan_m3_per_h, 1.0) + plan.leak_m3_per_h, plan.volume_m3)
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
        if plan.band is not None and plan.band.high is not None:
            state.drop_ppm = _drop(state, plan.band.high, mono_ms)
        state.started_ms = mono_ms
        state.runs = min(state.runs + 1, 9)
