"""The farm of the drills, the daemon on it as a process, and a relay board on the wire with a diary.

Two ways to start the daemon. `Daemon` (tests/service/farm.py) begins a new program each time. The `Nursery`
here forks it from a process that has the program loaded already, so that a start costs 50 ms instead of a
second and a thousand of them fit into minutes; from the fork on it is the same daemon: its own threads,
store, socket.
"""

import json
import os
import signal
import subprocess
import sys
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path

import paho.mqtt.client as paho
from farm import FARM
from paho.mqtt.packettypes import PacketTypes
from paho.mqtt.properties import Properties
from tests.drills import ROOT, TESTS

from servers import MosquittoBroker, wait_until
from service.test_kill import BOARDS, WAYS, Boards

UP_S = 40.0
"""How long a start may take on a busy machine."""
LATE_S = 0.5
"""A board's own timer may be so late on a busy machine; the lease is the board's to end, not the daemon's."""
LONGEST_MIST_S = 22
"""The longest run the drills allow their mist, and one command more that a dead daemon had given."""


def farm_text(broker: MosquittoBroker, commit_every: str = "2 s") -> str:
    """An invented farm: a tent that is driven, and a room with `BOARDS` humidity boards that only reports."""
    room = (
        "  room: {name: Room, kind: room, walk_in: no, volume_m3: 60, "
        "crop: {species: grey-oyster, stage: fruiting, kg: 240}}\n"
    )
    sensors = "".join(
        f'  board-{n}: {{space: room, quantity: humidity, unit: "%", topic: boards/{n}, format: json, '
        f"path: /v, {WAYS[n % len(WAYS)]}, every: 10 s}}\n"
        for n in range(BOARDS)
    )
    text = FARM.format(port=broker.port, low=87, protocol="auto").replace(
        "pulse: 3 s, pulse_gap: 5 s",
        "pulse: 2 s, pulse_gap: 1 s, least_off: 1 s, longest_run: 20 s, rest: 1 s",
    )
    text = text.replace("\nspaces:\n", f"\nspaces:\n{room}").replace("\nsensors:\n", f"\nsensors:\n{sensors}")
    return f"{text}store: {{commit_every: {commit_every}}}\n"


@dataclass(frozen=True)
class Heard:
    """One command as it came over the wire."""

    mono_s: float
    wall_s: float
    on: bool
    for_s: float
    retained: bool


@dataclass
class Relay:
    """One relay of the board: what it heard, and when it really was on."""

    heard: list[Heard] = field(default_factory=list)
    runs: list[tuple[float, float, float]] = field(default_factory=list)
    """(from, to, end of the last lease), monotonic seconds."""
    on_since: float | None = None
    lease_end: float = 0.0
    timer: threading.Timer | None = None


class RelayBoard:
    """Two relays on the wire that honour the seconds they are given, by timers of their own."""

    def __init__(self, port: int) -> None:
        self.relays = {"t/mist/set": Relay(), "t/fan/set": Relay()}
        self._lock = threading.Lock()
        self._client = paho.Client(paho.CallbackAPIVersion.VERSION2, client_id="relays", protocol=paho.MQTTv5)
        self._client.on_message = self._obey
        self._client.on_connect = lambda client, *_: client.subscribe("t/+/set", 1)
        self._client.reconnect_delay_set(1, 1)
        self._client.connect("127.0.0.1", port)
        self._client.loop_start()

    def _obey(self, _client: object, _data: object, message: paho.MQTTMessage) -> None:
        told, relay = json.loads(message.payload), self.relays[message.topic]
        now = time.monotonic()
        with self._lock:
            relay.heard.append(Heard(now, time.time(), told["on"], told.get("for", 0), message.retain))
            if relay.timer is not None:
                relay.timer.cancel()
                relay.timer = None
            if told["on"]:
                relay.on_since = now if relay.on_since is None else relay.on_since
                relay.lease_end = now + told["for"]
                relay.timer = threading.Timer(told["for"], self._drop_out, (relay,))
                relay.timer.daemon = True
                relay.timer.start()
            else:
                self._off(relay, now)

    def _drop_out(self, relay: Relay) -> None:
        with self._lock:
            self._off(relay, time.monotonic())

    def _off(self, relay: Relay, now: float) -> None:
        if relay.on_since is not None:
            relay.runs.append((relay.on_since, now, relay.lease_end))
            relay.on_since = None

    @property
    def ons(self) -> int:
        return sum(one.on for relay in self.relays.values() for one in relay.heard)

    def past_their_lease(self) -> list[str]:
        """Runs that outlasted the last lease, or one relay's longest run, or came from a kept command."""
        wrong = []
        for topic, relay in self.relays.items():
            for began, ended, lease_end in relay.runs:
                if ended > lease_end + LATE_S:
                    wrong.append(f"{topic}: on {ended - lease_end:.2f} s past its end")
                if topic == "t/mist/set" and ended - began > LONGEST_MIST_S + LATE_S:
                    wrong.append(f"{topic}: on for {ended - began:.1f} s")
            wrong += [
                f"{topic}: no end, or a kept command"
                for one in relay.heard
                if one.retained or (one.on and not 0 < one.for_s <= 900)
            ]
        return wrong

    def close(self) -> None:
        for relay in self.relays.values():
            if relay.timer is not None:
                relay.timer.cancel()
        self._client.disconnect()
        self._client.loop_stop()


