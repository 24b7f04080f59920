"""Heat and cold: a share of time, paid in runs of at least the relay's shortest, never plain on and off.

An oversized heater that switches on and off is a disturbance to humidity (1 K is about 5 points at 18 C), so
heater and cooler are given the share of time they need, with a slow trim, and aim well apart.
"""

from dataclasses import dataclass

from gillhouse.core.crops import Band
from gillhouse.core.demand import HOUR_MS, LONGEST_STEP_MS, Inside, Wish
from gillhouse.core.reasons import Reason


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
    state.owed_ms = min(max(owed, -float(plan.quantum_ms)), 2.0 * plan.quantum_ms)
    state.on = share > 0.0 and state.owed_ms > (0.0 if state.on else plan.quantum_ms - 1.0)
    asks = Reason.TOO_WARM if plan.cools else Reason.TOO_COLD
    state.mode = asks if state.on or share > 0.0 else Reason.IN_BAND
    facts = {
        "value": round(value, 2), "limit": round(plan.aim_c, 2), "edge": plan.limit_c,
        "duty": round(share, 3), "held": inside.temperature.held,
    }
    return Wish(state.on, asks if state.on else Reason.IN_BAND, None, inside.temperature.seqs, facts)
