"""What the plant can do at all: perfect knowledge, a fan of any speed, a nozzle (or vapour) of any rate.

At each step: the least fan that keeps CO2 at its limit (and, where outside air is drier, that keeps humidity
at its upper edge), and the least water that keeps humidity at its lower edge. Through the real nozzle the
drops still fall, so drop size and not software sets what water that costs.
"""

from dataclasses import dataclass
from math import exp, sqrt

from tests.bench.hold_the_room.plant import Plant
from tests.bench.hold_the_room.spaces import HIGH_PCT, HIGH_PPM, LOW_PCT

from gillhouse.sim.moist import (
    AIR_J_KGK,
    AIR_KG_M3,
    LATENT_J_KG,
    ratio_of,
    saturation_ratio,
    saturation_ratio_slope,
)
from gillhouse.sim.room import CO2_G_PER_L, DIFFUSION_M2_S, STOKES_PER_MS, WATER_KG_M3, Room

FLUTTER_PCT, FLUTTER_PPM = 0.5, 3.0
"""Kept off the very edge, so that the step's coarseness is not scored as a miss."""
DRAINED_C = 2.0
AIR_S, DROPS_S = 20.0, 5.0
"""In these times the air and the drops are brought to where they are wanted."""


@dataclass(slots=True)
class Limit:
    """A plant's own perfect hand; give its `drive` to `Plant.continuous`."""

    plant: Plant
    inside_pct: float = 0.0
    inside_ppm: float = 0.0
    vapour: bool = False
    """Water as vapour, not through the nozzle."""
    _last_c: float | None = None

    def read(self, at_ms: int, sensor: str, value: float) -> None:
        raise AssertionError("it needs no sensor")

    def due_ms(self) -> int | None:
        return None

    def wake(self, at_ms: int) -> None:
        raise AssertionError("it waits for nothing")

    def drive(self, room: Room, seconds: float) -> None:
        drive, site = room.drive, self.plant.site
        low = LOW_PCT + self.inside_pct + FLUTTER_PCT
        high = HIGH_PCT - self.inside_pct - FLUTTER_PCT
        self._heat(room)
        drive.fan_m3_s = 0.0
        leak = room.flow_m3_s()
        most = site.fan_m3_h / 3600.0
        wanted = max(self._by_co2(room, seconds), self._by_wetness(room, seconds, high, leak))
        fan = min(sqrt(max(wanted * wanted - leak * leak, 0.0)), most)
        drive.fan_m3_s, drive.moving = fan, fan > 0.2 * most > 0.0
        self.plant.fan_share = fan / most if most else 0.0
        flow = room.flow_m3_s()
        evaporate = self._lacking(room, seconds, low, flow)
        # Nobody sprays near freezing: the lines are drained then.
        nozzle = self.plant.nozzle_kg_s() if room.temperature_c > DRAINED_C else 0.0
        if self.vapour:
            drive.vapour_kg_s = min(max(evaporate, 0.0), nozzle)
        else:
            drive.mist_kg_s = min(max(self._spray(room, evaporate, flow), 0.0), nozzle)
        self._last_c = room.temperature_c

    def _by_co2(self, room: Room, seconds: float) -> float:
        """Flow that ends the step at the limit, m3/s."""
        aim = HIGH_PPM - self.inside_ppm - FLUTTER_PPM
        breath = room.breath_g_h() / 3600.0 / CO2_G_PER_L
        surplus = breath + (room.co2_ppm - aim) * room.plan.volume_m3 / 1000.0 / max(seconds, 20.0)
        per_m3 = (room.co2_ppm - room.outside.co2_ppm) / 1000.0
        return surplus / per_m3 if surplus > 0.0 and per_m3 > 0.005 else 0.0

    def _by_wetness(self, room: Room, seconds: float, high: float, leak: float) -> float:
        """Flow that dries to the upper edge, where the air outside is drier."""
        surplus = room.ratio - ratio_of(room.temperature_c, high)
        drier = room.ratio - room.outside.ratio
        if surplus <= 0.0 or drier < 1e-5:
            return 0.0
        gain = room._cap_e + room._floor_e + room._drop_e - room._coil
        air_kg = AIR_KG_M3 * room.plan.volume_m3
        return max(0.0, gain + surplus * air_kg / AIR_S) / (AIR_KG_M3 * drier)

    def _heat(self, room: Room) -> None:
        site = self.plant.site
        if site.heater_w:
            lacking = site.low_c + 1.0 - room.temperature_c
            room.drive.heater_w = min(max(0.5 + lacking, 0.0), 1.0) * site.heater_w

    def _lacking(self, room: Room, seconds: float, low: float, flow: float) -> float:
        """Evaporation that brings humidity to the lower edge, kg/s."""
        air_kg = AIR_KG_M3 * room.plan.volume_m3
        trend = (room.temperature_c - self._last_c) / seconds if self._last_c is not None else 0.0
        edge = ratio_of(room.temperature_c + trend * AIR_S * 0.5, low)
        lost = flow * AIR_KG_M3 * (room.ratio - room.outside.ratio)
        others = room._cap_e + room._floor_e - room._coil if self._last_c is not None else 0.0
        return (edge - room.ratio) * air_kg / AIR_S + lost - others

    def _spray(self, room: Room, evaporate: float, flow: float) -> float:
        """Spray that gives that evaporation from drops in the air, kg/s (the room's own drop equations)."""
        plan = room.plan
        full = saturation_ratio(room.temperature_c)
        slope = saturation_ratio_slope(room.temperature_c, full)
        beta = 1.0 / (1.0 + LATENT_J_KG * slope / AIR_J_KGK)
        d2 = (plan.drop_um * 1e-6) ** 2
        dry = max(full - room.ratio, 1e-6)
        vanish = 12.0 * DIFFUSION_M2_S * AIR_KG_M3 * dry * beta * plan.cone / (WATER_KG_M3 * d2)
        every = vanish + STOKES_PER_MS * d2 / plan.fall_m + flow / plan.volume_m3
        drops = max(evaporate, 0.0) / vanish
        quick = 1.0 - exp(-every * DROPS_S)
        return every * (drops - room.drops_kg * (1.0 - quick)) / quick
