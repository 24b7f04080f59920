"""A small farm in a directory of its own, and the real daemon on it as a child process."""

import json
import signal
import subprocess
import sys
from collections.abc import Sequence
from pathlib import Path
from typing import Any

import paho.mqtt.client as paho

from servers import MosquittoBroker, wait_until

FARM = """\
farm: {{name: Test farm, zone: UTC, advise_only: no}}
broker: {{host: 127.0.0.1, port: {port}, protocol: "{protocol}", client_id: under-test}}
spaces:
  tent:
    name: Tent
    kind: tent
    walk_in: yes
    volume_m3: 9
    crop: {{species: lions-mane, stage: fruiting, kg: 40}}
    bands: {{humidity: {{low: {low}}}}}
sensors:
  tent-rh:
    {{space: tent, quantity: humidity, unit: "%", topic: t/air, format: json, path: /rh, seq: /n, every: 1 s,
     calibrated: yes}}
  tent-temp:
    {{space: tent, quantity: temperature, unit: degC, topic: t/air, format: json, path: /t, seq: /n,
     every: 1 s}}
  tent-co2:
    {{space: tent, quantity: co2, unit: ppm, topic: t/air, format: json, path: /co2, seq: /n, every: 1 s}}
relays:
  tent-mist:
    {{space: tent, role: mist, driver: mqtt, litres_per_h: 4, pulse: 3 s, pulse_gap: 5 s,
     command: {{topic: t/mist/set, on: '{{"on": true, "for": {{seconds}}}}', off: '{{"on": false}}'}}}}
  tent-fan:
    {{space: tent, role: fan, driver: mqtt, air_m3_per_h: 150, least_off: 1 s,
     command: {{topic: t/fan/set, on: '{{"on": true, "for": {{seconds}}}}', off: '{{"on": false}}'}}}}
"""


class Board:
    """Publishes the tent's air and hears what its relays are told."""

    def __init__(self, broker: MosquittoBroker) -> None:
        self.heard: list[tuple[str, dict[str, Any]]] = []
        self._n = 0
        self._client = paho.Client(paho.CallbackAPIVersion.VERSION2, client_id="board")
        self._client.on_message = lambda _c, _u, m: self.heard.append((m.topic, json.loads(m.payload)))
        self._client.on_connect = lambda c, *_: c.subscribe("t/+/set", 1)
        self._client.reconnect_delay_set(1, 1)
        self._client.connect(broker.host, broker.port)
        self._client.loop_start()
        wait_until(self._client.is_connected, 5, "the board to connect")

    def air(self, rh: float, co2: float = 700.0) -> None:
        wait_until(self._client.is_connected, 20, "the board to be connected")
        self._n += 1
        payload = json.dumps({"rh": rh, "t": 18.0 + self._n % 5 / 10, "co2": co2 + self._n % 7, "n": self._n})
        self._client.publish("t/air", payload, qos=1).wait_for_publish(10)

    def ons(self, topic: str) -> list[dict[str, Any]]:
        return [what for where, what in self.heard if where == topic and what["on"]]

    def close(self) -> None:
        self._client.disconnect()
        self._client.loop_stop()
        self._client._reset_sockets()  # paho leaves its own wake-up pair to the collector


class Daemon:
    """`gillhouse run` on a farm file, and the command line beside it."""

    def __init__(self, folder: Path, broker: MosquittoBroker) -> None:
        self.folder, self.state = folder, folder / "state"
        self.config = folder / "farm.yaml"
        self._port = broker.port
        self.write_config()
        self.process: subprocess.Popen[str] | None = None
        self.log = folder / "log"

    def write_config(self, low: float = 87, protocol: str = "auto") -> None:
        self.config.write_text(FARM.format(port=self._port, low=low, protocol=protocol))

    def start(self) -> None:
        with self.log.open("a") as log:
            self.process = subprocess.Popen(
                [
                    sys.executable,
                    "-m",
                    "gillhouse",
                    "run",
                    "--config",
                    str(self.config),
                    "--state",
                    str(self.state),
                ],
                stderr=log,
                stdout=log,
                text=True,
            )
        wait_until(lambda: (self.state / "local.sock").exists() or self.ended(), 20, "the daemon to be up")
        assert not self.ended(), self.log.read_text()

    def connected(self) -> bool:
        status = json.loads(self.run("now", "--json"))
        return bool(status["links"].get("broker", {}).get("up"))

    def ended(self) -> bool:
        return self.process is None or self.process.poll() is not None

    def signal(self, number: signal.Signals) -> None:
        assert self.process is not None
        self.process.send_signal(number)

    def wait(self, timeout_s: float = 10) -> int:
        assert self.process is not None
        return self.process.wait(timeout_s)

    def kill(self) -> None:
        if self.process is not None and self.process.poll() is None:
            self.process.kill()
            self.process.wait()

    def run(self, *words: str, fails: bool = False) -> str:
        """Runs a command of the command line; returns what it printed."""
        done = self.attempt(words)
        assert (done.returncode != 0) == fails, done.stdout + done.stderr
        return done.stdout + (done.stderr if fails else "")

    def attempt(self, words: Sequence[str]) -> subprocess.CompletedProcess[str]:
        return subprocess.run(
            [sys.executable, "-m", "gillhouse", *words, "--state", str(self.state)],
            capture_output=True,
            text=True,
            timeout=60,
            check=False,
        )
