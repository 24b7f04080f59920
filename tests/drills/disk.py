"""The disk full, read-only, slow, stalled; and a journal that is damaged when the daemon starts.

What must hold: control does not wait for it, people are told, what waits in memory is written once the disk
is back, what is lost is counted, and a damaged journal is set aside whole while a new one is begun. The
quick form fails SQLite's own writes (`faulty_disk`). The full form, as root, also fills a real file system
and takes another away under the daemon (tmpfs of 24 MB; ext4 on a loop device, remounted with `abort`,
which is what the kernel does by itself after a write error: mount(8), ext4(5)).
"""

import errno
import itertools
import json
import os
import signal
import sqlite3
import statistics
import subprocess
import sys
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import closing, contextmanager
from pathlib import Path
from queue import Empty

import paho.mqtt.client as paho
from farm import Daemon
from tests.bench.bare import COMMAND, TRIGGER, client_on
from tests.bench.process import farm_text as bench_farm
from tests.bench.process import heard
from tests.drills import ROOT
from tests.drills.brokers import gaps
from tests.drills.drill import Drill, Line, Size, Told, count
from tests.drills.faulty_disk import put
from tests.drills.house import UP_S, environment

from gillhouse.core.outputs import EventKind
from gillhouse.store.reader import Reader
from servers import HOST, MosquittoBroker, wait_until

STALLS_MS = (0, 200, 5000)
TRIGGERS = {Size.QUICK: 40, Size.FULL: 300}
ANSWER_S = 20.0
WITHIN_MS = 100.0
"""What a command may take with the disk stalled, 95th percentile: half the shorter stall, far over the
noise of a busy machine. The figures themselves are printed side by side."""
WELL_S = 90.0
"""The store looks again after growing waits, at most 30 s apart; see `gillhouse.store.health`."""


class OnFaultyDisk(Daemon):
    """The bench's farm (its door makes a command at once) on a disk that obeys `fault`."""

    def __init__(self, folder: Path, broker: MosquittoBroker, state: Path | None = None) -> None:
        super().__init__(folder, broker)
        self.state = state or self.state
        self.fault = folder / "fault"
        self.config.write_text(bench_farm(broker.port) + "store: {commit_every: 1 s}\n")

    def start(self) -> None:
        with self.log.open("a") as log:
            self.process = subprocess.Popen(
                [sys.executable, "-m", "tests.drills.faulty_disk", str(self.fault), "run", "--config",
                 str(self.config), "--state", str(self.state)],
                stderr=log, stdout=log, text=True, env=environment(), cwd=ROOT,
            )  # fmt: skip
        wait_until(lambda: (self.state / "local.sock").exists() or self.ended(), UP_S, "the daemon to be up")
        assert not self.ended(), self.log.read_text()[-2000:]


@contextmanager
def house(folder: Path, state: Path | None = None) -> Iterator[tuple[MosquittoBroker, OnFaultyDisk]]:
    broker = MosquittoBroker(folder)
    config = folder / "mosquitto.conf"
    config.write_text(config.read_text() + "set_tcp_nodelay true\n")
    broker.start()
    daemon = OnFaultyDisk(folder, broker, state)
    try:
        daemon.start()
        wait_until(daemon.connected, UP_S, "the link")
        yield broker, daemon
    finally:
        daemon.kill()
        broker.stop()


def mist_by_hand(daemon: Daemon, broker: MosquittoBroker) -> None:
    """The door says that it is closed, then somebody runs the mist: from now on the door moves it."""
    sender = client_on(broker.port, "first-door")
    sender.loop_start()
    with heard(broker.port, COMMAND) as commands:
        sender.publish(TRIGGER, b"closed", qos=1).wait_for_publish(ANSWER_S)
        daemon.run("override", "s0-mist", "on", "--for", "20m", "--why", "drill")
        commands.get(timeout=ANSWER_S)
    sender.disconnect()
    sender.loop_stop()


def latency_ms(port: int, triggers: int) -> list[float]:
    """From a door's message to the mist's command over the wire, each of `triggers` times."""
    sender = client_on(port, "door")
    sender.loop_start()
    took, words = [], itertools.cycle((b"open", b"closed"))
    pace = threading.Event()
    with heard(port, COMMAND) as commands:
        for number in range(triggers):
            began = time.perf_counter()
            sender.publish(TRIGGER, next(words), qos=1)
            try:
                commands.get(timeout=ANSWER_S)
            except Empty:
                raise AssertionError(f"no command within {ANSWER_S:g} s of trigger {number}") from None
            took.append((time.perf_counter() - began) * 1000)
            pace.wait(0.02)  # a door does not move faster
    sender.disconnect()
    sender.loop_stop()
    return took


def p95(took: list[float]) -> float:
    return statistics.quantiles(took, n=20, method="inclusive")[18]


