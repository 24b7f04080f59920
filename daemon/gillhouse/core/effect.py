"""Does the air answer to what was switched? Mist must raise humidity, a fan must move CO2; neither when off.

Nothing here decides or alarms: it looks at a few minutes of readings beside what was commanded, and says what
does not fit. Every bound is on the safe side of labels 40 % wrong and of a nozzle whose drops mostly fall, so
that a poor nozzle is none that does nothing. An open door explains everything, and for a while after.
All bounds are our choice, tried on the bench (`tests/bench/hold_the_room`).
"""

from dataclasses import dataclass, field
from enum import StrEnum
from math import exp, isinf

from gillhouse.core.air import AIR_KG_PER_M3
from gillhouse.core.answers import answer
from gillhouse.core.demand import HOUR_MS

KEPT_MS = 1_200_000
MIST_WINDOW_MS = 300_000
RISE_WINDOW_MS = 240_000
FAN_WINDOW_MS = 240_000
DOOR_MS = 600_000
"""An open door explains what is seen for so long afterwards."""
LAG_MS = 90_000
"""A reading is about this much behind the air."""
LEAST_USE = 0.25
"""Share of the label's water that reaches the air at the least: label 40 % high, half of it falling."""
MOST_LOSS = 1.5
"""A fan takes no more than this times its label."""
MISSING_RATIO = 0.001
"""So much water lacking in the air, kg/kg, is no noise: seven or eight points of humidity."""
UNASKED_RATIO = 0.0009
"""So much more water in four minutes with the mist off: about seven points."""
FULL_MS = 480_000
"""Air that is full for so long with the mist off, while drier air is outside."""
CLIMB_PCT = 5.0
"""... after it has climbed so far within four minutes."""
LEAST_FAN_SHARE = 0.3
"""Of the label's effect on CO2, what must at least be seen."""
RISE_PPM = 22.0
"""A rise of CO2 that is no noise."""
LAG_TAU_MS = 75_000
"""A fan is felt with about this lag, mixing and sensor together."""
SETTLES = 4
"""So many looks at the beginning are no part of a fit: how the fan ran before is not known there."""
SURE = 4.0
"""A share of the fan's label is too little when so many standard errors say so."""
SCATTER_PPM = 6.0
"""A fit is believed no better than this."""
LEAST_FALL_PPM = 45.0
"""A fall of CO2 that is no noise."""


class Misfit(StrEnum):
    """What does not fit."""

    MIST_NOTHING = "mist-without-effect"
    MIST_UNASKED = "mist-unasked"
    FAN_NOTHING = "fan-without-effect"
    FAN_UNASKED = "fan-unasked"


@dataclass(frozen=True, slots=True)
class EffectPlan:
    """Labels of a space."""

    volume_m3: float
    litres_per_h: float
    fan_m3_per_h: float
    leak_m3_per_h: float


@dataclass(frozen=True, slots=True)
class Look:
    """What is seen and what has been commanded, at a moment."""

    mono_ms: int
    ratio: float | None
    """Of the air, by its sensors; None where none steers."""
    humidity_pct: float
    """As steers; only its course counts, and only where there is a `ratio`."""
    full: bool
    """The humidity sensor is at its upper end."""
    dry: bool
    """Humidity is under its band: a cooler may take water out as fast as mist brings it, and all is well."""
    co2_ppm: float | None
    intake_ratio: float
    intake_ppm: float
    mist_ms: float
    """Time the mist has been commanded on, ever..."""
    fan_ms: float
    """... and the fan."""
    door_open: bool | None


@dataclass(slots=True)
class EffectState:
    looks: list[Look] = field(default_factory=list)
    """Of the last minutes, oldest first."""
    door_ms: int | None = None
    """When a door was last seen open."""
    full_from_ms: int | None = None


@dataclass(slots=True)
class Account:
    """What is kept of a space: what was commanded, what was seen, and what did not fit at the last look."""

    at_ms: int = 0
    """Counted up to here."""
    mist_on: float = 0.0
    """Share of the nozzles commanded on since..."""
    fan_on: float = 0.0
    """... and of the fans' flow."""
    mist_ms: float = 0.0
    """Commanded on so far, of all nozzles together..."""
    fan_ms: float = 0.0
    """... and of all fans."""
    seen: EffectState = field(default_factory=EffectState)
    found: dict[Misfit, bool | None] = field(default_factory=dict)


