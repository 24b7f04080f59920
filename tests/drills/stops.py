"""Stopped and woken, cut at the network thread, started twice, given a torn farm file.

What must hold: a daemon that was frozen lets nothing run on and loses nothing; a dead network thread is
replaced; a second daemon on the same state directory refuses; half a farm file is refused and the old one
stays in force.
"""

import ctypes
import signal
import subprocess
import sys
import threading
import time
from pathlib import Path

from farm import FARM
from tests.drills.brokers import house
from tests.drills.drill import Drill, Line, Size, Told, count
from tests.drills.house import UP_S, DryAir, Load, RelayBoard, ear, environment, farm_text, wait_for_marker
from tests.drills.kills import compare

from gillhouse.clock import SystemClock
from gillhouse.config import load
from gillhouse.errors import ConfigError
from gillhouse.service import Service, turning
from servers import MosquittoBroker, wait_until

FROZEN_S = {Size.QUICK: 1, Size.FULL: 120}
THREADS = {Size.QUICK: 2, Size.FULL: 6}
EVERY_BYTE = {Size.QUICK: 97, Size.FULL: 1}


def frozen(size: Size, folder: Path, told: Told) -> list[Line]:
    """SIGSTOP in the middle of it all, for two minutes, then SIGCONT."""
    seconds, idle = FROZEN_S[size], threading.Event()
    with house(folder) as (broker, daemon), ear(broker.port) as markers:
        relays, boards, air = RelayBoard(broker.port), Load(broker.port), DryAir(broker.port)
        daemon.start()
        wait_for_marker(markers, 0)
        boards.start()
        air.start()
        wait_until(lambda: relays.ons, UP_S, "mist to run")
        daemon.signal(signal.SIGSTOP)
        end = time.monotonic() + seconds
        while time.monotonic() < end:
            told(1 - (end - time.monotonic()) / seconds)
            idle.wait(0.2)
        still_on = [
            topic
            for topic, relay in relays.relays.items()
            if relay.on_since is not None and time.monotonic() > relay.lease_end + 0.5
        ]
        heard = relays.ons
        daemon.signal(signal.SIGCONT)
        woken = time.monotonic()
        wait_until(lambda: relays.ons > heard, UP_S, "mist to run again")
        again_s = time.monotonic() - woken
        air.stop()
        acknowledged = boards.stop()
        missing, twice = compare(boards, acknowledged, daemon.state / "journal.db")
        late = relays.past_their_lease()
        relays.close()
    assert not still_on and not late, (still_on, late)
    return [
        Line("frozen for (s)", str(seconds)),
        Line("relays on past the end of their command meanwhile", "0", "0"),
        Line(
            "readings acknowledged, missing, twice", f"{count(len(acknowledged))}, {missing}, {twice}", "0, 0"
        ),
        Line("seconds from waking until mist ran again", f"{again_s:.1f}"),
    ]


def strike(name: str) -> None:
    """Raises SystemExit in the thread of that name. Source: Python/C API, PyThreadState_SetAsyncExc."""
    (found,) = [one for one in threading.enumerate() if one.name == name]
    assert found.ident is not None
    hit = ctypes.pythonapi.PyThreadState_SetAsyncExc(
        ctypes.c_ulong(found.ident), ctypes.py_object(SystemExit)
    )
    assert hit == 1


