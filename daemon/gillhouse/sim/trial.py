"""One trial put together: the invented night, the farm as it truly is, its boards, the driver.

Not here: the daemon (the command makes it, of the same class as `gillhouse run`) and the broker (`broker`).
"""

import json
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

from gillhouse.clock import Clock, VirtualClock
from gillhouse.config import Config
from gillhouse.core.crops import Band
from gillhouse.core.quantities import Quantity
from gillhouse.sim.boards import relay_boards, sensor_boards
from gillhouse.sim.farm_copy import PREFIX
from gillhouse.sim.link import BoardLink, TrialError
from gillhouse.sim.lockstep import Cast, Lockstep
from gillhouse.sim.plant import House
from gillhouse.sim.quiet import Daemon
from gillhouse.sim.story import START_HOUR, WARM_UP_MS, Scene, Story, story_of
from gillhouse.sim.weather import AUTUMN, Climate, Weather

NIGHT = (2025, 10, 14)
"""The invented night's evening, in the farm's zone; no clock change near it."""
TRUTH_FILE = "truth.json"
SIMULATED_KEY = "simulated"
"""Key in the store's `meta` that marks a trial's journal for good."""
HOUR_MS = 3_600_000


def night_from_ms(config: Config) -> int:
    """Wall time at which the trial's night begins."""
    return int(datetime(*NIGHT, START_HOUR, tzinfo=config.farm.zone).timestamp() * 1000)


@dataclass(frozen=True, slots=True)
class Length:
    """Which night, and how much of it."""

    seed: int
    hours: float
    climate: Climate = AUTUMN

    @property
    def ms(self) -> int:
        """Of the night itself."""
        return int(self.hours * HOUR_MS)

    @property
    def end_ms(self) -> int:
        """The night's end in trial milliseconds, which begin with the warm-up."""
        return WARM_UP_MS + self.ms


class Trial:
    """The boards' side of a night, ready to meet a daemon."""

    def __init__(self, config: Config, length: Length) -> None:
        """
        Raises:
            TrialError: some topic of `config` is not a trial's.
        """
        self.config, self.length = config, length
        for route in config.routes:
            if not route.topic.startswith(PREFIX):
                raise TrialError(f"sensor {route.sensor}: {route.topic} is no trial topic (under {PREFIX})")
        self.clock = VirtualClock(night_from_ms(config) - WARM_UP_MS)
        self.story: Story = story_of(config.farm, config.routes)
        weather = Weather(length.seed, START_HOUR, length.hours + 1.0, length.climate)
        self.house = House(config.farm, weather, length.seed, self.story.faults, WARM_UP_MS)
        self.sensors = sensor_boards(config.routes, self.house.sensors)
        own_timers = {id: relay.own_timer for id, relay in config.farm.relays.items()}
        self.relays = relay_boards(config.relay_wires, own_timers, PREFIX)

    def meet(self, daemon: Daemon, real: Clock, link: BoardLink) -> Lockstep:
        """The driver for this trial and `daemon`; `link` is subscribed to all that the boards must hear."""
        base = self.config.broker.base_topic
        link.uncounted = (f"{base}/alive", f"{base}/marker/")
        link.subscribe([f"{base}/#", *self.relays])
        scene = Scene(
            self.house,
            self.sensors,
            daemon.submit,
            lambda: _standing(daemon),
            lambda space: _bands(daemon, space),
            lambda: self.clock.now().wall_ms,
        )
        cast = Cast(self.house, self.sensors, self.relays, link, self.story.moments, f"{base}/alive")
        return Lockstep(self.clock, real, daemon, cast, scene)

    def truth(self) -> dict[str, object]:
        """What the night was like in truth, for `truth.json`."""
        begin = night_from_ms(self.config)
        started = begin - WARM_UP_MS
        return {
            "simulated": True,
            "seed": self.length.seed,
            "hours": self.length.hours,
            "from_ms": begin,
            "to_ms": begin + self.length.ms,
            "rule": (
                "shares of the time outside the faults put in on purpose and the half hour after each; "
                "in band: humidity and CO2 inside the bands in force, in the model's true air"
            ),
            "faults": [
                {"space": f.space, "what": f.what, "from_ms": started + f.from_ms, "to_ms": started + f.to_ms}
                for f in self.story.faults
                if f.from_ms < self.length.end_ms
            ],
            "spaces": [
                place.score.figures(place.room)
                for place in self.house.places.values()
                if place.room and place.score
            ],
        }

    def write_truth(self, folder: Path) -> Path:
        path = folder / TRUTH_FILE
        path.write_text(json.dumps(self.truth(), indent=1, sort_keys=True) + "\n", encoding="utf-8")
        return path


def _standing(daemon: Daemon) -> list[str]:
    return [str(alarm["alarm"]) for alarm in daemon.status()["alarms"]]


def _bands(daemon: Daemon, space: str) -> dict[Quantity, Band]:
    """What the daemon tells that it holds a space for."""
    told = daemon.status()["spaces"][space]["quantities"]
    return {
        quantity: Band(told[quantity]["low"], told[quantity]["high"], None, None, None, "as told")
        for quantity in (Quantity.HUMIDITY, Quantity.CO2, Quantity.TEMPERATURE)
        if quantity in told
    }
