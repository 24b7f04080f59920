"""How much water the air of a space holds now, though its sensor shows it late.

A humidity sensor in a filter cap shows what the air was a minute or two ago. What went in and out since is
known in part: pulses given, air the fans moved. So the air is carried forward by what is known, the sensor
is carried along behind it, and each reading corrects both, and with them `drift_kg_h`: all that is not known
(drying floors, breathing crop, condensing coils, labels that lie). Nothing here decides.

The corrections are those of an observer with three equal poles (Luenberger, IEEE Trans. Military Electronics
8(2):74-80, 1964, for the principle, from memory; the gains are worked out in docs/explanation/control.md).
"""

from dataclasses import dataclass
from math import exp

HOUR_MS = 3_600_000

SENSOR_LAG_MS = 60_000
"""Of a capped humidity sensor: 20 to 120 s, an invented range around bare elements of 1 to 10 s (WMO CIMO figure
quoted by a German weather-service paper)."""

SETTLE_MS = 75_000
"""How soon an error of what is believed is mended: near the sensor's own lag, for faster would follow noise."""

LONGEST_GAP_MS = 60_000
"""A reading that comes after a longer pause corrects no more than one after this."""

AIR_KG_PER_M3 = 1.19
"""Dry air in a cubic metre near 18 C and 90 % (1 / 0.840 m3/kg, ASHRAE 2017 ch. 1 eqn 26)."""


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
    """What the nozzles give the air while a pulse runs..."""
    pouring_until_ms: int = 0
    """... which is until then."""


def poured(water: Moisture, kg_h: float, mono_ms: int, run_ms: int) -> None:
    """Takes note of a pulse that begins now; a second nozzle set may join one that runs."""
    running = water.pouring_until_ms > mono_ms
    water.pouring_kg_h = (water.pouring_kg_h if running else 0.0) + kg_h
    water.pouring_until_ms = max(mono_ms + run_ms, water.pouring_until_ms if running else 0)


def carry(water: Moisture, volume_m3: float, flow_m3_h: float, intake_ratio: float, mono_ms: int) -> None:
    """Moves the belief to `mono_ms`, by pulses, air exchange and drift.

    Args:
        flow_m3_h: all air that came in since the last call, leakage and fans together.
    """
    if water.ratio is None:
        water.at_ms = mono_ms
        return
    while water.at_ms < mono_ms:
        pours = water.at_ms < water.pouring_until_ms
        until = min(mono_ms, water.pouring_until_ms) if pours else mono_ms
        hours = (until - water.at_ms) / HOUR_MS
        source = water.drift_kg_h + (water.pouring_kg_h if pours else 0.0)
        before = water.ratio
        water.ratio = max(_mixed(before, volume_m3, flow_m3_h, intake_ratio, source, hours), 0.0)
        middle = (before + water.ratio) / 2
        water.shown = middle + (water.shown - middle) * exp(-(until - water.at_ms) / SENSOR_LAG_MS)
        water.at_ms = until


def _mixed(
    ratio: float, volume_m3: float, flow_m3_h: float, intake_ratio: float, source_kg_h: float, hours: float
) -> float:
    """Well-mixed air after `hours` of a steady flow and a steady source (mass balance, physics of mixing)."""
    if flow_m3_h <= 0.0:
        return ratio + source_kg_h * hours / (volume_m3 * AIR_KG_PER_M3)
    final = intake_ratio + source_kg_h / (flow_m3_h * AIR_KG_PER_M3)
    return final + (ratio - final) * exp(-flow_m3_h / volume_m3 * hours)


def correct(water: Moisture, volume_m3: float, seen: float, read_ms: int, most_kg_h: float) -> None:
    """Takes in a reading: `seen` is the ratio it shows, at `read_ms`, to which `carry` has been called.

    Args:
        most_kg_h: drift is believed no further than this, either way.
    """
    if water.ratio is None:
        water.ratio = water.shown = seen
        water.read_ms = read_ms
        return
    step_ms = min(max(read_ms - water.read_ms, 1), LONGEST_GAP_MS)
    water.read_ms = read_ms
    error = seen - water.shown
    left = 1.0 - exp(-step_ms / SETTLE_MS)
    fading = 1.0 - exp(-step_ms / SENSOR_LAG_MS)
    late = 1.0 - SENSOR_LAG_MS / step_ms * fading
    by_drift = left**3 / fading
    water.shown += (3 * left - fading) * error
    water.ratio = max(water.ratio + (3 * left**2 - late * by_drift) / fading * error, 0.0)
    drift = water.drift_kg_h + by_drift * error * volume_m3 * AIR_KG_PER_M3 / (step_ms / HOUR_MS)
    water.drift_kg_h = min(max(drift, -most_kg_h), most_kg_h)