def stalled(size: Size, folder: Path, told: Told) -> list[Line]:
    """Each write takes 200 ms, then 5 s, while a door makes commands."""
    found: dict[int, float] = {}
    with house(folder) as (broker, daemon):
        mist_by_hand(daemon, broker)
        latency_ms(broker.port, 10)
        for share, stall_ms in enumerate(STALLS_MS):
            put(daemon.fault, f"stall {stall_ms}" if stall_ms else "")
            found[stall_ms] = p95(latency_ms(broker.port, TRIGGERS[size]))
            told((share + 1) / 4)
        assert all(p95_ms < WITHIN_MS for p95_ms in found.values()), found
        put(daemon.fault, "")
        wait_until(lambda: told_of(daemon.state), WELL_S, "the stalled disk in the journal")
    return [
        Line(
            f"control with each write stalled {stall_ms} ms: command after a door, p95",
            f"{found[stall_ms]:.2f} ms",
            "as without" if stall_ms else "",
        )
        for stall_ms in STALLS_MS
    ]


def told_of(state: Path) -> list[bool]:
    """The store's going and coming back, as the journal has it."""
    with Reader(state / "journal.db") as reader:
        return [
            bool(at.event.facts["up"])
            for at in reader.events(0, 1 << 62, EventKind.LINK)
            if at.event.subject == "store"
        ]


def push(port: int, numbers: range) -> None:
    """Readings with the board's own number, acknowledged by the broker."""
    client = paho.Client(paho.CallbackAPIVersion.VERSION2, client_id="push", protocol=paho.MQTTv5)
    client.connect(HOST, port)
    client.loop_start()
    words = [client.publish("bench/1/rh", json.dumps({"v": 87 + n % 9 / 10, "n": n}), qos=1) for n in numbers]
    wait_until(lambda: all(word.is_published() for word in words), UP_S, "the broker to take them")
    client.disconnect()
    client.loop_stop()


def kept(state: Path) -> int:
    """How many of `push` are in the journal, each counted once."""
    with closing(sqlite3.connect(f"file:{state}/journal.db?mode=ro", uri=True)) as db:
        (rows, numbers) = db.execute(
            "SELECT count(*), count(DISTINCT board_seq) FROM readings_named WHERE sensor = 's1-rh'"
        ).fetchone()
        (spare,) = db.execute(
            "SELECT count(*) FROM inputs WHERE kind = 'Reading' AND json_extract(body, '$.sensor') = 's1-rh'"
        ).fetchone()
    assert rows == numbers, "a reading is there twice"
    return int(rows + spare)


def store_up(daemon: Daemon) -> bool:
    """What the daemon itself says of its journal."""
    return bool(json.loads(daemon.run("now", "--json"))["links"]["store"]["up"])


def refused(size: Size, folder: Path, told: Told) -> list[Line]:
    """The disk is full, then read-only, then fails; each time until that is told, then it is well again."""
    sent, latest = 0, 0.0
    with house(folder) as (broker, daemon):
        mist_by_hand(daemon, broker)
        words = REFUSALS if size is Size.FULL else REFUSALS[:1]
        for share, word in enumerate(words):
            put(daemon.fault, word)
            push(broker.port, range(sent, sent + 100))
            sent += 100
            wait_until(lambda: not store_up(daemon), 30, f"a disk that is {word} to be noticed")
            latest = max(latest, p95(latency_ms(broker.port, 20)))
            put(daemon.fault, "")
            wait_until(lambda: store_up(daemon), WELL_S, "the store to be back")
            told((share + 1) / 4)
        wait_until(lambda: kept(daemon.state) >= sent, UP_S, "all of it stored")
        assert kept(daemon.state) == sent
        assert latest < WITHIN_MS, latest
        assert told_of(daemon.state).count(True) >= len(words)
        lost = [gap for gap in gaps(daemon.state, "store") if gap.get("lost")]
        assert not lost, lost
    return [
        Line("disk full, read-only, failing: readings sent meanwhile", count(sent)),
        Line("of those stored once it was well", count(sent), "all"),
        Line("command after a door meanwhile, p95", f"{latest:.2f} ms"),
        Line("times the journal says it was gone and back", str(len(words)), str(len(words))),
    ]


def damaged(size: Size, folder: Path, told: Told) -> list[Line]:
    """The journal is damaged when the daemon starts: in its head or middle, cut off, or no journal at all."""
    ways = DAMAGE if size is Size.FULL else dict(list(DAMAGE.items())[:2])
    with house(folder) as (broker, daemon):
        for share, (way, damage) in enumerate(ways.items()):
            push(broker.port, range(share * 100, share * 100 + 100))
            wait_until(lambda: kept(daemon.state) >= 100, UP_S, "a journal worth damaging")
            daemon.signal(signal.SIGTERM)
            assert daemon.wait() == 0
            journal = daemon.state / "journal.db"
            with closing(sqlite3.connect(journal)) as db:  # so that all of it lies in the one file
                db.execute("PRAGMA wal_checkpoint(TRUNCATE)")
            before = damage(journal.read_bytes())
            journal.write_bytes(before)
            daemon.start()
            wait_until(daemon.connected, UP_S, f"the daemon to run beside a journal that was {way}")
            aside = [
                one
                for one in daemon.state.glob("journal.db.damaged-*")
                if not one.name.endswith(("-wal", "-shm"))
            ]
            assert len(aside) == share + 1, f"a journal {way} was not set aside"
            assert before in [one.read_bytes() for one in aside], "it was not kept as it was found"
            alarms = json.loads(daemon.run("now", "--json"))["alarms"]
            assert any("journal-damaged" in json.dumps(one) for one in alarms), alarms
            told((share + 1) / len(ways))
    return [
        Line("journal damaged at the start, ways", count(len(ways))),
        Line("set aside as found, told, running with a new one", count(len(ways)), "all"),
    ]


