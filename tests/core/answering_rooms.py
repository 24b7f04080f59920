"""Two small rooms that answer, made by hand for the controllers of mist and fresh air: no farm, no relays.

Well-mixed air, first-order sensors, nothing of the package's own simulator. All figures are invented.
"""

from dataclasses import dataclass, field
from random import Random

from gillhouse.core.air import AIR_KG_PER_M3, dew_point_c, humidity_pct, humidity_ratio
from gillhouse.core.crops import Band
from gillhouse.core.demand import Inside
from gillhouse.core.fresh_air import AirPlan, AirState, air_given, fresh_air
from gillhouse.core.misting import MistPlan, MistState, mist, mist_given
from gillhouse.core.moisture import SENSOR_LAG_MS, USEFUL_SHARE

HOUR_MS = 3_600_000
OUTSIDE_C, OUTSIDE_PCT, OUTSIDE_PPM = 10.0, 60.0, 425.0


@dataclass
class Seen:
    value: float | None = None
    held: bool = False
    trusted: bool = True
    error: float = 0.0
    seqs: tuple[int, ...] = (7,)
    mono_ms: int = 0


def _inside(humidity: Seen, co2: Seen, fan: float, left_ms: int, celsius: float = 18.0) -> Inside:
    return Inside(
        humidity=humidity,
        temperature=Seen(celsius),
        co2=co2,
        temperature_c=celsius,
        intake_c=OUTSIDE_C,
        intake_ratio=humidity_ratio(OUTSIDE_C, OUTSIDE_PCT),
        intake_dew_c=dew_point_c(OUTSIDE_C, OUTSIDE_PCT),
        intake_co2_ppm=OUTSIDE_PPM,
        fan_m3_per_h=fan,
        fan_left_ms=left_ms,
    )


@dataclass
class DampRoom:
    """Nozzle, fan and leak. Drops cool air and shelves by 2.45 MJ/kg; walls bring back 18 C within minutes.

    The shelves' share of the warmth is 1.7 times the air's, as an invented range of 1 to 4 has it.
    """

    volume_m3: float
    band: Band
    fan_changes_h: float = 3.0
    """While it runs; above its leak."""
    ratio: float = field(init=False)
    celsius: float = 18.0
    seen_ratio: float = field(init=False)
    at_ms: int = 0
    pulses: int = 0
    most_pct: float = 0.0
    dry_ms: int = 0
    dry_share: float = 0.0
    over_ms: int = 0
    longest_over_ms: int = 0
    state: MistState = field(default_factory=MistState)

    def __post_init__(self) -> None:
        middle = self.band.target or (self.band.low + self.band.high) / 2
        self.ratio = self.seen_ratio = humidity_ratio(18.0, middle)
        self.litres_per_h = 0.3 * self.volume_m3
        self.leak_m3_h = 0.3 * self.volume_m3
        self.plan = MistPlan(
            ("mist",), self.litres_per_h, 1_500, 30_000, 30_000, self.volume_m3, self.leak_m3_h, self.band
        )

    def hours(self, hours: float) -> None:
        rng, start_ms, humidity = Random(5), self.at_ms, Seen()
        fan_to_ms, fan_at, pour_to_ms = 0, 600_000, 0
        while self.at_ms < start_ms + hours * HOUR_MS:
            at = self.at_ms
            if at >= fan_at:
                fan_to_ms = at + rng.randrange(60_000, 240_000)
                fan_at = at + rng.randrange(480_000, 1_200_000)
            fan = self.fan_changes_h * self.volume_m3 if at < fan_to_ms else 0.0
            if at % 20_000 == 0:
                humidity.value = min(humidity_pct(self.celsius, self.seen_ratio), 100.0)
                humidity.mono_ms = at + 1
            seen = _inside(humidity, Seen(700.0), fan, max(fan_to_ms - at, 0), self.celsius)
            wish = mist(self.plan, seen, self.state, at + 1)["mist"]
            if wish.on and wish.run_ms is not None:
                mist_given(self.plan, self.state, "mist", at + 1, wish.run_ms)
                pour_to_ms = at + wish.run_ms
                self.pulses += 1
            self._step(1_000, self.litres_per_h * min(max(pour_to_ms - at, 0), 1_000) / 1_000, fan)
            pct = humidity_pct(self.celsius, self.ratio)
            self.most_pct = max(self.most_pct, pct)
            self.dry_ms += 1_000 if pct < self.band.low else 0
            self.over_ms = self.over_ms + 1_000 if pct > self.band.high else 0
            self.longest_over_ms = max(self.longest_over_ms, self.over_ms)
        self.dry_share = self.dry_ms / self.at_ms

    def _step(self, ms: int, spray_kg_h: float, fan_m3_h: float) -> None:
        hours, mass = ms / HOUR_MS, self.volume_m3 * AIR_KG_PER_M3
        changed = (self.leak_m3_h + fan_m3_h) / self.volume_m3 * hours
        vanished = spray_kg_h * USEFUL_SHARE / mass * hours
        self.ratio += vanished + changed * (humidity_ratio(OUTSIDE_C, OUTSIDE_PCT) - self.ratio)
        self.celsius -= 2.45e6 * vanished / 1006.0 / (1.0 + 1.7)
        self.celsius += (18.0 - self.celsius) * ms / 300_000
        self.seen_ratio += (self.ratio - self.seen_ratio) * ms / SENSOR_LAG_MS
        self.at_ms += ms


@dataclass
class StaleRoom:
    """A crop that breathes steadily in 20 m3, and a fan of 360 m3/h with a relay."""

    source_ppm_h: float
    ppm: float = 700.0
    seen_ppm: float = 700.0
    at_ms: int = 0
    starts: int = 0
    most_ppm: float = 0.0
    on_to_ms: int = 0
    state: AirState = field(default_factory=AirState)
    plan: AirPlan = field(
        default_factory=lambda: AirPlan(
            fan_m3_per_h=360.0,
            shortest_ms=15_000,
            longest_ms=600_000,
            rest_ms=0,
            volume_m3=20.0,
            leak_m3_per_h=0.0,
            floor_m3_per_h=0.0,
            blind_m3_per_h=40.0,
            band=Band(None, 1000.0, None, None, None, "invented"),
            humidity=None,
        )
    )

    def hours(self, hours: float) -> None:
        end_ms, co2 = self.at_ms + int(hours * HOUR_MS), Seen(self.seen_ppm)
        while self.at_ms < end_ms:
            at, on = self.at_ms, self.at_ms < self.on_to_ms
            if at % 20_000 == 0:
                co2.value, co2.mono_ms = self.seen_ppm, at
            wish = fresh_air(self.plan, _inside(Seen(90.0), co2, 360.0 if on else 0.0, 0), self.state, at)
            if wish.on and wish.run_ms is not None and not on:
                air_given(self.plan, self.state, wish.reason, at, wish.run_ms)
                self.on_to_ms, on = at + wish.run_ms, True
                self.starts += 1
            changed = 360.0 / 20.0 * 1_000 / HOUR_MS if on else 0.0
            self.ppm += self.source_ppm_h * 1_000 / HOUR_MS + changed * (OUTSIDE_PPM - self.ppm)
            self.seen_ppm += (self.ppm - self.seen_ppm) * 1_000 / 60_000
            self.most_ppm = max(self.most_ppm, self.ppm)
            self.at_ms += 1_000
