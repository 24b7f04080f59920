"""The broker absent, slow, restarted, wiped, damaged, and an hour of readings waiting at it.

Debian's mosquitto throughout. What must hold: the daemon stays up and steers, nothing that was acknowledged
to a board and still stood at the broker is lost, and what a wiped broker took with it is named in the
journal.
"""

import json
import select
import socket
import sqlite3
import threading
import time
from collections.abc import Iterator
from contextlib import closing, contextmanager
from pathlib import Path

import paho.mqtt.client as paho
from farm import Board, Daemon
from tests.drills.drill import Drill, Line, Size, Told, count
from tests.drills.house import UP_S, Load, ear, farm_text, wait_for_marker
from tests.drills.kills import compare

from gillhouse.core.outputs import EventKind
from gillhouse.store.reader import Reader
from servers import HOST, MosquittoBroker, free_port, listening, wait_until
from service.test_kill import BOARDS

RESTARTS = {Size.QUICK: 2, Size.FULL: 10}
QUEUED = {Size.QUICK: 2_000, Size.FULL: 20_000}
DELAY_S = {Size.QUICK: 0.3, Size.FULL: 2.0}
SLOW_READINGS = {Size.QUICK: 20, Size.FULL: 200}
PACE_S = 0.1
"""Between two readings of a slow link's load."""
HOUR_S = 3600
DRAIN_S = 120.0


def the_daemon(folder: Path, broker: MosquittoBroker, port: int | None = None) -> Daemon:
    """The drills' farm on `broker`, or on another port in front of it."""
    one = Daemon(folder, broker)
    text = farm_text(broker)
    one.config.write_text(text.replace(f"port: {broker.port}", f"port: {port}") if port else text)
    return one


@contextmanager
def house(
    folder: Path, *, persistent: bool = False, port: int | None = None
) -> Iterator[tuple[MosquittoBroker, Daemon]]:
    broker = MosquittoBroker(folder, persistent=persistent, max_queued=50_000)
    broker.start()
    daemon = the_daemon(folder, broker, port)
    try:
        yield broker, daemon
    finally:
        daemon.kill()
        broker.stop()


def steers(daemon: Daemon, broker: MosquittoBroker) -> None:
    """Dry air must make the mist run."""
    board = Board(broker)
    try:
        before = len(board.ons("t/mist/set"))

        def look() -> bool:
            board.air(70.0)
            return len(board.ons("t/mist/set")) > before

        wait_until(look, UP_S, "mist after dry air")
    finally:
        board.close()
    assert not daemon.ended()


def absent(size: Size, folder: Path, told: Told) -> list[Line]:
    """Nobody answers at the broker's address when the daemon starts."""
    with house(folder) as (broker, daemon):
        broker.stop()
        daemon.start()
        assert not daemon.connected()
        status = json.loads(daemon.run("now", "--json"))
        assert status["spaces"], "the daemon does not answer while the broker is away"
        began = time.monotonic()
        broker.start()
        wait_until(daemon.connected, 60, "the link to come up")
        took_s = time.monotonic() - began
        steers(daemon, broker)
    told(1.0)
    return [
        Line("broker absent at the start: up and answering meanwhile", "yes", "yes"),
        Line("seconds until the link stood once it was there", f"{took_s:.1f}", ""),
    ]


class SlowWay:
    """A TCP relay in front of the broker that holds every piece back for a while, both ways."""

    def __init__(self, port: int, delay_s: float) -> None:
        self.port, self._to, self._delay_s = free_port(), port, delay_s
        self._listener = socket.create_server((HOST, self.port))
        self._stop = threading.Event()
        threading.Thread(target=self._run, daemon=True).start()

    def _run(self) -> None:
        while not self._stop.is_set():
            if not select.select([self._listener], [], [], 0.1)[0]:
                continue
            try:
                near, _ = self._listener.accept()
            except OSError:
                return  # closed
            far = socket.create_connection((HOST, self._to))
            for one, other in ((near, far), (far, near)):
                threading.Thread(target=self._carry, args=(one, other), daemon=True).start()

    def _carry(self, one: socket.socket, other: socket.socket) -> None:
        try:
            while piece := one.recv(512):
                self._stop.wait(self._delay_s)
                other.sendall(piece)
        except OSError:
            pass  # one side has gone; so does the other
        finally:
            other.close()

    def close(self) -> None:
        self._stop.set()
        self._listener.close()


