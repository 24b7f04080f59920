"""How much water the air of a space holds now, though its sensor shows it late.

A humidity sensor in a filter cap shows what the air was a minute or two ago. What went in and out since is
known in part: pulses given, air the fans moved. So the air is carried forward by what is known, the sensor
is carried along behind it, and each reading corrects both, and with them `drift_kg_h`: all that is not known
(drying floors, breathing crop, condensing coils, labels that lie). Nothing here decides.

The corrections are those of an observer with three equal poles (Luenberger, IEEE Trans. Military Electronics
8(2):74-80, 1964, for the principle, from memory; the gains are worked out in docs/reference/control.md).
"""

from dataclasses import dataclass, field
from math import exp

from gillhouse.core.air import AIR_KG_PER_M3

HOUR_MS = 3_600_000

SENSOR_LAG_MS = 60_000
"""Of a capped humidity sensor: 20 to 120 s, an invented range around bare elements of 1 to 10 s (WMO CIMO
figure quoted by a German weather-service paper)."""

SETTLE_MS = 75_000
"""How soon an error of what is believed is mended: near the sensor's own lag: faster would follow noise."""

LONGEST_GAP_MS = 60_000
"""A reading that comes after a longer pause corrects no more than one after this."""


USEFUL_SHARE = 0.6
"""Share of a nozzle's water that stays in the air, before it is learnt. Cheap low-pressure nozzles in damp
air: about half. Common practice, no source."""

USEFUL_LEAST, USEFUL_MOST = 0.2, 1.2
FAN_LEAST, FAN_MOST = 0.5, 1.5
"""What is learnt of nozzle and fan stays within these: labels are off by up to 40 %."""

LEARN_SHARE = 0.01
"""So much of a reading's surprise is taken as the nozzle's or the fan's, where it could be theirs at all."""

LEAST_RATIO = 1e-5
"""Air is never believed drier."""

NOISE_RATIO = 5e-5
"""What a reading may be off by with nothing to learn from it: half a percent of humidity near 16 C."""


@dataclass(slots=True)
class Factor:
    """One figure that labels tell wrong, learnt from the readings' surprises.

    `on_ratio`, `on_shown` and `on_drift` say by how much each of these would be another for another value:
    the recursive prediction error method (L. Ljung, System Identification, ch. 11, from memory).
    """

    value: float
    on_ratio: float = 0.0
    on_shown: float = 0.0
    on_drift: float = 0.0


@dataclass(slots=True)
class Moisture:
    """What is believed of a space's air. Ratios in kg water per kg dry air, times monotonic milliseconds."""

    ratio: float | None = None
    """Of the air now; None before the first reading."""
    shown: float = 0.0
    """What the sensor shows of it."""
    drift_kg_h: float = 0.0
    """Water that comes (or, below 0, goes) in ways nobody told us of."""
    at_ms: int = 0
    """Carried forward up to here."""
    read_ms: int = 0
    """Time of the last reading in it."""
    pouring_kg_h: float = 0.0
    """What the nozzles spray while a pulse runs..."""
    pouring_until_ms: int = 0
    """... which is until then."""
    useful: Factor = field(default_factory=lambda: Factor(USEFUL_SHARE))
    """Share of the spray that becomes vapour."""
    fan: Factor = field(default_factory=lambda: Factor(1.0))
    """True fan flow over its label."""


@dataclass(slots=True)
class Exchange:
    """The air that came in since the last call."""

    volume_m3: float
    leak_m3_h: float
    fan_m3_h: float
    """By label."""
    intake_ratio: float


def poured(water: Moisture, kg_h: float, mono_ms: int, run_ms: int) -> None:
    """Takes note of a pulse that begins now; a second nozzle set may join one that runs."""
    running = water.pouring_until_ms > mono_ms
    water.pouring_kg_h = (water.pouring_kg_h if running else 0.0) + kg_h
    water.pouring_until_ms = max(mono_ms + run_ms, water.pouring_until_ms if running else 0)


