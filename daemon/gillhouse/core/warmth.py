"""Heat and cold: a share of time, paid in runs of at least the relay's shortest, never plain on and off.

An oversized heater that switches on and off is a disturbance to humidity (1 K is about 5 points at 18 C), so
heater and cooler are given the share of time they need, with a slow trim, and aim well apart. Air that stays
too wet while the air outside is no drier cannot be aired dry: there the heater's aim is raised, inside the
temperature band, for as long as it helps.
"""

from dataclasses import dataclass

from gillhouse.core.crops import Band
from gillhouse.core.demand import (
    HOUR_MS,
    LONGEST_STEP_MS,
    Inside,
    Wish,
    airing_dries,
    stays_wet,
    wet_from,
    wet_since,
)
from gillhouse.core.outputs import Facts
from gillhouse.core.reasons import Reason

DRY_UP_K_H, DRY_DOWN_K_H = 6.0, 1.5
"""How fast the aim rises while air is dried by warming it, and sinks again. By simulation (tests/bench), no
source: faster costs water, for what was dried too far is sprayed again."""

DRY_LEAD_K = 1.0
"""The aim runs ahead of the air by no more: a heater at full power would dry it too far."""

DRY_BACK_PCT = 2.0
"""The aim stays until the air is so far under where it counts as wet."""


@dataclass(frozen=True, slots=True)
class DutyPlan:
    """A heater or cooler: at which temperature it aims, and its shortest run."""

    aim_c: float
    cools: bool
    quantum_ms: int
    limit_c: float
    """The band's edge it guards, for the reason."""
    humidity: Band | None = None
    """Of a heater: air that stays over this band is dried by warming it..."""
    warmest_c: float = 0.0
    """... up to here."""


@dataclass(slots=True)
class DutyState:
    last_ms: int = 0
    owed_ms: float = 0.0
    trim: float = 0.0
    on: bool = False
    dry_c: float = 0.0
    """Where a heater aims to dry the air; not over its plan's aim: there is nothing to dry."""
    wet_since_ms: int | None = None
    """The air has been near or over its upper edge since then."""
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
    _aim_to_dry(plan, inside, state, step_ms, mono_ms)
    drying = state.dry_c > plan.aim_c
    aim_c = state.dry_c if drying else plan.aim_c
    lacking = (value - aim_c) if plan.cools else (aim_c - value)
    if not inside.temperature.held:
        state.trim = min(max(state.trim + lacking * 0.5 * step_ms / HOUR_MS, 0.0), 1.0)
    share = min(max(0.5 * lacking + state.trim, 0.0), 1.0) if lacking > -1.0 else 0.0
    owed = state.owed_ms + share * step_ms - (step_ms if state.on else 0)
    state.owed_ms = min(max(owed, -float(plan.quantum_ms)), 2.0 * plan.quantum_ms)
    state.on = share > 0.0 and state.owed_ms > (0.0 if state.on else plan.quantum_ms - 1.0)
    asks = Reason.TOO_HUMID if drying else Reason.TOO_WARM if plan.cools else Reason.TOO_COLD
    state.mode = asks if state.on or share > 0.0 else Reason.IN_BAND
    seqs = inside.humidity.seqs if drying else inside.temperature.seqs
    facts = _facts(plan, inside, aim_c, share, drying)
    return Wish(state.on, asks if state.on else Reason.IN_BAND, None, seqs, facts)


def _facts(plan: DutyPlan, inside: Inside, aim_c: float, share: float, drying: bool) -> Facts:
    temperature_c, humidity = inside.temperature.value, inside.humidity.value
    assert temperature_c is not None
    if drying and humidity is not None and plan.humidity is not None:
        return {
            "value": round(humidity, 2), "limit": plan.humidity.high,
            "temperature_c": round(temperature_c, 2),
            "aim_c": round(aim_c, 2), "duty": round(share, 3), "held": inside.humidity.held,
        }  # fmt: skip
    return {
        "value": round(temperature_c, 2), "limit": round(aim_c, 2), "edge": plan.limit_c,
        "duty": round(share, 3), "held": inside.temperature.held,
    }  # fmt: skip


def _aim_to_dry(plan: DutyPlan, inside: Inside, state: DutyState, step_ms: int, mono_ms: int) -> None:
    """Moves the temperature aimed at to dry the air. On a calibrated sensor only, as airing dry is."""
    value, band = inside.humidity.value, plan.humidity
    if value is None or band is None or band.high is None or not inside.humidity.trusted:
        state.dry_c, state.wet_since_ms = 0.0, None
        return
    begin = wet_from(band, inside.humidity.error)
    state.wet_since_ms = wet_since(state.wet_since_ms, value > begin, mono_ms)
    if stays_wet(state.wet_since_ms, mono_ms) and not airing_dries(inside, value):
        # Air that is already warm enough is warmed from where it stands.
        aim_c = max(state.dry_c, inside.temperature_c) + DRY_UP_K_H * step_ms / HOUR_MS
        state.dry_c = min(aim_c, inside.temperature_c + DRY_LEAD_K)
    elif value < begin - DRY_BACK_PCT:
        state.dry_c -= DRY_DOWN_K_H * step_ms / HOUR_MS
    state.dry_c = min(max(state.dry_c, 0.0), plan.warmest_c)
