"""What a stranger on the broker can send: kept, repeated, huge, deep, not a number. Nothing of it drives.

A real mosquitto and the daemon as a process; MQTT 3.1.1 and 5, section 3.3.1 (retain, duplicates). The same
at length, without a broker: `tests/payloads` (a million changed messages) and the drills.
"""

import json
import sqlite3
from collections.abc import Iterator
from pathlib import Path

import paho.mqtt.client as paho
import pytest
from farm import Board, Daemon

from gillhouse.config import load_files, shipped_dir
from gillhouse.errors import ConfigError
from gillhouse.local import ask
from servers import MosquittoBroker, wait_until

BAD = {
    "not-finite": b'{"rh": NaN, "t": 18, "co2": 700, "n": 1}',
    "too-deep": b"[" * 900 + b"]" * 900,
    "too-large": b'{"rh": 40, "x": "' + b"y" * 5_000 + b'"}',
    "not-utf8": b'{"rh": "\xff\xfe"}',
    "path-missing": b"{}",
    "wrong-type": b'{"rh": {"a": 1}, "t": true, "co2": [], "n": 1}',
}


@pytest.fixture
def daemon(tmp_path: Path, broker: MosquittoBroker) -> Iterator[Daemon]:
    made = Daemon(tmp_path, broker)
    yield made
    made.kill()


@pytest.fixture
def board(broker: MosquittoBroker) -> Iterator[Board]:
    made = Board(broker)
    yield made
    made.close()


def publish(broker: MosquittoBroker, topic: str, *messages: bytes, retain: bool = False) -> None:
    client = paho.Client(paho.CallbackAPIVersion.VERSION2, client_id="stranger")
    client.connect(broker.host, broker.port)
    client.loop_start()
    for message in messages:
        client.publish(topic, message, qos=1, retain=retain).wait_for_publish(10)
    client.disconnect()
    client.loop_stop()
    client._reset_sockets()


def query(daemon: Daemon, sql: str) -> list[tuple[object, ...]]:
    db = sqlite3.connect(f"file:{daemon.state}/journal.db?mode=ro", uri=True)
    try:
        return db.execute(sql).fetchall()
    finally:
        db.close()


def heard(daemon: Daemon, board: Board) -> None:
    """The daemon has subscribed and stores what the board says."""
    wait_until(
        lambda: board.air(92.0) or query(daemon, "SELECT 1 FROM readings LIMIT 1"), 40, "a reading stored"
    )


def test_no_broken_message_stops_it_or_is_believed(
    daemon: Daemon, board: Board, broker: MosquittoBroker
) -> None:
    daemon.start()
    heard(daemon, board)
    publish(broker, "t/air", *BAD.values())
    sql = "SELECT DISTINCT substr(name, 10) FROM counters WHERE name LIKE 'rejected %'"
    wait_until(
        lambda: {row[0] for row in query(daemon, sql)} >= set(BAD), 40, "each to be refused by its name"
    )
    assert not query(daemon, "SELECT 1 FROM readings_named WHERE sensor = 'tent-rh' AND value < 80")
    assert not daemon.ended()
    assert ask(daemon.state, {"ask": "status"})["spaces"]


def test_a_kept_or_repeated_message_moves_nothing(
    daemon: Daemon, board: Board, broker: MosquittoBroker
) -> None:
    """Dry air, but kept at the broker; then the very same fresh message three times."""
    kept = json.dumps({"rh": 40.0, "t": 18, "co2": 700, "n": 1}).encode()
    publish(broker, "t/air", kept, retain=True)
    daemon.start()
    sql = "SELECT count(*) FROM readings_named WHERE sensor = 'tent-rh' AND delivery = 'retained'"
    wait_until(lambda: query(daemon, sql) == [(1,)], 40, "the kept message")
    assert board.ons("t/mist/set") == []
    again = json.dumps({"rh": 92.0, "t": 18, "co2": 700, "n": 900}).encode()
    heard(daemon, board)
    publish(broker, "t/air", again, again, again)
    duplicates = "SELECT coalesce(sum(n), 0) FROM counters WHERE name = 'rejected duplicate'"
    wait_until(lambda: query(daemon, duplicates)[0][0] >= 6, 40, "the repeats to be known again")
    stored = "SELECT count(*) FROM readings_named WHERE sensor = 'tent-rh' AND board_seq = 900"
    assert query(daemon, stored) == [(1,)]


def test_what_is_not_in_the_config_is_nobody(daemon: Daemon, board: Board, broker: MosquittoBroker) -> None:
    daemon.start()
    heard(daemon, board)
    before = query(daemon, "SELECT count(*) FROM series")
    dry = json.dumps({"rh": 30.0, "t": 18, "co2": 700, "n": 1}).encode()
    for topic in ("t/air/x", "T/air", "t", "gillhouse/alive", "t/mist/set/x"):
        publish(broker, topic, dry)
    count = len(query(daemon, "SELECT 1 FROM readings"))
    wait_until(
        lambda: board.air(92.0) or len(query(daemon, "SELECT 1 FROM readings")) > count, 40, "one more"
    )
    assert query(daemon, "SELECT count(*) FROM series") == before
    assert not query(daemon, "SELECT 1 FROM readings WHERE value = 30.0")


@pytest.mark.parametrize(
    "bad",
    [
        "farm/+/air",
        "farm/#",
        "farm//air",
        "/farm/air",
        "$SYS/broker",
        "farm/air ",
        "farm/\\x00air",
        "farm/\\nair",
    ],
)
def test_topics_that_name_many_or_hide_something_are_refused(bad: str) -> None:
    farm = (shipped_dir() / "farm.yaml").read_text(encoding="utf-8")
    assert "topic: farm/tent/air" in farm
    with pytest.raises(ConfigError, match="topic"):
        load_files({"farm.yaml": farm.replace("topic: farm/tent/air", f'topic: "{bad}"')})


@pytest.mark.parametrize("bad", ["../up", "A", "a b", "a;b", "x" * 33, "a'b", "é", "a/b", '"a\\nb"'])
def test_ids_outside_the_pattern_are_refused(bad: str) -> None:
    farm = (shipped_dir() / "farm.yaml").read_text(encoding="utf-8")
    assert "\n  tent-rh:\n" in farm
    with pytest.raises(ConfigError, match="id"):
        load_files({"farm.yaml": farm.replace("\n  tent-rh:\n", f"\n  {bad}:\n", 1)})
