"""Figures of merit, from the true air alone: counted at every step, so nothing is sampled away."""

from dataclasses import dataclass, field

from tests.bench.hold_the_room.spaces import HIGH_PCT, HIGH_PPM, LOW_PCT

from gillhouse.sim.room import Room
from gillhouse.sim.score import WET_G_M2

STAYS_MS = 180_000
"""Humidity is back when it has been above the edge for so long after a door."""


@dataclass(slots=True)
class Merits:
    """Counts of one cell, from `from_ms` on."""

    from_ms: int
    low_c: float
    high_c: float
    scored_s: float = 0.0
    joint_s: float = 0.0
    humidity_s: float = 0.0
    not_dry_s: float = 0.0
    co2_s: float = 0.0
    warm_s: float = 0.0
    dry_pct_h: float = 0.0
    wet_pct_h: float = 0.0
    stale_ppm_h: float = 0.0
    driest_pct: float = 100.0
    longest_dry_s: float = 0.0
    wet_cap_s: float = 0.0
    longest_wet_s: float = 0.0
    fan_s: float = 0.0
    water_kg: float = 0.0
    drained_kg: float = 0.0
    switchings: dict[str, int] = field(default_factory=dict)
    refused: int = 0
    false_alerts: int = 0
    """Messages to a person for something that was not so in the true air."""
    recoveries_min: list[float] = field(default_factory=list)
    _dry_run_s: float = 0.0
    _wet_run_s: float = 0.0
    _closed_ms: int | None = None
    _back_ms: int | None = None
    _sprayed_before: float = 0.0
    _drained_before: float = 0.0

    def count(self, room: Room, at_ms: int, seconds: float, fan_share: float) -> None:
        """Takes in the step that ended at `at_ms`."""
        if at_ms <= self.from_ms:
            self._sprayed_before, self._drained_before = room.ledger.sprayed_kg, room.ledger.drained_kg
            return
        humidity, co2 = room.humidity_pct, room.co2_ppm
        self.scored_s += seconds
        if humidity >= LOW_PCT:
            self.not_dry_s += seconds
            self._dry_run_s = 0.0
            if humidity <= HIGH_PCT:
                self.humidity_s += seconds
                if co2 <= HIGH_PPM:
                    self.joint_s += seconds
            else:
                self.wet_pct_h += (humidity - HIGH_PCT) * seconds / 3600.0
        else:
            self._dry(humidity, seconds)
        if co2 <= HIGH_PPM:
            self.co2_s += seconds
        else:
            self.stale_ppm_h += (co2 - HIGH_PPM) * seconds / 3600.0
        if self.low_c <= room.temperature_c <= self.high_c:
            self.warm_s += seconds
        if room.crop_film_kg * 1000.0 > WET_G_M2 * room.plan.crop_m2:
            self.wet_cap_s += seconds
            self._wet_run_s += seconds
            self.longest_wet_s = max(self.longest_wet_s, self._wet_run_s)
        else:
            self._wet_run_s = 0.0
        self.fan_s += fan_share * seconds
        self.water_kg = room.ledger.sprayed_kg - self._sprayed_before
        self.drained_kg = room.ledger.drained_kg - self._drained_before
        if self._closed_ms is not None:
            self._recover(humidity, at_ms)

    def _dry(self, humidity: float, seconds: float) -> None:
        self.dry_pct_h += (LOW_PCT - humidity) * seconds / 3600.0
        self.driest_pct = min(self.driest_pct, humidity)
        self._dry_run_s += seconds
        self.longest_dry_s = max(self.longest_dry_s, self._dry_run_s)

    def _recover(self, humidity: float, at_ms: int) -> None:
        assert self._closed_ms is not None
        if humidity < LOW_PCT:
            self._back_ms = None
        elif self._back_ms is None:
            self._back_ms = at_ms
        elif at_ms - self._back_ms >= STAYS_MS:
            self.recoveries_min.append(max(0, self._back_ms - self._closed_ms) / 60_000.0)
            self._closed_ms = self._back_ms = None

    def door_closed(self, at_ms: int) -> None:
        """Begins to wait for the air to come back. One still waited for is given up with what it took."""
        if at_ms <= self.from_ms:
            return
        if self._closed_ms is not None:
            self.recoveries_min.append((at_ms - self._closed_ms) / 60_000.0)
        self._closed_ms, self._back_ms = at_ms, None

    def amounts(self) -> dict[str, float]:
        """What a fault cost, as amounts and not per day."""
        return {
            "dry_pct_h": self.dry_pct_h,
            "wet_pct_h": self.wet_pct_h,
            "stale_ppm_h": self.stale_ppm_h,
            "wet_cap_h": self.wet_cap_s / 3600.0,
            "water_kg": self.water_kg,
        }

    def figures(self) -> dict[str, float]:
        """All figures of the cell, by name; shares in %, amounts per day."""
        hours, days = self.scored_s / 3600.0, self.scored_s / 86_400.0

        def share(seconds: float) -> float:
            return 100.0 * seconds / self.scored_s

        found = {
            "joint_pct": share(self.joint_s),
            "humidity_pct": share(self.humidity_s),
            "not_dry_pct": share(self.not_dry_s),
            "co2_pct": share(self.co2_s),
            "temperature_pct": share(self.warm_s),
            "dry_pct_h_day": self.dry_pct_h / days,
            "wet_pct_h_day": self.wet_pct_h / days,
            "stale_ppm_h_day": self.stale_ppm_h / days,
            "driest_pct": self.driest_pct,
            "longest_dry_min": self.longest_dry_s / 60.0,
            "wet_cap_h_day": self.wet_cap_s / 3600.0 / days,
            "longest_wet_h": self.longest_wet_s / 3600.0,
            "water_kg_day": self.water_kg / days,
            "drained_kg_day": self.drained_kg / days,
            "fan_h_day": self.fan_s / 3600.0 / days,
            "refused_day": self.refused / days,
            "false_alerts_day": self.false_alerts / days,
            "door_median_min": _quantile(self.recoveries_min, 0.5),
            "door_p90_min": _quantile(self.recoveries_min, 0.9),
        }
        for relay in ("mist", "fan", "heater"):
            found[f"{relay}_switchings_h"] = self.switchings.get(relay, 0) / hours
        return found


def _quantile(values: list[float], share: float) -> float:
    """Nearest rank; 0 where nothing happened."""
    ranked = sorted(values)
    return ranked[min(len(ranked) - 1, int(share * len(ranked)))] if ranked else 0.0
