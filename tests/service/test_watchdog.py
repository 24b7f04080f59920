"""The watchdog is fed while the house turns, whatever is gone outside, and not when a part of it hangs.

Ten watchdog periods each, in a time that stands still until the test moves it: the real service, the real
store, real threads. The disk that hangs is another process's transaction on the store; the broker that is
away is a port where nobody listens. Outside truth for the words on the wire and the variables: sd_notify(3)
and sd_watchdog_enabled(3).
"""

import os
import signal
import socket
import sqlite3
import subprocess
import sys
import threading
from collections.abc import Iterator
from contextlib import closing, contextmanager
from pathlib import Path

import paho.mqtt.client as paho
import pytest
from farm import FARM

from gillhouse.clock import VirtualClock
from gillhouse.config import load
from gillhouse.control import Call
from gillhouse.core.outputs import EventKind
from gillhouse.service import Service, turning
from gillhouse.store.reader import Reader
from gillhouse.store.rows import CounterRow
from gillhouse.watchdog import LOOKS, Watchdog, period_ms
from servers import MosquittoBroker, free_port, wait_until

PERIOD_MS = 30_000
TEN_PERIODS = 10 * LOOKS
"""Looks in ten periods."""
NOON_MS = 1_790_942_400_000  # 2026-10-02 12:00 UTC, any time will do


class House:
    """A running service under a time of its own, with its watchdog."""

    def __init__(self, folder: Path, port: int) -> None:
        (folder / "farm.yaml").write_text(FARM.format(port=port, low=87, protocol="auto"))
        self.clock = VirtualClock(NOON_MS)
        self.service = Service(load(folder / "farm.yaml"), folder / "state", self.clock)
        self.parts = turning(self.service)
        self.watchdog = Watchdog(self.clock, self.parts, PERIOD_MS, lambda: None)

    def look(self, hanging: str | None = None) -> bool:
        """Lets a quarter of a period pass, once everybody but `hanging` has come round. True: it was fed."""
        now_ms = self.clock.now().mono_ms
        wait_until(
            lambda: all(
                part.last_turn_ms() == now_ms or part.excused() for part in self.parts if part.name != hanging
            ),
            20,
            "every part to come round",
        )
        looks, fed = self.watchdog.looks, self.watchdog.fed
        self.clock.advance_to(now_ms + PERIOD_MS // LOOKS)
        wait_until(lambda: self.watchdog.looks > looks, 10, "the watchdog to look")
        return self.watchdog.fed > fed

    def looks(self, count: int, hanging: str | None = None) -> list[bool]:
        return [self.look(hanging) for _ in range(count)]


@contextmanager
def turning_house(folder: Path, port: int | None = None) -> Iterator[House]:
    house = House(folder, port or free_port())
    house.service.start()
    house.watchdog.start()
    try:
        yield house
    finally:
        house.watchdog.stop()
        house.service.stop()


def test_f15_fed_for_ten_periods_with_the_broker_away(tmp_path: Path) -> None:
    with turning_house(tmp_path) as house:
        assert all(house.looks(TEN_PERIODS))
        assert not house.service.link.connected
        assert house.service.status()["links"]["broker"]["up"] is False


def test_f14_fed_for_ten_periods_with_the_disk_hanging_and_told_of_it(tmp_path: Path) -> None:
    with turning_house(tmp_path) as house:
        wait_until(house.service.writer.settled, 10, "the start to be written")
        with closing(sqlite3.connect(tmp_path / "state/journal.db", isolation_level=None)) as other:
            other.execute("BEGIN IMMEDIATE")
            assert all(house.looks(TEN_PERIODS))
            assert house.service.status()["links"]["store"]["up"] is False
            other.execute("ROLLBACK")
        assert house.service.writer.flush(20)
    with Reader(tmp_path / "state/journal.db") as reader:
        alarms = [row.notice.kind for row in reader.alarms(0, 1 << 62)]
        assert "store-failing" in alarms, alarms
        assert [at.event.subject for at in reader.events(0, 1 << 62, EventKind.STARTED)] == ["daemon"]


def test_not_fed_while_the_control_loop_hangs_and_fed_again_after(tmp_path: Path) -> None:
    hanging = Hanging()
    with turning_house(tmp_path) as house:
        assert all(house.looks(4))
        house.service.control.inbox.put(Call(hanging))
        assert hanging.hangs.wait(5)
        fed = house.looks(TEN_PERIODS, "the control loop")
        assert fed == [True, True] + [False] * (TEN_PERIODS - 2)  # half a period of patience, then nothing
        assert house.watchdog.stuck() == ("the control loop",)
        hanging.go_on.set()
        assert all(house.looks(4))


class Hanging:
    """Stands in for a callback of ours that never returns, until let go."""

    def __init__(self) -> None:
        self.hangs, self.go_on = threading.Event(), threading.Event()

    def __call__(self, *_: object) -> None:
        self.hangs.set()
        self.go_on.wait(60)


def test_not_fed_while_the_writer_hangs_outside_the_disk(tmp_path: Path) -> None:
    hanging = Hanging()
    with turning_house(tmp_path) as house:
        writer = house.service.writer
        wait_until(writer.settled, 10, "the start to be written")
        writer._on_committed = hanging
        writer.put(CounterRow("test", "test", 1, NOON_MS))
        writer.release_after(object())  # its turn comes with the commit, on the writer's thread
        house.clock.advance_to(12_000)
        assert hanging.hangs.wait(5)
        fed = house.looks(TEN_PERIODS, "the store's writer")
        assert not any(fed[2:])
        assert house.watchdog.stuck() == ("the store's writer",)
        hanging.go_on.set()
        assert all(house.looks(4))


def test_not_fed_while_the_broker_link_hangs(tmp_path: Path) -> None:
    house = House(tmp_path, free_port())
    hanging = house.service.link._on_link = Hanging()  # called by the link's loop as the first try fails
    house.service.start()
    house.watchdog.start()
    assert hanging.hangs.wait(15)
    assert not any(house.looks(TEN_PERIODS, "the broker link")[2:])
    assert house.watchdog.stuck() == ("the broker link",)
    hanging.go_on.set()
    assert all(house.looks(4))
    house.watchdog.stop()
    house.service.stop()


def test_not_fed_while_the_network_thread_of_a_connection_hangs(
    tmp_path: Path, broker: MosquittoBroker
) -> None:
    with turning_house(tmp_path, broker.port) as house:
        link = house.service.link
        wait_until(lambda: link.synced, 10, "the broker")
        hanging = link._on_message = Hanging()
        board = paho.Client(paho.CallbackAPIVersion.VERSION2, client_id="board")
        board.connect(broker.host, broker.port)
        board.loop_start()
        board.publish("t/air", b'{"rh": 90, "t": 18, "co2": 700, "n": 1}', qos=1).wait_for_publish(10)
        assert hanging.hangs.wait(10)
        assert not any(house.looks(8, "the broker link")[2:])  # two periods: its keep-alive runs in real time
        hanging.go_on.set()
        assert all(house.looks(2))
        board.disconnect()
        board.loop_stop()
        board._reset_sockets()


@contextmanager
def service_manager(folder: Path) -> Iterator[tuple[dict[str, str], list[str]]]:
    """The socket of sd_notify(3); what it was told is listed as it comes."""
    told: list[str] = []
    with socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM) as ear:
        ear.bind(str(folder / "notify"))

        def listen() -> None:
            while (words := ear.recv(4096).decode()) != "end":
                told.append(words)

        thread = threading.Thread(target=listen)
        thread.start()
        yield {**os.environ, "NOTIFY_SOCKET": str(folder / "notify")}, told
        with socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM) as end:
            end.sendto(b"end", str(folder / "notify"))
        thread.join(10)