def slow(size: Size, folder: Path, told: Told) -> list[Line]:
    """Every piece of every message takes seconds, both ways."""
    delay_s, readings, pace = DELAY_S[size], SLOW_READINGS[size], threading.Event()
    broker = MosquittoBroker(folder)
    broker.start()
    way = SlowWay(broker.port, delay_s)
    daemon = the_daemon(folder, broker, way.port)
    board = Board(broker)
    try:
        with ear(broker.port) as markers:
            daemon.start()
            wait_for_marker(markers, 0)  # it has asked for its topics
        sent, end = 0, time.monotonic() + UP_S + delay_s * 20
        while sent < readings or not board.ons("t/mist/set"):
            assert time.monotonic() < end, "no mist over a slow link"
            pace.wait(PACE_S)
            board.air(70.0 + sent % 5 / 10)
            sent += 1
            told(min(1.0, sent / readings))
        wait_until(lambda: rows(daemon.state, "tent-rh") >= sent, DRAIN_S, "all of them stored")
        assert rows(daemon.state, "tent-rh") == sent
        assert not links(daemon.state, up=False), "a slow broker was taken for a dead one"
    finally:
        board.close()
        daemon.kill()
        way.close()
        broker.stop()
    return [
        Line(f"broker slow ({delay_s:g} s each way): readings sent, stored", f"{sent}, {sent}", "all"),
        Line("times it was taken for gone", "0", "0"),
    ]


def rows(state: Path, sensor: str) -> int:
    """Its readings in the journal; those that came in one millisecond with another lie among the inputs."""
    with closing(sqlite3.connect(f"file:{state}/journal.db?mode=ro", uri=True)) as db:
        (found,) = db.execute("SELECT count(*) FROM readings_named WHERE sensor = ?", (sensor,)).fetchone()
        (spare,) = db.execute(
            "SELECT count(*) FROM inputs WHERE kind = 'Reading' AND json_extract(body, '$.sensor') = ?",
            (sensor,),
        ).fetchone()
    return int(found) + int(spare)


def links(state: Path, *, up: bool) -> list[str]:
    with Reader(state / "journal.db") as reader:
        return [
            str(at.event.facts["detail"])
            for at in reader.events(0, 1 << 62, EventKind.LINK)
            if at.event.subject == "broker" and at.event.facts["up"] is up
        ]


def restarted(size: Size, folder: Path, told: Told) -> list[Line]:
    """A broker that keeps its state is stopped and started under load."""
    with house(folder, persistent=True) as (broker, daemon), ear(broker.port) as markers:
        daemon.start()
        wait_for_marker(markers, 0)
        boards = Load(broker.port)
        boards.start()
        for turn in range(RESTARTS[size]):
            sent, before = boards.sent, len(markers)
            wait_until(lambda sent=sent: boards.sent > sent + 150, UP_S, "some load")  # type: ignore[misc]
            broker.restart()
            wait_for_marker(markers, before)
            told((turn + 1) / RESTARTS[size])
        acknowledged = boards.stop()
        missing, twice = compare(boards, acknowledged, daemon.state / "journal.db")
        steers(daemon, broker)
    return [
        Line("broker restarted under load, times", count(RESTARTS[size])),
        Line(
            "readings acknowledged, missing, twice", f"{count(len(acknowledged))}, {missing}, {twice}", "0, 0"
        ),
    ]


def gaps(state: Path, subject: str) -> list[dict[str, object]]:
    with Reader(state / "journal.db") as reader:
        return [
            dict(at.event.facts)
            for at in reader.events(0, 1 << 62, EventKind.GAP)
            if at.event.subject == subject
        ]


def wiped(size: Size, folder: Path, told: Told) -> list[Line]:
    """The daemon is away, readings wait at the broker, and the broker loses its state file."""
    with house(folder, persistent=True) as (broker, daemon), ear(broker.port) as markers:
        daemon.start()
        wait_for_marker(markers, 0)
        kept = send(broker.port, range(100), time.time())
        wait_until(lambda: load_rows(daemon.state) >= kept, UP_S, "the first readings stored")
        daemon.kill()
        (daemon.state / "local.sock").unlink(missing_ok=True)
        send(broker.port, range(100, 150), time.time())  # only the broker has these
        broker.kill()
        for one in folder.glob("mosquitto.db*"):
            one.unlink()
        broker.start()
        daemon.start()
        (gap,) = wait_until(lambda: gaps(daemon.state, "broker"), 60, "the gap to be told")
        assert load_rows(daemon.state) == kept
        newest = newest_ms(daemon.state)
        assert isinstance(gap["from_ms"], int) and isinstance(gap["to_ms"], int)
        assert newest - 15_000 <= gap["from_ms"] <= newest + 15_000, "the gap begins where the journal ends"
        assert gap["to_ms"] >= int(time.time() * 1000) - 60_000
        steers(daemon, broker)
    told(1.0)
    return [
        Line("broker wiped: of what the daemon had stored, missing", "0", "0"),
        Line("of what only the broker had, lost", "50 of 50, its queue", ""),
        Line("the journal names the span", f"{(gap['to_ms'] - gap['from_ms']) / 1000:.0f} s", "yes"),
    ]


