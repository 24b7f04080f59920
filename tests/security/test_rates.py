"""Who speaks too fast is held to a limit, counted and told of; what waited at the broker all arrives.

The daemon is a process of its own, the broker a real mosquitto, and messages go as fast as they are taken.
"""

import json
import sqlite3
from collections.abc import Iterator
from itertools import count
from pathlib import Path

import paho.mqtt.client as paho
import pytest
from farm import Daemon

from gillhouse.config import load_files, shipped_dir
from gillhouse.errors import ConfigError, LocalError
from gillhouse.local import ask
from gillhouse.payloads.rate import QUIET_MS, Rates
from servers import MosquittoBroker, wait_until

FLOOD, BURST, QUEUED = 3_000, 200, 20_000


class Mad:
    """A client that publishes as fast as it can."""

    def __init__(self, broker: MosquittoBroker) -> None:
        self._client = paho.Client(paho.CallbackAPIVersion.VERSION2, client_id="mad-board")
        self._client.max_inflight_messages_set(1_000)
        self._client.connect(broker.host, broker.port)
        self._client.loop_start()
        wait_until(self._client.is_connected, 5, "the board to connect")

    def send(self, topic: str, first: int, count: int) -> None:
        infos = [
            self._client.publish(topic, json.dumps({"rh": 90, "t": 18.0, "co2": 700, "n": number}), qos=1)
            for number in range(first, first + count)
        ]
        wait_until(lambda: all(info.is_published() for info in infos), 60, "the broker to have it all")

    def close(self) -> None:
        self._client.disconnect()
        self._client.loop_stop()
        self._client._reset_sockets()


@pytest.fixture
def broker(tmp_path: Path) -> Iterator[MosquittoBroker]:
    running = MosquittoBroker(tmp_path, max_queued=0)
    running.start()
    yield running
    running.stop()


@pytest.fixture
def daemon(tmp_path: Path, broker: MosquittoBroker) -> Iterator[Daemon]:
    made = Daemon(tmp_path, broker)
    text = made.config.read_text().replace(
        "relays:\n",
        "  shed-rh:\n    {space: tent, quantity: humidity, unit: \"%\", topic: shed/air, format: json, "
        "path: /rh, seq: /n, every: 1 s}\nrelays:\n",
    )  # fmt: skip
    made.config.write_text(
        f"{text}store: {{commit_every: 1 s}}\n"
        f"rates: {{board_per_s: 5, board_burst: {BURST}, local_per_s: 2, local_burst: 40}}\n"
    )
    yield made
    made.kill()


def stored(daemon: Daemon, sensor: str) -> int:
    db = sqlite3.connect(f"file:{daemon.state}/journal.db?mode=ro", uri=True)
    try:
        (found,) = db.execute("SELECT count(*) FROM readings_named WHERE sensor = ?", (sensor,)).fetchone()
        spare = db.execute("SELECT body FROM inputs WHERE kind = 'Reading'").fetchall()
        return int(found) + sum(json.loads(body)["sensor"] == sensor for (body,) in spare)
    finally:
        db.close()


def left_out(daemon: Daemon) -> int:
    """Messages of the tent's board that were over the limit."""
    db = sqlite3.connect(f"file:{daemon.state}/journal.db?mode=ro", uri=True)
    try:
        (found,) = db.execute(
            "SELECT sum(n) FROM counters WHERE name = 'rejected too-many' AND subject = 'tent-rh'"
        ).fetchone()
        return found or 0
    finally:
        db.close()


def alarms(daemon: Daemon) -> set[str]:
    return {row["alarm"] for row in ask(daemon.state, {"ask": "status"})["alarms"]}


def all_of(daemon: Daemon) -> int:
    return stored(daemon, "tent-rh") + left_out(daemon)


def heard(daemon: Daemon, board: Mad) -> None:
    """Returns once the daemon hears a board: it has subscribed."""
    numbers = count(1)

    def tried() -> bool:
        board.send("shed/air", next(numbers), 1)
        return stored(daemon, "shed-rh") > 0

    wait_until(tried, 30, "the daemon to hear a board")