@dataclass(slots=True)
class Accounts:
    """Of all spaces."""

    looked_ms: int = 0
    """Monotonic time of the last look."""
    spaces: dict[str, Account] = field(default_factory=dict)


def count(account: Account, mono_ms: int, mist_on: float, fan_on: float) -> None:
    """Books the time since the last call with what was on then; notes what is on from now."""
    elapsed_ms = max(mono_ms - account.at_ms, 0)
    account.mist_ms += account.mist_on * elapsed_ms
    account.fan_ms += account.fan_on * elapsed_ms
    account.at_ms, account.mist_on, account.fan_on = mono_ms, mist_on, fan_on


def misfits(plan: EffectPlan, state: EffectState, look: Look) -> dict[Misfit, bool | None]:
    """Takes in a look, at least two a minute. Returns whether each misfit is seen; None: cannot say."""
    looks, now = state.looks, look.mono_ms
    looks.append(look)
    while looks[0].mono_ms < now - KEPT_MS:
        looks.pop(0)
    if look.door_open:
        state.door_ms = now
    if state.door_ms is not None and now - state.door_ms < DOOR_MS:
        return dict.fromkeys(Misfit, None)
    return {
        Misfit.MIST_NOTHING: _mist_nothing(plan, state, look),
        Misfit.MIST_UNASKED: _mist_unasked(state, look),
        Misfit.FAN_NOTHING: _either(_fan_nothing(plan, state, look), _fan_unfelt(plan, state)),
        Misfit.FAN_UNASKED: _fan_unasked(plan, state, look),
    }


def _since(state: EffectState, window_ms: int) -> Look | None:
    """The youngest look at least `window_ms` old; None before there is one."""
    at_ms = state.looks[-1].mono_ms - window_ms
    old = [look for look in state.looks if look.mono_ms <= at_ms]
    return old[-1] if old else None


def _mist_nothing(plan: EffectPlan, state: EffectState, now: Look) -> bool | None:
    then = _since(state, MIST_WINDOW_MS)
    if then is None or then.ratio is None or now.ratio is None or now.full:
        return None
    if not now.dry:
        return False
    air_kg = plan.volume_m3 * AIR_KG_PER_M3
    # What was sprayed within the lag does not show yet, and what was just before the window shows in it.
    sprayed_ms = _at(state, now.mono_ms - LAG_MS).mist_ms - _at(state, then.mono_ms - LAG_MS).mist_ms
    given = LEAST_USE * plan.litres_per_h * sprayed_ms / HOUR_MS
    hours = (now.mono_ms - then.mono_ms) / HOUR_MS
    blown_m3 = plan.leak_m3_per_h * hours + plan.fan_m3_per_h * (now.fan_ms - then.fan_ms) / HOUR_MS
    drier = max((now.ratio + then.ratio) / 2 - now.intake_ratio, 0.0)
    lost = MOST_LOSS * blown_m3 * AIR_KG_PER_M3 * drier
    return (given - lost) / air_kg - (now.ratio - then.ratio) >= MISSING_RATIO


def _mist_unasked(state: EffectState, now: Look) -> bool | None:
    then = _since(state, RISE_WINDOW_MS)
    if then is None or then.ratio is None or now.ratio is None:
        return None
    quiet = now.mist_ms == _at(state, now.mono_ms - RISE_WINDOW_MS - LAG_MS).mist_ms
    drier = now.intake_ratio < 0.95 * now.ratio
    if not now.full or not drier or now.mist_ms != then.mist_ms:
        state.full_from_ms = None
    elif state.full_from_ms is None and not then.full and now.humidity_pct - then.humidity_pct >= CLIMB_PCT:
        # It climbed there: what was near it, or reads so from the first, is rather wet (see `findings`).
        state.full_from_ms = now.mono_ms
    full = state.full_from_ms is not None and now.mono_ms - state.full_from_ms >= FULL_MS - RISE_WINDOW_MS
    return (quiet and drier and now.ratio - then.ratio >= UNASKED_RATIO) or full


