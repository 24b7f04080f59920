"""The service on a virtual clock, with boards whose messages are handed in where the network thread would.

For drills about time: the real service, core, store and timers; relays that exist in memory and keep a timed
history. Nobody answers at the broker's port, and nobody needs to.
"""

import json
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from gillhouse.clock import VirtualClock
from gillhouse.config import load
from gillhouse.payloads import Message
from gillhouse.relays.memory import MemoryDriver, Switching
from gillhouse.service import Service

MINUTE, HOUR, DAY = 60_000, 3_600_000, 86_400_000
PATIENCE_S = 30.0

TENT = """\
farm: {{name: Clock farm, zone: {zone}, advise_only: no}}
broker: {{host: 127.0.0.1, port: 1}}
spaces:
  tent: {{name: Tent, kind: tent, walk_in: yes, volume_m3: 9,
    crop: {{species: lions-mane, stage: fruiting, kg: 40}}, bands: {{humidity: {{low: 87}}}}}}
sensors:
  tent-rh: {{space: tent, quantity: humidity, unit: "%", topic: t/air, format: json, path: /rh, seq: /n,
    time: /at, every: 30 s, calibrated: yes}}
  tent-temp: {{space: tent, quantity: temperature, unit: degC, topic: t/air, format: json, path: /t, seq: /n,
    time: /at, every: 30 s}}
  tent-co2: {{space: tent, quantity: co2, unit: ppm, topic: t/air, format: json, path: /co2, seq: /n,
    time: /at, every: 30 s}}
relays:
  tent-mist: {{space: tent, role: mist, driver: memory, litres_per_h: 4, pulse: 3 s, pulse_gap: 60 s}}
  tent-fan: {{space: tent, role: fan, driver: memory, air_m3_per_h: 150, least_off: 30 s}}
programmes:
  nightly: {{space: tent, role: fan, at: "30 2 * * *", run: 2 min}}
  hourly: {{space: tent, role: fan, at: "15 * * * *", run: 1 min}}
{more}"""


class VirtualHouse:
    """One tent, its clock in our hands."""

    def __init__(self, folder: Path, clock: VirtualClock, text: str) -> None:
        self.clock, self.folder = clock, folder
        folder.mkdir(exist_ok=True)
        (folder / "farm.yaml").write_text(text)
        self.service = Service(load(folder / "farm.yaml"), folder, clock)
        self._n = clock.now().wall_ms % 1_000_000_000

    def settle(self) -> None:
        """Until nothing inside is on its way."""
        end = time.monotonic() + PATIENCE_S
        while not self.service.settled():
            assert time.monotonic() < end, "the service does not come to rest"
            time.sleep(0.0005)  # between two looks; the result never depends on it

    def until(self, mono_ms: int) -> None:
        """Moves time on, from one thing that is due to the next."""
        while (now_ms := self.clock.now().mono_ms) < mono_ms:
            self.clock.advance_to(min(mono_ms, max(now_ms, self.clock.next_wake_ms() or mono_ms)))
            self.settle()

    def air(self, at_ms: int, rh: float = 70.0) -> None:
        """One message of the tent's board, which keeps the time `at_ms` (wall)."""
        self._n += 1
        body = {
            "rh": rh + self._n % 7 / 10,
            "t": 18 + self._n % 5 / 10,
            "co2": 700 + self._n % 9,
            "n": self._n,
            "at": at_ms / 1000,
        }
        self.service._message(Message("t/air", json.dumps(body).encode(), self.clock.now()), True)
        self.settle()

    def clicks(self, relay: str) -> tuple[Switching, ...]:
        """What the relay did, on the monotonic clock."""
        driver = self.service.control._plan.relays.drivers[relay]
        assert isinstance(driver, MemoryDriver)
        return driver.history(self.clock.now())

    def forget_clicks(self) -> None:
        """The relays of memory keep every click; a week of them is not the daemon's growth."""
        for driver in self.service.control._plan.relays.drivers.values():
            assert isinstance(driver, MemoryDriver)
            driver._history.clear()


@contextmanager
def running(folder: Path, clock: VirtualClock, zone: str = "UTC", more: str = "") -> Iterator[VirtualHouse]:
    house = VirtualHouse(folder, clock, TENT.format(zone=zone, more=more))
    house.service.start()
    try:
        house.settle()
        yield house
    finally:
        house.service.stop()


def runs_ms(clicks: tuple[Switching, ...]) -> list[tuple[int, int]]:
    """(on, off) pairs of what a relay did; one still on is left out."""
    pairs, began = [], None
    for one in clicks:
        if one.on:
            began = one.at_ms
        elif began is not None:
            pairs.append((began, one.at_ms))
            began = None
    return pairs
