"""The real daemon, killed and started again under load: every acknowledged reading is stored, once.

A process of its own, the real store, a real broker that stays up. Boards publish all the while with QoS 1.
Each board tells its readings apart in its own way: by its own time, by a running number, or by both. What
the broker acknowledged to its board must be in the store once the backlog has drained, and none twice.
Outside truth: MQTT 5 section 4.3.2, QoS 1: at least once; and 4.4, unacknowledged messages come again.
"""

import itertools
import json
import random
import sqlite3
import subprocess
import sys
import threading
import time
from collections import Counter
from collections.abc import Iterator
from contextlib import closing, contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import paho.mqtt.client as paho
import pytest

from servers import MosquittoBroker, wait_until

GILLHOUSE = Path(sys.executable).with_name("gillhouse")
BOARDS = 9
WAYS = ("time: /at, seq: /n", "seq: /n", "time: /at")
"""How a board's readings are known again; boards take turns."""
EVERY_S = 0.003
"""Between two messages of the load: some 300 a second, a hundred times what a farm sends."""
UP_S = 30.0
DRAIN_S = 60.0


def farm_text(port: int) -> str:
    """An invented farm with one room and `BOARDS` humidity boards."""
    sensors = [
        f'  board-{n}: {{space: room, quantity: humidity, unit: "%", topic: boards/{n}, format: json, '
        f"path: /v, {WAYS[n % len(WAYS)]}, every: 10 s}}"
        for n in range(BOARDS)
    ]
    return "\n".join(
        [
            "farm: {name: Kill farm, zone: Europe/Rome}",
            f"broker: {{host: 127.0.0.1, port: {port}, client_id: killed}}",
            "store: {commit_every: 2 s}",
            "spaces:",
            "  room: {name: Room, kind: room, walk_in: no, volume_m3: 60, "
            "crop: {species: grey-oyster, stage: fruiting, kg: 240}}",
            "sensors:",
            *sensors,
        ]
    )


@dataclass
class Boards:
    """Publishes readings from a thread until stopped; remembers which ones the broker acknowledged."""

    port: int
    published: list[tuple[tuple[str, int], paho.MQTTMessageInfo]] = field(default_factory=list)
    """(sensor, running number of the board), and paho's word on its acknowledgement."""
    at_ms: dict[tuple[str, int], int] = field(default_factory=dict)
    """(sensor, the board's own time) -> running number."""
    refused: list[str] = field(default_factory=list)
    _stop: threading.Event = field(default_factory=threading.Event)

    @property
    def sent(self) -> int:
        return len(self.published)

    def start(self) -> None:
        self._client = paho.Client(paho.CallbackAPIVersion.VERSION2, client_id="boards", protocol=paho.MQTTv5)
        self._client.on_publish = self._on_publish
        self._client.connect("127.0.0.1", self.port)
        self._client.loop_start()
        self._thread = threading.Thread(target=self._run, name="boards", daemon=True)
        self._thread.start()

    def stop(self) -> set[tuple[str, int]]:
        """Ends the load and waits for the last acknowledgements. Returns the acknowledged readings."""
        self._stop.set()
        self._thread.join()
        wait_until(
            lambda: all(word.is_published() for _, word in self.published), UP_S, "the last acknowledgement"
        )
        self._client.disconnect()
        self._client.loop_stop()
        assert not self.refused, f"the broker refused a board: {self.refused[0]}"
        return {reading for reading, _ in self.published}

    def _run(self) -> None:
        for turn in itertools.count():
            number, board = divmod(turn, BOARDS)
            if self._stop.wait(EVERY_S):
                return
            sensor, at_ms = f"board-{board}", time.time_ns() // 1_000_000
            self.at_ms[sensor, at_ms] = number
            body = json.dumps({"v": 87 + number % 20 / 10, "n": number, "at": at_ms / 1000})
            word = self._client.publish(f"boards/{board}", body, qos=1)
            self.published.append(((sensor, number), word))

    def _on_publish(self, _client: Any, _userdata: Any, _mid: int, code: Any, _properties: Any) -> None:
        if code.is_failure:
            self.refused.append(str(code))