@dataclass
class DryAir:
    """The tent's board: dry air five times a second, so that the mist is always wanted."""

    port: int
    _stop: threading.Event = field(default_factory=threading.Event)

    def start(self) -> None:
        self._client = paho.Client(
            paho.CallbackAPIVersion.VERSION2, client_id="dry-air", protocol=paho.MQTTv5
        )
        self._client.reconnect_delay_set(1, 1)
        self._client.connect("127.0.0.1", self.port)
        self._client.loop_start()
        self._thread = threading.Thread(target=self._run, daemon=True)
        self._thread.start()

    def _run(self) -> None:
        n = 0
        while not self._stop.wait(0.2):
            n += 1
            body = {"rh": 70.0 + n % 3 / 10, "t": 18.0 + n % 5 / 10, "co2": 700 + n % 7, "n": n}
            self._client.publish("t/air", json.dumps(body), qos=1)

    def stop(self) -> None:
        self._stop.set()
        self._thread.join()
        self._client.disconnect()
        self._client.loop_stop()


class Load(Boards):
    """The boards of tests/service/test_kill.py, which here also outlive a broker that goes and comes back."""

    def start(self) -> None:
        super().start()
        self._client.reconnect_delay_set(1, 1)

    def stop(self) -> set[tuple[str, int]]:
        self._stop.set()
        self._thread.join()
        # Not `is_published()`: of what was published while the broker was away it only says so.
        wait_until(
            lambda: all(word._published for _, word in self.published), UP_S, "the last acknowledgement"
        )
        self._client.disconnect()
        self._client.loop_stop()
        assert not self.refused, f"the broker refused a board: {self.refused[0]}"
        return {reading for reading, _ in self.published}


@contextmanager
def ear(port: int, topic: str = "gillhouse/marker/under-test") -> Iterator[list[float]]:
    """Monotonic seconds at which something was heard on `topic`; by the marker one knows that it listens."""
    client = paho.Client(paho.CallbackAPIVersion.VERSION2, client_id="ear", protocol=paho.MQTTv5)
    times: list[float] = []
    ready = threading.Event()
    client.on_subscribe = lambda *_: ready.set()
    client.on_connect = lambda one, *_: one.subscribe(topic, qos=1)
    client.on_message = lambda *_: times.append(time.monotonic())
    client.reconnect_delay_set(1, 1)
    place = Properties(PacketTypes.CONNECT)
    place.SessionExpiryInterval = 3600  # so that it misses nothing while a broker restarts
    client.connect("127.0.0.1", port, clean_start=False, properties=place)
    client.loop_start()
    assert ready.wait(UP_S)
    yield times
    client.disconnect()
    client.loop_stop()


def environment() -> dict[str, str]:
    """For child processes that use what lies in tests/."""
    path = [str(ROOT), str(TESTS), str(TESTS / "service"), os.environ.get("PYTHONPATH", "")]
    return {**os.environ, "PYTHONPATH": os.pathsep.join(one for one in path if one)}


class Nursery:
    """Lets daemons begin by the hundred; one at a time."""

    def __init__(self, config: Path, state: Path, log: Path) -> None:
        self._log = log.open("ab")
        self._process = subprocess.Popen(
            [sys.executable, "-m", "tests.drills.nursery", str(config), str(state)],
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            stderr=self._log,
            env=environment(),
            cwd=ROOT,
            text=True,
            bufsize=1,
        )

    def begin(self) -> int:
        """Forks a daemon. Returns its process id."""
        assert self._process.stdin is not None
        self._process.stdin.write("begin\n")
        return int(self._read())

    def kill(self, pid: int) -> None:
        """kill -9, and waits until it is gone."""
        os.kill(pid, signal.SIGKILL)
        said = self._read()
        assert said == "ended -9", f"the daemon was not killed but ended by itself: {said}"

    def _read(self) -> str:
        assert self._process.stdout is not None
        line = self._process.stdout.readline().strip()
        assert line, "the nursery ended; see its log"
        return line

    def close(self) -> None:
        assert self._process.stdin is not None
        self._process.stdin.close()
        self._process.wait(UP_S)
        assert self._process.stdout is not None
        self._process.stdout.close()
        self._log.close()


def wait_for_marker(times: list[float], before: int) -> None:
    wait_until(lambda: len(times) > before, UP_S, "the daemon's marker")