def test_a_board_gone_mad_is_cut_off_at_its_limit_and_told_of(
    daemon: Daemon, broker: MosquittoBroker
) -> None:
    daemon.start()
    board = Mad(broker)
    heard(daemon, board)
    before = stored(daemon, "shed-rh")
    board.send("t/air", 1, FLOOD)
    board.send("shed/air", 10_000, 5)
    wait_until(lambda: stored(daemon, "shed-rh") >= before + 5, 20, "the other board's readings")
    wait_until(lambda: left_out(daemon) + stored(daemon, "tent-rh") >= FLOOD, 20, "the rest")
    taken, over = stored(daemon, "tent-rh"), left_out(daemon)
    board.close()
    assert taken + over == FLOOD
    assert BURST <= taken < FLOOD / 2, "5 a second over the burst, for as long as the flood took"
    assert "too-many:tent-rh" in alarms(daemon)


def test_a_queue_of_20_000_drains_whole_under_the_same_limit(daemon: Daemon, broker: MosquittoBroker) -> None:
    daemon.start()
    board = Mad(broker)
    heard(daemon, board)  # so the broker keeps its place from now on
    daemon.kill()
    board.send("t/air", 1, QUEUED)
    board.close()
    daemon.start()
    wait_until(lambda: all_of(daemon) >= QUEUED, 120, f"all {QUEUED}")
    assert stored(daemon, "tent-rh") == QUEUED
    assert left_out(daemon) == 0
    assert "too-many:tent-rh" not in alarms(daemon)


def test_a_user_of_the_socket_is_held_to_a_limit_too(daemon: Daemon) -> None:
    daemon.start()
    refused = 0
    for _ in range(120):
        try:
            ask(daemon.state, {"ask": "status"})
        except LocalError as error:
            assert "too many requests" in str(error)
            refused += 1
    assert 40 <= refused <= 80
    said = wait_until(lambda: _status(daemon), 10, "to be let in again")
    assert "too-many:local" in {row["alarm"] for row in said["alarms"]}


def _status(daemon: Daemon) -> dict[str, list[dict[str, str]]] | None:
    try:
        return ask(daemon.state, {"ask": "status"})
    except LocalError:
        return None


def test_a_bucket_fills_and_empties_as_reckoned_by_hand() -> None:
    """2 a second, 3 at once: at 0 ms three pass and the fourth does not; 500 ms later one more passes."""
    rates = Rates(2, 3)
    assert [rates.take("a", 0) for _ in range(4)] == [True, True, True, False]
    assert rates.take("b", 0)
    assert rates.dropped("a") == 1
    assert [rates.take("a", 500), rates.take("a", 500)] == [True, False]
    assert rates.next_ms() == 500 + QUIET_MS
    assert rates.quiet(500 + QUIET_MS - 1) == {}
    assert rates.quiet(500 + QUIET_MS) == {"a": 2}
    assert rates.next_ms() is None
    assert rates.quiet(10**9) == {}
    assert all(Rates(0, 1).take("a", 0) for _ in range(10_000))


def test_the_limits_are_settings_with_bounds() -> None:
    farm = (shipped_dir() / "farm.yaml").read_text(encoding="utf-8")
    plain = load_files({"farm.yaml": farm}).rates
    assert (plain.board_per_s, plain.board_burst, plain.local_per_s, plain.local_burst) == (
        50,
        1_000,
        50,
        1_000,
    )
    own = load_files({"farm.yaml": farm + "\nrates: {board_per_s: 1, board_burst: 10}\n"}).rates
    assert (own.board_per_s, own.board_burst, own.local_per_s) == (1, 10, 50)
    with pytest.raises(ConfigError, match="board_burst"):
        load_files({"farm.yaml": farm + "\nrates: {board_burst: 0}\n"})
