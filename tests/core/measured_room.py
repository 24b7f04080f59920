"""A simulated room to measure: the trial run's physics with a true fan, leak, batch and nozzle, and sensors.

The room's physics share nothing with the core. What is true is read from the room itself.
"""

from dataclasses import dataclass, field, replace

from gillhouse.core.quantities import Quantity
from gillhouse.sim.moist import AIR_KG_M3, ratio_of
from gillhouse.sim.room import CO2_G_PER_L, Outside, Room, RoomPlan
from gillhouse.sim.sensors import SimSensor

PLAN = RoomPlan(
    volume_m3=60.0,
    leak_m2=0.018,
    shell_m2=96.0,
    shell_w_m2k=0.5,
    structure_j_k=25_000.0 * 96.0,
    substrate_kg=240.0,
    crop_m2=7.2,
    floor_m2=19.0,
    breath_g_kgh=0.12,
    stage=1.2,
    skin_w_k=36.0,
)
EVERY_MS = 30_000


@dataclass
class MeasuredRoom:
    """Time runs in steps of a few seconds; every half minute the sensors say something."""

    seed: int
    plan: RoomPlan = PLAN
    fan_m3_s: float = 210.0 / 3600.0
    mist_kg_s: float = 22.0 / 3600.0
    outside: Outside = field(default_factory=lambda: Outside(11.0, ratio_of(11.0, 75.0), 425.0, 1.0))
    start_c: float = 16.0
    start_pct: float = 88.0
    step_ms: int = 2_000

    def __post_init__(self) -> None:
        self.ms = 0
        self.room = Room(replace(self.plan), self.outside, self.start_c, self.start_pct)
        self.room.co2_ppm = 700.0
        self.sensors = {
            Quantity.HUMIDITY: SimSensor("rh", Quantity.HUMIDITY, 2.0, self.seed),
            Quantity.TEMPERATURE: SimSensor("temp", Quantity.TEMPERATURE, 0.3, self.seed),
            Quantity.CO2: SimSensor("co2", Quantity.CO2, 50.0, self.seed),
        }
        self.said: dict[Quantity, list[tuple[int, float]]] = {one: [] for one in self.sensors}
        self.spans: dict[str, list[tuple[int, int]]] = {"fan": [], "mist": []}
        self._on = {"fan": False, "mist": False}
        self.heat = False

    def truth(self) -> dict[Quantity, float]:
        return {
            Quantity.HUMIDITY: self.room.humidity_pct,
            Quantity.TEMPERATURE: self.room.temperature_c,
            Quantity.CO2: self.room.co2_ppm,
        }

    def switch(self, what: str, on: bool) -> None:
        if self._on[what] is on:
            return
        self._on[what] = on
        if on:
            self.spans[what].append((self.ms, self.ms))
        self.room.drive.fan_m3_s = self.fan_m3_s if self._on["fan"] else 0.0
        self.room.drive.moving = self._on["fan"]
        self.room.drive.mist_kg_s = self.mist_kg_s if self._on["mist"] else 0.0

    def run(self, seconds: float) -> None:
        end = self.ms + int(seconds * 1000)
        while self.ms < end:
            self._thermostat()
            step = min(self.step_ms, end - self.ms, EVERY_MS - self.ms % EVERY_MS)
            self.room.step(step / 1000.0)
            self.ms += step
            for what, on in self._on.items():
                if on:
                    self.spans[what][-1] = (self.spans[what][-1][0], self.ms)
            for quantity, sensor in self.sensors.items():
                sensor.feel(self.truth()[quantity], step / 1000.0)
                if self.ms % EVERY_MS == 0:
                    self._say(quantity, sensor)

    def _say(self, quantity: Quantity, sensor: SimSensor) -> None:
        value = sensor.says()
        if value is not None and not sensor.lost():
            self.said[quantity].append((self.ms, value))

    def _thermostat(self) -> None:
        cold = self.start_c - self.room.temperature_c
        self.room.drive.heater_w = min(max(1500.0 * cold + 600.0, 0.0), 1500.0) if self.heat else 0.0

    # --- what is true ----------------------------------------------------------------------------------

    def leak_m3_per_h(self) -> float:
        kept, self.room.drive.fan_m3_s = self.room.drive.fan_m3_s, 0.0
        flow = self.room.flow_m3_s() * 3600.0
        self.room.drive.fan_m3_s = kept
        return flow

    def added_m3_per_h(self) -> float:
        """What the fan adds to the leakage (the room joins them in quadrature)."""
        kept, self.room.drive.fan_m3_s = self.room.drive.fan_m3_s, self.fan_m3_s
        flow = self.room.flow_m3_s() * 3600.0
        self.room.drive.fan_m3_s = kept
        return flow - self.leak_m3_per_h()

    def source_m3_per_h(self) -> float:
        return self.room.breath_g_h() / CO2_G_PER_L / 1000.0

    def dry_kg(self) -> float:
        return AIR_KG_M3 * self.plan.volume_m3
