"""A board of ours running in a thread of the test, and the farm file that goes with it, from its page."""

import json
import re
import threading
from pathlib import Path

from station.loop import Station

from boards.bench import Bench, said

PAGE = Path(__file__).parents[2] / "docs" / "how-to" / "boards.md"

FARM = """\
farm: {name: Test farm (invented), zone: Europe/Rome, advise_only: no}
broker: {host: 127.0.0.1, port: %d}
spaces:
  tent:
    {name: Tent, kind: tent, walk_in: no, volume_m3: 9, crop: {species: lions-mane, stage: fruiting, kg: 40}}
"""


def farm_lines(page: Path = PAGE) -> list[str]:
    """The farm file's parts as the page shows them."""
    return re.findall(
        r"```yaml\n# part of farm\.yaml[^\n]*\n(.*?)```", page.read_text(encoding="utf-8"), re.S
    )


def farm(port: int) -> str:
    (lines,) = farm_lines()
    return FARM % port + str(lines)


class Running:
    """Turns the board's loop until it is ended. `jump` moves its time ahead, as far as the board can tell."""

    def __init__(self, port: int, clock_set: bool = True, **settings: int) -> None:
        self.bench = Bench(said(port, **settings), clock_set=clock_set)
        self.station = Station(self.bench.settings, self.bench)
        self._end = threading.Event()
        self._lock = threading.Lock()
        self._thread = threading.Thread(target=self._run, daemon=True)
        self._thread.start()

    def _run(self) -> None:
        while not self._end.wait(0.002):
            with self._lock:
                self.station.turn()

    def jump(self, ms: int) -> None:
        with self._lock:
            self.bench.ahead_ms += ms
            self.station.turn()

    def on(self, relay: str) -> bool:
        return bool(self.station.relays[relay].on)

    def clicks(self, relay: str) -> list[bool]:
        """After the off it begins with."""
        return [on for _, name, on in self.bench.clicks if name == relay][1:]

    def pull_plug(self) -> None:
        """Without current, and without a word to the broker."""
        self._end.set()
        self._thread.join(10)
        if self.station.link._socket is not None:
            self.station.link._socket.close()

    close = pull_plug


def numbers(payloads: list[bytes]) -> list[int]:
    return [int(json.loads(payload)["n"]) for payload in payloads]
