"""Figures of merit, always from the true state of the model and never from a sensor.

Counted step by step while the night runs, so nothing is sampled away. Time inside the faults put in on
purpose (and the recovery after each) is kept apart: the share of time in band is of the rest. What ran
before the night begins (the daemon comes up a little earlier) is in none of the figures.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field

from gillhouse.core.crops import Band
from gillhouse.core.quantities import Quantity
from gillhouse.core.settings import SpaceSettings
from gillhouse.sim.room import Room

WET_G_M2 = 20.0
"""A cap counts as wet over this much free water [threshold invented, inside 10 to 30]."""


@dataclass(frozen=True, slots=True)
class Fault:
    """Something that goes wrong on purpose, in one space."""

    space: str
    what: str
    from_ms: int
    to_ms: int
    """Of its end and of what the space is given to recover, trial milliseconds."""

    def holds(self, space: str, at_ms: int) -> bool:
        return self.space == space and self.from_ms <= at_ms < self.to_ms


def _inside(band: Band | None, value: float) -> bool:
    if band is None:
        return True
    return (band.low is None or value >= band.low) and (band.high is None or value <= band.high)


@dataclass(slots=True)
class Score:
    """One space's night, in true figures."""

    space: SpaceSettings
    faults: tuple[Fault, ...] = ()
    from_ms: int = 0
    """The night begins here, trial milliseconds."""
    bands: Mapping[Quantity, Band] = field(default_factory=dict)
    """What the space is held for just now: the farm file's, until a batch says otherwise."""
    sprayed_before_kg: float = 0.0
    drained_before_kg: float = 0.0
    counted_s: float = 0.0
    fault_s: float = 0.0
    humidity_s: float = 0.0
    co2_s: float = 0.0
    temperature_s: float = 0.0
    joint_s: float = 0.0
    """Humidity and CO2 both in band."""
    joint_with_faults_s: float = 0.0
    too_dry_s: float = 0.0
    too_humid_s: float = 0.0
    dry_pct_h: float = 0.0
    """Integral of what humidity lacks below its band."""
    wet_cap_s: float = 0.0
    lowest_pct: float = 100.0
    highest_ppm: float = 0.0
    switchings: dict[str, int] = field(default_factory=dict)
    """Changes of each relay: a run, on and off again, is two."""

    def __post_init__(self) -> None:
        self.bands = self.bands or self.space.bands

    def switched(self, relay: str, at_ms: int) -> None:
        """A relay went on or off."""
        if at_ms >= self.from_ms:
            self.switchings[relay] = self.switchings.get(relay, 0) + 1

    def count(self, room: Room, at_ms: int, seconds: float) -> None:
        """Takes in the step of `seconds` that ended at `at_ms`."""
        if at_ms <= self.from_ms:
            self.sprayed_before_kg, self.drained_before_kg = room.ledger.sprayed_kg, room.ledger.drained_kg
            return
        humidity = room.humidity_pct
        bands = self.bands
        humidity_ok = _inside(bands.get(Quantity.HUMIDITY), humidity)
        co2_ok = _inside(bands.get(Quantity.CO2), room.co2_ppm)
        both = seconds if humidity_ok and co2_ok else 0.0
        self.joint_with_faults_s += both
        if room.crop_film_g_m2 > WET_G_M2:
            self.wet_cap_s += seconds
        if any(fault.holds(self.space.id, at_ms) for fault in self.faults):
            self.fault_s += seconds
            return
        self.counted_s += seconds
        self.joint_s += both
        self.humidity_s += seconds if humidity_ok else 0.0
        self.co2_s += seconds if co2_ok else 0.0
        self.temperature_s += seconds if _inside(bands.get(Quantity.TEMPERATURE), room.temperature_c) else 0.0
        self.lowest_pct = min(self.lowest_pct, humidity)
        self.highest_ppm = max(self.highest_ppm, room.co2_ppm)
        self._miss(bands.get(Quantity.HUMIDITY), humidity, seconds)

    def _miss(self, band: Band | None, humidity: float, seconds: float) -> None:
        if band is None:
            return
        if band.low is not None and humidity < band.low:
            self.too_dry_s += seconds
            self.dry_pct_h += (band.low - humidity) * seconds / 3600.0
        if band.high is not None and humidity > band.high:
            self.too_humid_s += seconds

    def figures(self, room: Room) -> dict[str, object]:
        """For `truth.json`; stable keys, rounded so that one more digit of nothing is not printed."""

        def share(seconds: float) -> float | None:
            return round(100.0 * seconds / self.counted_s, 2) if self.counted_s else None

        all_s = self.counted_s + self.fault_s
        both = self.joint_with_faults_s
        hours = all_s / 3600.0
        return {
            "space": self.space.id,
            "counted_h": round(self.counted_s / 3600.0, 4),
            "fault_h": round(self.fault_s / 3600.0, 4),
            "joint_in_band_pct": share(self.joint_s),
            "joint_in_band_with_faults_pct": round(100.0 * both / all_s, 2) if all_s else None,
            "humidity_in_band_pct": share(self.humidity_s),
            "co2_in_band_pct": share(self.co2_s),
            "temperature_in_band_pct": share(self.temperature_s),
            "too_dry_h": round(self.too_dry_s / 3600.0, 4),
            "too_humid_h": round(self.too_humid_s / 3600.0, 4),
            "dry_pct_h": round(self.dry_pct_h, 3),
            "driest_pct": round(self.lowest_pct, 2),
            "highest_co2_ppm": round(self.highest_ppm, 1),
            "wet_cap_h": round(self.wet_cap_s / 3600.0, 4),
            "water_kg": round(room.ledger.sprayed_kg - self.sprayed_before_kg, 3),
            "drained_kg": round(room.ledger.drained_kg - self.drained_before_kg, 3),
            "switchings_per_h": {
                relay: round(n / hours, 2) if hours else 0.0 for relay, n in sorted(self.switchings.items())
            },
        }