def _at(state: EffectState, mono_ms: int) -> Look:
    """The look in force at a moment; the oldest where none is so old."""
    old = [look for look in state.looks if look.mono_ms <= mono_ms]
    return old[-1] if old else state.looks[0]


def _co2(state: EffectState, mono_ms: int) -> float | None:
    """Mean of the last three readings up to a moment: one alone is off by its noise."""
    last = [look.co2_ppm for look in state.looks if look.mono_ms <= mono_ms and look.co2_ppm is not None]
    return sum(last[-3:]) / 3 if len(last) >= 3 else None


def _fan_nothing(plan: EffectPlan, state: EffectState, now: Look) -> bool | None:
    """The fan has run for long enough to be seen, and CO2 goes up all the same."""
    then = _since(state, FAN_WINDOW_MS)
    if then is None or now.co2_ppm is None or not plan.fan_m3_per_h:
        return None
    was_ppm, is_ppm = _co2(state, then.mono_ms), _co2(state, now.mono_ms)
    if was_ppm is None or is_ppm is None:
        return None
    before, after = _at(state, then.mono_ms - LAG_MS), _at(state, now.mono_ms - LAG_MS)
    changes = plan.fan_m3_per_h * (after.fan_ms - before.fan_ms) / HOUR_MS / plan.volume_m3
    least = LEAST_FAN_SHARE * changes * ((is_ppm + was_ppm) / 2 - now.intake_ppm)
    return least >= LEAST_FALL_PPM and is_ppm - was_ppm >= RISE_PPM


def _either(first: bool | None, second: bool | None) -> bool | None:
    """Whether any of two says so; None where neither can say."""
    return None if first is None and second is None else bool(first) or bool(second)


def _fan_unfelt(plan: EffectPlan, state: EffectState) -> bool | None:
    """CO2 goes its way whether the fan runs or not: seen once it has run, and stood, for some minutes."""
    if not plan.fan_m3_per_h:
        return None
    found = answer(*_fan_pulls(plan, state), SCATTER_PPM)
    return None if isinf(found.error) else found.share + SURE * found.error < LEAST_FAN_SHARE


def _fan_pulls(plan: EffectPlan, state: EffectState) -> tuple[list[float], list[float], list[float]]:
    """Hours, what the fan should have taken by its label (ppm, summed up), and CO2; since the door."""
    times: list[float] = []
    pulls: list[float] = []
    values: list[float] = []
    since_ms = 0 if state.door_ms is None else state.door_ms + LAG_MS
    looks = [look for look in state.looks if look.mono_ms >= since_ms]
    felt_ms = was_ms = looks[0].fan_ms if looks else 0.0
    before, pull = looks[0] if looks else None, 0.0
    for n, look in enumerate(looks):
        assert before is not None
        felt_ms += (1.0 - exp((before.mono_ms - look.mono_ms) / LAG_TAU_MS)) * (look.fan_ms - felt_ms)
        before = look
        if n < SETTLES or look.co2_ppm is None:
            was_ms = felt_ms
            continue
        changes = plan.fan_m3_per_h * (felt_ms - was_ms) / HOUR_MS / plan.volume_m3
        pull -= changes * (look.co2_ppm - look.intake_ppm)
        was_ms = felt_ms
        times.append(look.mono_ms / HOUR_MS)
        pulls.append(pull)
        values.append(look.co2_ppm)
    return times, pulls, values


def _fan_unasked(plan: EffectPlan, state: EffectState, now: Look) -> bool | None:
    then = _since(state, FAN_WINDOW_MS)
    if then is None or then.co2_ppm is None or now.co2_ppm is None or not plan.fan_m3_per_h:
        return None
    # A run is seen until two lags after its end: half of what it did, in a small tent with a strong fan.
    if now.fan_ms != _at(state, then.mono_ms - 2 * LAG_MS).fan_ms:
        return None
    over = (now.co2_ppm + then.co2_ppm) / 2 - now.intake_ppm
    hours = (now.mono_ms - then.mono_ms) / HOUR_MS
    by_leaks = 2.0 * plan.leak_m3_per_h / plan.volume_m3 * max(over, 0.0) * hours
    return then.co2_ppm - now.co2_ppm >= by_leaks + LEAST_FALL_PPM