def damaged(size: Size, folder: Path, told: Told) -> list[Line]:
    """The broker's state file is damaged by a power cut, and it will not start."""
    with house(folder, persistent=True) as (broker, daemon), ear(broker.port) as markers:
        daemon.start()
        wait_for_marker(markers, 0)
        broker.stop()
        state = folder / "mosquitto.db"
        whole = state.read_bytes()
        state.write_bytes(whole[: len(whole) // 2] + b"\xff" * 40)
        refused = starts_not(broker)
        wait_until(lambda: links(daemon.state, up=False), 60, "the loss to be told")
        assert json.loads(daemon.run("now", "--json"))["spaces"], "the daemon does not answer"
        state.rename(folder / "mosquitto.db.damaged")
        broker._process = None
        broker.start()
        wait_until(daemon.connected, 60, "the link to come back")
        steers(daemon, broker)
        assert gaps(daemon.state, "broker"), "a broker without its state is told as a gap"
    told(1.0)
    return [
        Line("broker's state file damaged: it starts with it", "no" if refused else "yes"),
        Line("daemon up meanwhile; link and steering back once the file was moved aside", "yes", "yes"),
    ]


def starts_not(broker: MosquittoBroker) -> bool:
    try:
        broker.start()
    except AssertionError:
        return True
    return not listening(HOST, broker.port)


def send(port: int, numbers: range, newest_s: float, span_s: float = 1.0) -> int:
    """Readings of all boards by number, spread over `span_s` up to `newest_s`. Returns how many."""
    client = paho.Client(paho.CallbackAPIVersion.VERSION2, client_id="backlog", protocol=paho.MQTTv5)
    client.max_inflight_messages_set(1000)
    client.connect(HOST, port)
    client.loop_start()
    words = []
    for place, n in enumerate(numbers):
        at = newest_s - span_s + span_s * (place + 1) / len(numbers)
        body = json.dumps({"v": 87 + n % 20 / 10, "n": n // BOARDS, "at": round(at, 3)})
        words.append(client.publish(f"boards/{n % BOARDS}", body, qos=1))
    wait_until(lambda: all(word.is_published() for word in words), DRAIN_S, "the broker to take them")
    client.disconnect()
    client.loop_stop()
    return len(words)


def newest_ms(state: Path) -> int:
    """The wall time of the newest reading."""
    with closing(sqlite3.connect(f"file:{state}/journal.db?mode=ro", uri=True)) as db:
        (found,) = db.execute("SELECT max(ts) FROM readings_named").fetchone()
    return int(found)


def load_rows(state: Path) -> int:
    with closing(sqlite3.connect(f"file:{state}/journal.db?mode=ro", uri=True)) as db:
        (found,) = db.execute("SELECT count(*) FROM readings_named WHERE sensor LIKE 'board-%'").fetchone()
    return int(found)


def queued(size: Size, folder: Path, told: Told) -> list[Line]:
    """The daemon is away for an hour, then finds an hour of readings at the broker."""
    how_many = QUEUED[size]
    with house(folder) as (broker, daemon), ear(broker.port) as markers:
        daemon.start()
        wait_for_marker(markers, 0)
        daemon.kill()
        (daemon.state / "local.sock").unlink(missing_ok=True)
        send(broker.port, range(how_many), time.time(), HOUR_S)
        told(0.5)
        before, began = len(markers), time.monotonic()
        daemon.start()
        wait_for_marker(markers, before)
        steers(daemon, broker)
        steered_s = time.monotonic() - began
        wait_until(lambda: load_rows(daemon.state) >= how_many, DRAIN_S, "the backlog")
        drained_s = time.monotonic() - began
        found = load_rows(daemon.state)
        assert found == how_many, f"{found} stored of {how_many}"
    told(1.0)
    return [
        Line("an hour away, readings waiting at the broker", count(how_many)),
        Line("of those stored, each once", count(found), "all"),
        Line("seconds from the start to the last of them stored", f"{drained_s:.1f}"),
        Line("seconds from the start to mist for dry air", f"{steered_s:.1f}"),
    ]


ABSENT = Drill("Broker absent", "The daemon is started with nobody at the broker's address.", absent)
SLOW = Drill("Broker slow", "A relay on the way holds every piece of every message back, both ways.", slow)
RESTARTED = Drill(
    "Broker restarted", "A broker that keeps its state is stopped and started, under load.", restarted
)
WIPED = Drill(
    "Broker wiped",
    "The daemon is away; readings wait at the broker; the broker dies and its state file is gone.",
    wiped,
)
DAMAGED = Drill(
    "Broker's state file damaged",
    "Half of the file is overwritten; Debian's mosquitto will not start with it.",
    damaged,
)
QUEUED_HOUR = Drill(
    "An hour away",
    "The daemon is killed; an hour of readings with their own times waits at the broker.",
    queued,
)
