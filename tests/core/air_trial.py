"""Closes the loop in one process: the core steers the simulated house, without broker, store or threads.

The house (`gillhouse.sim`) has physics of its own and shares nothing with the core but the quantities, so
what is measured here is the true air, not what the core believes of it.
"""

from dataclasses import dataclass, field, replace
from random import Random

from gillhouse.core.farm import Farm
from gillhouse.core.inputs import DEADLINE, Due, Reading, Started
from gillhouse.core.instant import Instant
from gillhouse.core.outputs import Command, Event, Outcome
from gillhouse.core.settings import FarmSettings
from gillhouse.sim.plant import House
from gillhouse.sim.weather import Climate, Weather

START_WALL_MS = 1_760_000_000_000


@dataclass
class Trial:
    """What is driven, and what came of it."""

    farm: FarmSettings
    seed: int = 1
    climate: Climate = field(default_factory=Climate)
    hours: float = 14.0
    start_hour: float = 18.0
    label_error: float = 0.0
    """True flow and nozzle against their labels: 0.4 draws factors from 0.6 to 1.4 at the corners."""

    def __post_init__(self) -> None:
        self.core = Farm(self.farm)
        self.house = House(
            self.farm, Weather(self.seed, self.start_hour, self.hours + 1, self.climate), self.seed
        )
        self.seq = 0
        self.commands: list[tuple[int, Command]] = []
        self.events: list[tuple[int, Event]] = []
        self._lets_go: dict[str, int] = {}
        if self.label_error:
            self._mislabel()

    def _mislabel(self) -> None:
        rng = Random(f"mislabel {self.seed}")
        for relay, load in self.house._equipment.items():
            factor = rng.choice((1 - self.label_error, 1 + self.label_error))
            label = load.settings
            self.house._equipment[relay] = replace(
                load, kg_s=label.litres_per_h / 3600 * factor, m3_s=label.air_m3_per_h / 3600 * factor
            )

    def feed(self, at_ms: int, item: object) -> Outcome:
        self.seq += 1
        out = self.core.handle(self.seq, Instant(START_WALL_MS + at_ms, at_ms), item)
        for command in out.commands:
            self.commands.append((at_ms, command))
            if command.advise:
                continue
            self.house.switch(command.relay, command.on, at_ms)
            if command.on:
                self._lets_go[command.relay] = at_ms + command.lease_ms
        self.events += [(at_ms, event) for event in out.events]
        return out

    def _let_go(self, at_ms: int) -> None:
        for relay, until in list(self._lets_go.items()):
            if at_ms >= until and self.house.on[relay]:
                self.house.switch(relay, False, until)
                del self._lets_go[relay]

    def run(self) -> None:
        self.feed(0, Started("test", "digest", True))
        due = {sensor.id: 1_000 + 137 * n for n, sensor in enumerate(self.farm.sensors.values())}
        end = int(self.hours * 3_600_000)
        while True:
            sensor, at_ms = min(due.items(), key=lambda pair: pair[1])
            deadline = self.core.next_deadline_ms()
            soonest = at_ms if deadline is None else min(at_ms, deadline)
            if soonest >= end:
                break
            self._let_go(soonest)
            if soonest < at_ms:
                self.feed(soonest, Due(DEADLINE, START_WALL_MS + soonest))
                continue
            due[sensor] = at_ms + self.farm.sensors[sensor].every_ms
            self.house.advance(at_ms)
            probe = self.house.sensors[sensor]
            value, lost = probe.says(), probe.lost()
            if value is not None and not lost:
                self.feed(at_ms, Reading(sensor, value, START_WALL_MS + at_ms))
        self.house.advance(end)

    def figures(self, space: str) -> dict[str, object]:
        place = self.house.places[space]
        assert place.score is not None
        assert place.room is not None
        return place.score.figures(place.room)
