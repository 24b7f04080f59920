"""A broker whose kept state was damaged starts again: the file is put aside, and nothing else is touched.

The judge is the real broker: the damaged file is one it refuses to start on, and starts without.
"""

import subprocess
from pathlib import Path

import paho.mqtt.client as paho
import pytest

from servers import MosquittoBroker, wait_until

SCRIPT = Path(__file__).parents[2] / "deploy" / "broker-state.sh"


def looked_after(folder: Path) -> subprocess.CompletedProcess[str]:
    done = subprocess.run(
        ["sh", str(SCRIPT), str(folder)], capture_output=True, text=True, timeout=60, check=False
    )
    assert done.returncode == 0, "it holds the broker's start up for nothing"
    return done


def asleep(broker: MosquittoBroker, messages: int) -> None:
    """A client goes to sleep, and messages are kept for it."""
    sleeper = paho.Client(paho.CallbackAPIVersion.VERSION2, client_id="sleeper", clean_session=False)
    granted: list[int] = []
    sleeper.on_subscribe = lambda *_: granted.append(1)
    sleeper.connect(broker.host, broker.port)
    sleeper.subscribe("farm/#", 1)
    sleeper.loop_start()
    wait_until(lambda: granted, 10, "the subscription")
    sleeper.disconnect()
    sleeper.loop_stop()
    sleeper._reset_sockets()
    board = paho.Client(paho.CallbackAPIVersion.VERSION2, client_id="board")
    board.connect(broker.host, broker.port)
    board.loop_start()
    for n in range(messages):
        board.publish("farm/room/air", f"reading {n} " + "x" * 200, qos=1).wait_for_publish(10)
    board.disconnect()
    board.loop_stop()
    board._reset_sockets()


def woken(broker: MosquittoBroker, expected: int) -> int:
    heard: list[bytes] = []
    sleeper = paho.Client(paho.CallbackAPIVersion.VERSION2, client_id="sleeper", clean_session=False)
    sleeper.on_message = lambda _c, _u, message: heard.append(message.payload)
    sleeper.connect(broker.host, broker.port)
    sleeper.loop_start()
    wait_until(lambda: len(heard) >= expected, 10, f"{expected} kept messages")
    sleeper.disconnect()
    sleeper.loop_stop()
    sleeper._reset_sockets()
    return len(heard)


@pytest.mark.parametrize("damage", ["its end is missing", "its head is zeros", "all of it is zeros"])
def test_a_damaged_state_is_put_aside_and_the_broker_starts(
    persistent_broker: MosquittoBroker, damage: str
) -> None:
    broker = persistent_broker
    asleep(broker, 20)
    broker.stop()
    state = broker.directory / "mosquitto.db"
    data = state.read_bytes()
    match damage:
        case "its end is missing":
            state.write_bytes(data[: len(data) * 2 // 3])
        case "its head is zeros":
            state.write_bytes(bytes(512) + data[512:])
        case _:
            state.write_bytes(bytes(len(data)))
    damaged = state.read_bytes()
    with pytest.raises(AssertionError, match="mosquitto ended"):
        broker.start()
    broker._process = None
    told = looked_after(broker.directory)
    assert "put aside" in told.stderr
    (aside,) = broker.directory.glob("mosquitto.db.damaged-*")
    assert aside.read_bytes() == damaged
    assert not state.exists()
    broker.start()


def test_a_sound_state_is_left_alone_and_read_by_the_broker(persistent_broker: MosquittoBroker) -> None:
    broker = persistent_broker
    asleep(broker, 20)
    broker.stop()
    before = (broker.directory / "mosquitto.db").read_bytes()
    assert looked_after(broker.directory).stderr == ""
    assert (broker.directory / "mosquitto.db").read_bytes() == before
    broker.start()
    assert woken(broker, 20) == 20


@pytest.mark.parametrize("content", [None, b""])
def test_none_or_an_empty_one_is_no_trouble(tmp_path: Path, content: bytes | None) -> None:
    if content is not None:
        (tmp_path / "mosquitto.db").write_bytes(content)
    assert looked_after(tmp_path).stderr == ""
    assert [path.name for path in tmp_path.iterdir()] == ([] if content is None else ["mosquitto.db"])


def test_only_the_newest_three_damaged_ones_are_kept(tmp_path: Path) -> None:
    for day in range(1, 6):
        (tmp_path / f"mosquitto.db.damaged-2026100{day}T000000Z").write_bytes(b"old")
    (tmp_path / "mosquitto.db").write_bytes(b"no state at all" * 10)
    looked_after(tmp_path)
    kept = sorted(path.name for path in tmp_path.iterdir())
    assert len(kept) == 3
    assert kept[:2] == ["mosquitto.db.damaged-20261004T000000Z", "mosquitto.db.damaged-20261005T000000Z"]