def test_the_daemon_feeds_a_real_socket_with_the_broker_there_and_gone(
    tmp_path: Path, broker: MosquittoBroker
) -> None:
    (tmp_path / "farm.yaml").write_text(FARM.format(port=broker.port, low=87, protocol="auto"))
    words = [sys.executable, "-m", "gillhouse", "run", "--config", str(tmp_path / "farm.yaml"),
             "--state", str(tmp_path / "state")]  # fmt: skip
    with service_manager(tmp_path) as (environ, told):
        process = subprocess.Popen(
            words, env={**environ, "WATCHDOG_USEC": "4000000"}, stderr=subprocess.DEVNULL
        )
        try:
            wait_until(lambda: "READY=1" in told, 30, "the daemon to be ready")
            wait_until(lambda: told.count("WATCHDOG=1") >= 3, 20, "three feedings")
            broker.stop()
            before = told.count("WATCHDOG=1")
            wait_until(lambda: told.count("WATCHDOG=1") >= before + 3, 20, "three more, the broker gone")
            process.send_signal(signal.SIGTERM)
            assert process.wait(15) == 0
            assert told[-1] == "STOPPING=1"
        finally:
            process.kill()
            process.wait()


@pytest.mark.parametrize(
    ("environ", "expected_ms"),
    [
        ({"WATCHDOG_USEC": "30000000", "WATCHDOG_PID": "7"}, 30_000),
        ({"WATCHDOG_USEC": "30000000"}, 30_000),
        ({"WATCHDOG_USEC": "30000000", "WATCHDOG_PID": "8"}, None),
        ({"WATCHDOG_USEC": "soon"}, None),
        ({}, None),
    ],
)
def test_the_period_is_that_of_the_service_manager(environ: dict[str, str], expected_ms: int | None) -> None:
    assert period_ms(environ, 7) == expected_ms
