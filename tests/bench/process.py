"""Processes under measurement: what they cost, and the daemon itself as one.

Not here: what they are measured against (`floors`), nor what is sent to them (`blast`).
"""

import itertools
import json
import os
import subprocess
import sys
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from queue import Empty, SimpleQueue

from tests.bench.bare import COMMAND, TRIGGER, client_on

from servers import MosquittoBroker, wait_until

TICKS_PER_S = os.sysconf("SC_CLK_TCK")
GILLHOUSE = Path(sys.executable).with_name("gillhouse")
READY_S = 30.0
_EARS = itertools.count()

SPACES = 10
QUANTITIES = (("humidity", "%", "rh"), ("temperature", "degC", "t"), ("co2", "ppm", "co2"))
SERIES = SPACES * len(QUANTITIES)


def farm_text(port: int) -> str:
    """An invented farm of 30 series in 10 rooms, each with mist, fan and heater that are driven."""
    lines = [
        "farm: {name: Bench farm, zone: Europe/Rome, advise_only: no}",
        f"broker: {{host: 127.0.0.1, port: {port}, client_id: bench-daemon}}",
        "rates: {board_per_s: 0}",  # as fast as it can: that is what is measured
        "spaces:",
    ]
    lines += [
        f"  s{n}: {{name: Room {n}, kind: room, walk_in: no, volume_m3: 60, "
        "crop: {species: grey-oyster, stage: fruiting, kg: 240}}"
        for n in range(SPACES)
    ]
    lines.append("sensors:")
    for n in range(SPACES):
        for quantity, unit, key in QUANTITIES:
            lines.append(
                f"  s{n}-{key}: {{space: s{n}, quantity: {quantity}, unit: '{unit}', topic: bench/{n}/{key}, "
                f"format: json, path: /v, seq: /n, every: 10 s, error: 0.3, calibrated: yes}}"
            )
    lines.append(
        f"  s0-door: {{space: s0, quantity: door, topic: {TRIGGER}, format: words, "
        "words: {open: open, closed: closed}, every: 60 s}"
    )
    lines.append("relays:")
    for n in range(SPACES):
        lines += [
            f"  s{n}-mist: {{role: mist, space: s{n}, litres_per_h: 24, least_on: 0 s, longest_run: 10 min, "
            f"run_time_limiter: {{cuts_after: 11 min, tested: 2025-11-02}}, "
            f"command: {{topic: {COMMAND.replace('0', str(n))}}}}}",
            f"  s{n}-fan: {{role: fan, space: s{n}, air_m3_per_h: 250, "
            f"command: {{topic: bench/{n}/fan/set}}}}",
            f"  s{n}-heater: {{role: heater, space: s{n}, watts: 800, "
            f"command: {{topic: bench/{n}/heater/set}}}}",
        ]
    return "\n".join(lines) + "\n"


def cpu_s(pid: int) -> float:
    """User and system time of a process, seconds. Source: proc(5), fields 14 and 15 of stat."""
    fields = Path(f"/proc/{pid}/stat").read_text().rsplit(")", 1)[1].split()
    return (int(fields[11]) + int(fields[12])) / TICKS_PER_S


def rss_mb(pid: int) -> float:
    """Resident memory of a process, 10^6 bytes. Source: proc(5), VmRSS of status."""
    for line in Path(f"/proc/{pid}/status").read_text().splitlines():
        if line.startswith("VmRSS"):
            return int(line.split()[1]) * 1024 / 1e6
    raise AssertionError(f"/proc/{pid}/status has no VmRSS")


@dataclass(frozen=True)
class Daemon:
    """A running daemon."""

    pid: int
    config: Path
    state: Path

    @property
    def journal(self) -> Path:
        return self.state / "journal.db"


@contextmanager
def fresh_broker(*, no_delay: bool = False) -> Iterator[MosquittoBroker]:
    """A broker nobody has a session with, in a directory of its own. Its queues have no bound."""
    with tempfile.TemporaryDirectory() as directory:
        broker = MosquittoBroker(Path(directory), max_queued=0)
        if no_delay:
            config = broker.directory / "mosquitto.conf"
            config.write_text(config.read_text() + "set_tcp_nodelay true\n")
        broker.start()
        try:
            yield broker
        finally:
            broker.stop()


@contextmanager
def daemon(directory: Path, port: int) -> Iterator[Daemon]:
    """The installed daemon on the bench farm, listening and past its marker; killed at the end."""
    config, state = directory / "farm.yaml", directory / "state"
    config.write_text(farm_text(port))
    state.mkdir(exist_ok=True)
    log = (directory / "daemon.log").open("ab")
    with heard(port, "gillhouse/marker/bench-daemon") as markers:
        process = subprocess.Popen(
            [GILLHOUSE, "run", "--config", config, "--state", state], stdout=log, stderr=subprocess.STDOUT
        )
        try:
            markers.get(timeout=READY_S)
        except Empty:
            process.kill()
            said = (directory / "daemon.log").read_text()[-800:]
            raise AssertionError(f"the daemon did not come up in {READY_S:g} s; it said: {said}") from None
    try:
        yield Daemon(process.pid, config, state)
    finally:
        process.kill()
        process.wait()
        log.close()


@contextmanager
def heard(port: int, topic: str) -> Iterator["SimpleQueue[bytes]"]:
    """Payloads that come on `topic` from now on."""
    client = client_on(port, f"ear-{next(_EARS)}")
    payloads: SimpleQueue[bytes] = SimpleQueue()
    ready: list[bool] = []
    client.on_message = lambda _client, _userdata, message: payloads.put(message.payload)
    client.on_subscribe = lambda *_: ready.append(True)
    client.subscribe(topic, qos=1)
    client.loop_start()
    wait_until(lambda: ready, READY_S, f"a subscription to {topic}")
    yield payloads
    client.disconnect()
    client.loop_stop()


def ask(running: Daemon, *words: str) -> str:
    """What a gillhouse command says about the running daemon."""
    done = subprocess.run(
        [GILLHOUSE, *words, "--state", running.state], capture_output=True, text=True, check=False
    )
    assert done.returncode == 0, f"gillhouse {' '.join(words)}: {done.stderr or done.stdout}"
    return done.stdout


def reading(n: int) -> tuple[str, bytes]:
    """The n-th message of the load: its topic and ~55 bytes of JSON.

    Values wander inside the band by less than a jump: the rules run, the relays mostly rest.
    """
    space, kind = divmod(n % SERIES, len(QUANTITIES))
    _, _, key = QUANTITIES[kind]
    step = n // SERIES * 7 % 11
    value = (87.0 + step / 10, 15.0 + step / 50, 700.0 + step)[kind]
    body = {"v": round(value, 2), "n": n // SERIES, "dev": "bench-board-01", "up": 100_000 + n}
    return f"bench/{space}/{key}", json.dumps(body).encode()