@dataclass
class House:
    """The daemon as a child process, and an ear for the marker it sends itself once it listens."""

    directory: Path
    port: int
    markers: int = 0

    @contextmanager
    def listening(self) -> Iterator["House"]:
        """Writes the config and opens the ear."""
        (self.directory / "farm.yaml").write_text(farm_text(self.port))
        ear = paho.Client(paho.CallbackAPIVersion.VERSION2, client_id="ear", protocol=paho.MQTTv5)
        ready = threading.Event()
        ear.on_subscribe = lambda *_: ready.set()
        ear.on_message = self._marked
        ear.connect("127.0.0.1", self.port)
        ear.subscribe("gillhouse/marker/killed", qos=1)
        ear.loop_start()
        assert ready.wait(UP_S)
        yield self
        ear.disconnect()
        ear.loop_stop()

    def _marked(self, *_: Any) -> None:
        self.markers += 1

    @contextmanager
    def run(self, *, until_it_listens: bool = True) -> Iterator[None]:
        """Started (and listening); then killed without a word."""
        before, log = self.markers, (self.directory / "daemon.log").open("ab")
        process = subprocess.Popen(
            [GILLHOUSE, "run", "--config", self.directory / "farm.yaml", "--state", self.directory],
            stdout=log,
            stderr=subprocess.STDOUT,
        )
        try:
            if until_it_listens:
                wait_until(
                    lambda: self.markers > before or process.poll() is not None, UP_S, "the daemon's marker"
                )
            assert process.poll() is None, (self.directory / "daemon.log").read_text()[-1000:]
            yield
        finally:
            process.kill()
            process.wait()
            log.close()

    def stored(self, boards: Boards) -> Counter[tuple[str, int]]:
        """How often each reading is in the store, by sensor and running number.

        A reading whose moment was taken is kept among the inputs; the boards here never send two of one
        moment, so none may be there.
        """
        with closing(sqlite3.connect(f"file:{self.directory}/journal.db?mode=ro", uri=True)) as db:
            rows = db.execute("SELECT sensor, board_seq, ts FROM readings_named").fetchall()
            spare = db.execute("SELECT body FROM inputs WHERE kind = 'Reading'").fetchall()
        assert not spare, f"readings that share a moment: {spare[:3]}"
        return Counter(
            (sensor, boards.at_ms[sensor, ts] if number is None else number) for sensor, number, ts in rows
        )


def drill(broker: MosquittoBroker, directory: Path, kills: int) -> None:
    """Kills the daemon `kills` times at moments of the load's own count, then compares both sides."""
    chance, boards = random.Random(20_251_125), Boards(broker.port)
    with House(directory, broker.port).listening() as house:
        with house.run():  # its place at the broker exists from here on
            boards.start()
            wait_until(lambda: boards.sent > 50, UP_S, "the load to begin")
        for turn in range(kills - 1):
            # Every other time it may be killed while it starts, sees to the store, or takes up the backlog.
            with house.run(until_it_listens=turn % 2 == 0):
                more = boards.sent + chance.randrange(600)
                wait_until(lambda more=more: boards.sent >= more, UP_S, f"{more} readings sent")  # type: ignore[misc]
        with house.run():
            acknowledged = boards.stop()
            wait_until(
                lambda: len(house.stored(boards)) >= len(acknowledged), DRAIN_S, "the backlog to drain"
            )
            stored = house.stored(boards)
    missing = acknowledged - set(stored)
    twice = {reading: times for reading, times in stored.items() if times > 1}
    print(
        f"{kills} kills: {len(acknowledged)} acknowledged, {len(stored)} stored, "
        f"{len(missing)} missing, {len(twice)} twice"
    )
    assert not missing, sorted(missing)[:5]
    assert not twice, sorted(twice.items())[:5]
    assert set(stored) == acknowledged


def test_every_acknowledged_reading_is_stored_once(broker: MosquittoBroker, tmp_path: Path) -> None:
    drill(broker, tmp_path, kills=8)


@pytest.mark.soak
@pytest.mark.timeout(600)
def test_fifty_kills(broker: MosquittoBroker, tmp_path: Path) -> None:
    drill(broker, tmp_path, kills=50)
