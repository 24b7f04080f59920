"""One site on the bench: the room, its sensors, its door, and relays that let go at their lease's end."""

from bisect import insort
from collections.abc import Callable
from dataclasses import dataclass, replace
from functools import partial
from random import Random

from tests.bench.hold_the_room.merits import Merits
from tests.bench.hold_the_room.seasons import START_HOUR, Season
from tests.bench.hold_the_room.spaces import Site

from gillhouse.core.quantities import Quantity
from gillhouse.sim.moist import humidity_pct
from gillhouse.sim.room import Room
from gillhouse.sim.sensors import SimSensor
from gillhouse.sim.split_unit import SplitUnit

STEP_MS = 4_000
DAY_MS = 86_400_000
HOUR_MS = 3_600_000
UNSCORED_MS = 6 * HOUR_MS
AIR_EVERY_MS = 30_000
FLUSH_EVERY_MS = 600_000
SLOW_EVERY_MS = 60_000
"""Interval of door, tank and outdoor boards."""
FROST_C = 0.5
SUN_ON_SHELL_M2_M3 = 0.02
"""Sun a shaded shell catches, m2 per m3 of space [invented]."""


@dataclass(frozen=True, slots=True)
class Errors:
    """How far sensors are off; drawn from the seed."""

    humidity_pct: float
    co2_ppm: float
    temperature_k: float


CALIBRATED = Errors(0.8, 30.0, 0.2)
"""What is left after salt jars, fresh air and a thermometer."""
RAW = Errors(3.0, 50.0, 0.5)
NONE = Errors(0.0, 0.0, 0.0)


def flush(day: float) -> float:
    """Where the flush stands, 0..1: a rise of nine days from pins, a harvest, the next pins."""
    place = (day + 1.0) % 11.0
    return min(1.0, place / 9.0) if place < 10.0 else 1.0 - 0.85 * (place - 10.0)