def network(size: Size, folder: Path, told: Told) -> list[Line]:
    """The network thread is struck dead again and again; at the end the thread that minds it too."""
    broker = MosquittoBroker(folder)
    broker.start()
    (folder / "farm.yaml").write_text(farm_text(broker))
    boards = Load(broker.port)
    service = Service(load(folder / "farm.yaml"), folder, SystemClock())
    try:
        service.start()
        wait_until(lambda: service.link.synced, UP_S, "the link")
        boards.start()
        slowest_s = 0.0
        for turn in range(THREADS[size]):
            before = boards.sent
            wait_until(lambda before=before: boards.sent > before + 100, UP_S, "some load")  # type: ignore[misc]
            session = service.link._session
            strike("broker-network")
            began = time.monotonic()
            wait_until(
                lambda session=session: service.link._session is not session and service.link.synced,
                UP_S,
                "another",
            )  # type: ignore[misc]
            slowest_s = max(slowest_s, time.monotonic() - began)
            told((turn + 1) / THREADS[size])
        acknowledged = boards.stop()
        missing, twice = compare(boards, acknowledged, folder / "journal.db")
        stamp = {part.name: part for part in turning(service)}["the broker link"]
        strike("broker-link")
        stamp.ask()
        wait_until(
            lambda: "broker-link" not in [one.name for one in threading.enumerate()], UP_S, "it to be gone"
        )
        last = stamp.last_turn_ms()
        stamp.ask()
        assert stamp.last_turn_ms() == last, "a dead thread's stamp goes on, so no watchdog would see it"
    finally:
        service.stop()
        broker.stop()
    return [
        Line("network thread killed, times", count(THREADS[size])),
        Line("slowest to be replaced and listening (s)", f"{slowest_s:.1f}"),
        Line(
            "readings acknowledged, missing, twice", f"{count(len(acknowledged))}, {missing}, {twice}", "0, 0"
        ),
        Line(
            "the thread that minds it killed: its stamp stands still, for the watchdog to see", "yes", "yes"
        ),
    ]


def two(size: Size, folder: Path, told: Told) -> list[Line]:
    """A second daemon is started on the same state directory."""
    with house(folder) as (_, daemon):
        daemon.start()
        wait_until(daemon.connected, UP_S, "the link")
        assert daemon.process is not None
        second = subprocess.run(
            [sys.executable, "-m", "gillhouse", "run", "--config", daemon.config, "--state", daemon.state],
            capture_output=True, text=True, timeout=60, check=False, env=environment(),
        )  # fmt: skip
        assert second.returncode != 0
        assert f"process {daemon.process.pid}" in second.stderr, second.stderr
        assert daemon.connected(), "the first one was disturbed"
    told(1.0)
    return [
        Line("a second daemon on the same state directory", "refused, naming the first", "refused"),
        Line("the first one", "undisturbed", "undisturbed"),
    ]


def torn(size: Size, folder: Path, told: Told) -> list[Line]:
    """The farm file is cut at every byte, and the daemon is told to read it again, and started with it."""
    path = folder / "farm.yaml"
    text = FARM.format(port=1, low=87, protocol="auto")
    path.write_text(text)
    whole = load(path)
    service = Service(whole, folder / "state", SystemClock())
    refused = taken = 0
    lengths = range(0, len(text), EVERY_BYTE[size])
    try:
        service.start()
        for length in lengths:
            path.write_text(text[:length])
            try:
                service.reload(load(path))
            except ConfigError as error:
                assert "farm.yaml" in str(error)
                refused += 1
            else:
                taken += 1
            differs = set(whole.farm.relays) != set(service.config.farm.relays) or set(
                whole.farm.sensors
            ) != set(service.config.farm.sensors)
            assert not differs, f"the first {length} bytes of the file were taken for a smaller farm"
            told(length / len(text))
    finally:
        service.stop()
    return [
        Line("farm file cut, at how many lengths", count(len(lengths))),
        Line("refused, the old one in force", count(refused)),
        Line("taken, because nothing but blanks was missing", count(taken)),
        Line("taken for a smaller farm", "0", "0"),
    ]


FROZEN = Drill("Frozen", "SIGSTOP for two minutes under load, while mist runs; then SIGCONT.", frozen)
NETWORK = Drill(
    "Network thread killed",
    "The thread that talks to the broker is killed inside the daemon, under load.",
    network,
)
TWO = Drill("Two daemons", "A second one is started on the same state directory.", two)
TORN = Drill(
    "Torn farm file", "The file is cut at every byte length and read again by a running daemon.", torn
)