def real(size: Size, folder: Path, told: Told) -> list[Line]:
    """A file system that is really full, and one that really goes away. As root, in the full form."""
    if size is Size.QUICK or os.geteuid() != 0:
        return [Line("real file systems", "only in the full form, as root")]
    return [*really_full(folder / "full", told), *really_gone(folder / "gone", told)]


def really_full(folder: Path, told: Told) -> list[Line]:
    disk = folder / "disk"
    disk.mkdir(parents=True)
    subprocess.run(["mount", "-t", "tmpfs", "-o", "size=24m", "tmpfs", disk], check=True)
    try:
        with house(folder, disk / "state") as (broker, daemon):
            ballast = disk / "ballast"
            fill(ballast)
            push(broker.port, range(500))
            wait_until(lambda: not store_up(daemon), 60, "the full disk to be noticed")
            told(0.3)
            ballast.unlink()
            wait_until(lambda: store_up(daemon), WELL_S, "the store to be back")
            wait_until(lambda: kept(daemon.state) >= 500, UP_S, "all of it stored")
            assert kept(daemon.state) == 500
    finally:
        subprocess.run(["umount", disk], check=True)
    return [Line("a real file system, full (tmpfs): readings sent, stored afterwards", "500, 500", "all")]


def fill(ballast: Path) -> None:
    """Writes until nothing more fits."""
    file = os.open(ballast, os.O_WRONLY | os.O_CREAT)
    for size in (65_536, 4_096, 1):
        try:
            while os.write(file, b"x" * size):
                pass
        except OSError as error:
            assert error.errno == errno.ENOSPC, error
    os.close(file)


def really_gone(folder: Path, told: Told) -> list[Line]:
    disk, image = folder / "disk", folder / "image"
    disk.mkdir(parents=True)
    with image.open("wb") as file:
        file.truncate(32 << 20)
    subprocess.run(["mkfs.ext4", "-q", image], check=True)
    subprocess.run(["mount", "-o", "loop", image, disk], check=True)
    try:
        with house(folder, disk / "state") as (broker, daemon):
            push(broker.port, range(100))
            wait_until(lambda: kept(daemon.state) >= 100, UP_S, "the first readings stored")
            mist_by_hand(daemon, broker)
            subprocess.run(
                ["mount", "-o", "remount,abort", disk], check=True
            )  # what ext4 does after an error
            push(broker.port, range(100, 200))
            wait_until(lambda: not store_up(daemon), 60, "the read-only disk to be noticed")
            latest = p95(latency_ms(broker.port, 40))
            told(0.7)
        subprocess.run(["umount", disk], check=True)
        subprocess.run(["fsck.ext4", "-p", "-f", image], check=False, capture_output=True)
        subprocess.run(["mount", "-o", "loop", image, disk], check=True)
        assert kept(disk / "state") >= 100, "what was stored before it went read-only is gone"
    finally:
        subprocess.run(["umount", disk], check=True)
    return [
        Line(
            "a real file system that turned read-only (ext4): stored before it, there after the repair",
            "100, 100",
            "all",
        ),
        Line("command after a door meanwhile, p95", f"{latest:.2f} ms"),
    ]


REFUSALS = ("full", "read-only", "broken")
DAMAGE: dict[str, Callable[[bytes], bytes]] = {
    "overwritten after its head": lambda whole: whole[:200] + b"\xa5" * (len(whole) - 200),
    "a shopping list": lambda _: b"two cans of paint\n" * 400,
    "overwritten at its head": lambda whole: b"\x00" * 100 + whole[100:],
    "cut in the middle": lambda whole: whole[: len(whole) // 2],
}
STALLED = Drill(
    "Disk stalled", "Each write to the journal takes 200 ms, then 5 s, while a door makes commands.", stalled
)
REFUSED = Drill(
    "Disk full, read-only, failing", "Each write answers with the error, until that is told.", refused
)
REAL = Drill("Disk full and gone, for real", "A full tmpfs; an ext4 that aborts and turns read-only.", real)
DAMAGED = Drill("Journal damaged", "The journal's file is damaged while the daemon is down.", damaged)