class Plant:  # over 12 methods: the parts of one thing, each with a name
    """A site in a season; `advance` moves time, `switch` moves relays."""

    def __init__(self, site: Site, season: Season, seed: int, errors: Errors, days: float) -> None:
        self.site, self.season, self.seed = site, season, seed
        self.around = season.house if site.house_air else season.outdoors
        self.at_ms = 0
        self.on: dict[str, bool] = {"mist": False, "fan": False, "heater": False}
        self.ran_s: dict[str, float] = dict.fromkeys(self.on, 0.0)
        self._lets_go: dict[str, int] = {}
        self.stuck: dict[str, bool] = {}
        """Relays whose contact does not follow: where it stands."""
        self.tank_full = self.tank_told = True
        self.fan_share = 0.0
        """Of a fan that can run at any speed, for `limit`."""
        self.continuous: Callable[[Room, float], None] | None = None
        self._split_unit = SplitUnit(site.split_w) if site.split_w else None
        start = self.around(0.0)
        middle_c = (site.low_c + site.high_c) / 2 if site.fan_m3_h else start.temperature_c
        self.room = Room(site.plan, start, middle_c, 88.0)
        self.room.co2_ppm = max(600.0, start.co2_ppm) if site.fan_m3_h else start.co2_ppm
        self.merits = Merits(UNSCORED_MS, site.low_c, site.high_c)
        self.online = True
        """Whether sensors and relay boards reach the farm."""
        self._moves: list[tuple[int, Callable[[], None]]] = []
        for at_ms, is_open in _door_moves(seed, site.name, days):
            self.at(at_ms, partial(self._door, is_open))
        self._air_ms = self._flush_ms = -DAY_MS
        self._sensors(errors)
        self._surroundings()

    def _sensors(self, errors: Errors) -> None:
        rng = Random(f"bias {self.seed} {self.site.name}")
        by_quantity = {
            Quantity.HUMIDITY: errors.humidity_pct,
            Quantity.CO2: errors.co2_ppm,
            Quantity.TEMPERATURE: errors.temperature_k,
        }
        self.sensors: dict[str, SimSensor] = {}
        for id, quantity in (
            ("rh", Quantity.HUMIDITY), ("temp", Quantity.TEMPERATURE), ("co2", Quantity.CO2),
            ("out-rh", Quantity.HUMIDITY), ("out-temp", Quantity.TEMPERATURE),
        ):  # fmt: skip
            sensor = SimSensor(id, quantity, 0.0, self.seed)
            side = rng.choice((-1.0, 1.0)) * rng.uniform(0.5, 1.0)
            sensor.bias = side * by_quantity[quantity]
            self.sensors[id] = sensor
        self._feel(0.0)
        # Three boards and a float: what hangs on one board is told in one message.
        self._report_ms = dict.fromkeys(("rh", "temp", "co2"), 1_000)
        self._report_ms |= dict.fromkeys(("out-rh", "out-temp"), 1_500) | {"door": 2_500, "tank": 2_911}

    def next_report(self) -> tuple[str, int]:
        """The sensor that reports next, and when."""
        sensor = min(self._report_ms, key=self._report_ms.__getitem__)
        return sensor, self._report_ms[sensor]

    def report(self, sensor: str) -> float | None:
        """What a sensor reports now; None from a dead one, and where radio or the broker loses it."""
        own = sensor in ("rh", "temp", "co2")
        self._report_ms[sensor] += self.site.every_s * 1000 if own else SLOW_EVERY_MS
        if sensor == "door":
            value: float | None = float(self.room.drive.door_open)
        elif sensor == "tank":
            value = float(self.tank_told)
        else:
            held = self.sensors[sensor]
            value, lost = held.says(), held.lost()
            value = None if lost else value
        return value if self.online else None

    def switch(self, relay: str, on: bool, until_ms: int | None = None) -> None:
        """Moves a relay now; `until_ms`: the board lets go by itself then."""
        if self.on[relay] != on:
            self.on[relay] = on
            if self.at_ms > self.merits.from_ms:
                self.merits.switchings[relay] = self.merits.switchings.get(relay, 0) + 1
        if on and until_ms is not None:
            self._lets_go[relay] = until_ms
        else:
            self._lets_go.pop(relay, None)

    def nozzle_kg_s(self) -> float:
        """What the nozzles give while open: nothing from an empty tank, or from a line that freezes."""
        wet = self.tank_full and self.room.temperature_c > FROST_C
        return self.site.nozzle_kg_h / 3600.0 if wet else 0.0

    def closed(self, relay: str) -> bool:
        """Whether the relay's load has current."""
        return self.stuck.get(relay, self.on[relay])

    def advance(self, to_ms: int) -> None:
        while self.at_ms < to_ms:
            self._surroundings()
            end = min(to_ms, self.at_ms + STEP_MS, *self._lets_go.values())
            if self._moves:
                end = min(end, max(self._moves[0][0], self.at_ms))
            if end > self.at_ms:
                self._step(end)
            self._let_go()

    def _step(self, end_ms: int) -> None:
        seconds = (end_ms - self.at_ms) / 1000.0
        room, site = self.room, self.site
        drive = room.drive
        if self.continuous is not None:
            self.continuous(room, seconds)
        else:
            self.fan_share = 1.0 if self.closed("fan") else 0.0
            drive.fan_m3_s = self.fan_share * site.fan_m3_h / 3600.0
            drive.mist_kg_s = self.nozzle_kg_s() if self.closed("mist") else 0.0
            drive.heater_w = site.heater_w if self.closed("heater") else 0.0
            drive.moving = self.fan_share > 0.0
        if self._split_unit:
            self._split_unit.act(room)
        room.step(seconds)
        self.at_ms = end_ms
        for relay, on in self.on.items():
            self.ran_s[relay] += seconds * on
        self._feel(seconds)
        self.merits.count(room, end_ms, seconds, self.fan_share)

    def _feel(self, seconds: float) -> None:
        room = self.room
        self.sensors["rh"].feel(room.humidity_pct, seconds)
        self.sensors["temp"].feel(room.temperature_c, seconds)
        self.sensors["co2"].feel(room.co2_ppm, seconds)

    def _surroundings(self) -> None:
        if self.at_ms - self._air_ms >= AIR_EVERY_MS:
            self._air_ms = self.at_ms
            out = self.around(self.at_ms / 1000.0)
            out.sun_w *= SUN_ON_SHELL_M2_M3 * self.site.plan.volume_m3
            self.room.outside = out
            gap_s = AIR_EVERY_MS / 1000.0
            self.sensors["out-rh"].feel(min(100.0, humidity_pct(out.temperature_c, out.ratio)), gap_s)
            self.sensors["out-temp"].feel(out.temperature_c, gap_s)
        if self.at_ms - self._flush_ms >= FLUSH_EVERY_MS:
            self._flush_ms = self.at_ms
            ripe = flush(self.at_ms / DAY_MS)
            plan = self.site.plan
            self.room.plan = replace(
                plan, stage=0.6 + 1.0 * ripe, crop_m2=plan.crop_m2 * (0.25 + 0.75 * ripe)
            )
        while self._moves and self._moves[0][0] <= self.at_ms:
            self._moves.pop(0)[1]()

    def at(self, at_ms: int, do: Callable[[], None]) -> None:
        """Lets something happen at a moment to come."""
        insort(self._moves, (at_ms, do), key=lambda move: move[0])

    def _door(self, is_open: bool) -> None:
        self.room.drive.door_open = is_open
        if not is_open:
            self.merits.door_closed(self.at_ms)

    def _let_go(self) -> None:
        for relay, until in list(self._lets_go.items()):
            if until <= self.at_ms:
                self.switch(relay, False)


def _door_moves(seed: int, name: str, days: float) -> list[tuple[int, bool]]:
    """Two or three visits a day, each of one to four minutes with the door open."""
    rng = Random(f"door {seed} {name}")
    moves = []
    for day in range(int(days) + 2):
        for hour in (7.5, 12.5, 18.0)[: rng.choice((2, 3))]:
            begin = (day * 24 - START_HOUR + hour + rng.uniform(-0.7, 0.7)) * HOUR_MS
            if begin > 0:
                moves += [(int(begin), True), (int(begin + rng.uniform(60, 240) * 1000), False)]
    return moves