def carry(water: Moisture, air: Exchange, mono_ms: int) -> None:
    """Moves the belief to `mono_ms`, by pulses, air exchange and drift."""
    while water.ratio is not None and water.at_ms < mono_ms:
        pours = water.at_ms < water.pouring_until_ms
        until = min(mono_ms, water.pouring_until_ms) if pours else mono_ms
        _step(water, air, water.pouring_kg_h if pours else 0.0, until - water.at_ms)
        water.at_ms = until
    water.at_ms = mono_ms


def _step(water: Moisture, air: Exchange, spray_kg_h: float, step_ms: int) -> None:
    """One stretch of steady flow and steady source: well-mixed air, and a sensor of first order behind it."""
    assert water.ratio is not None
    hours = step_ms / HOUR_MS
    air_kg = air.volume_m3 * AIR_KG_PER_M3
    changes = max(air.leak_m3_h + water.fan.value * air.fan_m3_h, 1e-3) / air.volume_m3
    mixing = exp(-changes * hours)
    source = (water.drift_kg_h + spray_kg_h * water.useful.value) / air_kg
    before, final = water.ratio, air.intake_ratio + source / changes
    water.ratio = max(final + (before - final) * mixing, LEAST_RATIO)
    water.shown = _behind(water.shown, before, water.ratio, step_ms)
    middle = (before + water.ratio) / 2
    pushes = (
        (water.useful, spray_kg_h / air_kg),
        (water.fan, air.fan_m3_h / air.volume_m3 * (air.intake_ratio - middle)),
    )
    for factor, push in pushes:
        old = factor.on_ratio
        factor.on_ratio = old * mixing + (push + factor.on_drift / air_kg) * hours
        factor.on_shown = _behind(factor.on_shown, old, factor.on_ratio, step_ms)


def _behind(shown: float, before: float, after: float, step_ms: int) -> float:
    """Where a sensor of first order stands after what it measures went straight from `before` to `after`."""
    distance = (after - before) * SENSOR_LAG_MS / step_ms
    return after - distance + (shown - before + distance) * exp(-step_ms / SENSOR_LAG_MS)


def correct(water: Moisture, volume_m3: float, seen: float, read_ms: int, most_kg_h: float) -> None:
    """Takes in a reading: `seen` is the ratio it shows, at `read_ms`, to which `carry` has been called.

    Args:
        most_kg_h: drift is believed no further than this, either way.
    """
    if water.ratio is None:
        water.ratio = water.shown = max(seen, LEAST_RATIO)
        water.read_ms = read_ms
        return
    step_ms = min(max(read_ms - water.read_ms, 1), LONGEST_GAP_MS)
    water.read_ms = read_ms
    left = 1.0 - exp(-step_ms / SETTLE_MS)
    fading = 1.0 - exp(-step_ms / SENSOR_LAG_MS)
    late = 1.0 - SENSOR_LAG_MS / step_ms * fading
    by_drift = left**3 / fading
    to_shown = 1.0 - (1.0 - left) ** 3 / (1.0 - fading)
    to_ratio = (3 * left**2 - late * by_drift) / fading - by_drift
    to_drift = by_drift * volume_m3 * AIR_KG_PER_M3 / (step_ms / HOUR_MS)
    error = seen - water.shown
    water.shown += to_shown * error
    water.ratio = max(water.ratio + to_ratio * error, LEAST_RATIO)
    water.drift_kg_h = min(max(water.drift_kg_h + to_drift * error, -most_kg_h), most_kg_h)
    for factor, least, most in ((water.useful, USEFUL_LEAST, USEFUL_MOST), (water.fan, FAN_LEAST, FAN_MOST)):
        mine = factor.on_shown
        learnt = LEARN_SHARE * mine * error / (mine * mine + NOISE_RATIO**2)
        factor.value = min(max(factor.value + learnt, least), most)
        factor.on_shown -= to_shown * mine
        factor.on_ratio -= to_ratio * mine
        factor.on_drift -= to_drift * mine


def forget(water: Moisture) -> None:
    """No reading steers any more: the air is not known. What was learnt of nozzle and fan stays."""
    water.ratio, water.drift_kg_h = None, 0.0
    for factor in (water.useful, water.fan):
        factor.on_ratio = factor.on_shown = factor.on_drift = 0.0
