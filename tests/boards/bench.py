"""A bench for the board's program where there is no board: its ports, for CPython and for MicroPython alike.

Under MicroPython it is a program of its own (`micropython bench.py PORT TOPIC SPEED`): it prints each click
and runs until it is ended. Time may run faster than it is (SPEED), and in the tests it can be moved ahead.
"""

import sys
import time

from station.loop import Station
from station.settings import Settings
from station.wire import open_socket

SAID = {
    "name": "tent-board", "every_s": 1, "keep": 50,
    "relays": {
        "fan": {"pin": 26, "longest_s": 900, "programme": {"minutes_per_hour": 6, "run_s": 60}},
        "mist": {"pin": 27, "longest_s": 60},
    },
}  # fmt: skip


class Bench:
    """Pins that are written down, air that is invented, time that can be moved."""

    def __init__(self, said, speed=1, clock_set=True):
        self.settings = Settings(said)
        self.speed, self.clock_set = speed, clock_set
        self.ahead_ms = 0
        self.clicks = []
        """(uptime_ms, relay, on)."""
        self._begun_ns = time.time_ns()
        self._measured = 0

    def uptime_ms(self):
        return (time.time_ns() - self._begun_ns) // 1000000 * self.speed + self.ahead_ms

    def unix_ms(self):
        return self._begun_ns // 1000000 + self.uptime_ms() if self.clock_set else None

    def air(self):
        self._measured += 1
        return {"temp": 18.5, "rh": 90.0 + self._measured % 5, "co2": 900 + self._measured}

    def write(self, one, on):
        self.clicks.append((self.uptime_ms(), one.name, on))
        if sys.implementation.name == "micropython":
            print(one.name, "on" if on else "off")

    def open_socket(self):
        return open_socket(self.settings.broker.host, self.settings.broker.port)


def said(port, topic="farm/tent", keepalive_s=65000, silent_min=1440):
    """Where time is moved ahead by hand, a link that is missed after seconds would be in the way."""
    made = dict(SAID)
    made["topic"], made["silent_min"] = topic, silent_min
    made["broker"] = {"host": "127.0.0.1", "port": port, "keepalive_s": keepalive_s}
    return made


if __name__ == "__main__":
    ports = Bench(said(int(sys.argv[1]), sys.argv[2]), int(sys.argv[3]))
    station = Station(ports.settings, ports)
    while True:
        station.turn()
        time.sleep(0.005)
