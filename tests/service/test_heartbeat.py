"""The sign of life: what it says, when it stops, and the small watcher for another machine.

That the sign must follow the work that can fail, and that a number that stands still counts as silence, is
this project's own rule; late after 5 min and silent after 10 are its proposal. The watcher runs as a real
process here, with its times shortened.
"""

import json
import subprocess
import sys
import urllib.error
import urllib.request
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from gillhouse.clock import VirtualClock
from gillhouse.core.edges import HeartbeatSettings
from gillhouse.errors import GillhouseError
from gillhouse.heartbeat import Heartbeat
from servers import HttpReceiver, free_port, wait_until

WATCHER = Path(__file__).parents[2] / "deploy" / "watcher" / "heartbeat_watch.py"
STATUS = {
    "heard_s": {"tent-rh": 4.2, "tent-co2": 11.0},
    "alarms": [{"state": "B"}, {"state": "B"}, {"state": "C"}],
}


class House:
    """What a heartbeat asks."""

    def __init__(self) -> None:
        self.commits, self.fails = 1, False
        self.published: list[tuple[str, bytes]] = []
        self.broker = True

    def status(self) -> dict[str, Any]:
        if self.fails:
            raise GillhouseError("no answer from the control thread within 5 s")
        return STATUS

    def publish(self, topic: str, payload: bytes) -> bool:
        self.published += [(topic, payload)] if self.broker else []
        return self.broker


def beating(house: House, folder: Path, **over: Any) -> Heartbeat:
    settings = HeartbeatSettings(**over)
    clock = VirtualClock(1_791_951_240_000)
    return Heartbeat(settings, clock, house.status, house, folder, house.publish)


def test_it_says_what_another_machine_needs_and_no_more(tmp_path: Path, http_receiver: HttpReceiver) -> None:
    beat = beating(House(), tmp_path, url=http_receiver.url)
    assert beat.beat()
    (request,) = http_receiver.requests
    said = request.json()
    assert isinstance(said, dict)
    assert said.pop("free_bytes") > 0
    assert said.pop("version")
    assert said == {
        "number": 1, "at_ms": 1_791_951_240_000, "up_s": 0, "committed": 1,
        "heard_s": {"tent-rh": 4.2, "tent-co2": 11.0}, "alarms": {"B": 2, "C": 1},
    }  # fmt: skip


def test_nothing_is_sent_while_nothing_is_committed_or_control_hangs(
    tmp_path: Path, http_receiver: HttpReceiver
) -> None:
    house = House()
    beat = beating(house, tmp_path, url=http_receiver.url)
    assert [beat.beat(), beat.beat()] == [True, False]
    house.commits, house.fails = 2, True
    assert not beat.beat()
    house.fails = False
    assert beat.beat()
    assert [one.json()["committed"] for one in http_receiver.requests] == [1, 2]  # type: ignore[index]


def test_one_that_did_not_arrive_is_no_sign_and_the_next_one_is(
    tmp_path: Path, http_receiver: HttpReceiver, caplog: pytest.LogCaptureFixture
) -> None:
    beat = beating(House(), tmp_path, url=http_receiver.url)
    http_receiver.status = 503
    assert [beat.beat(), beat.beat()] == [False, False]
    assert caplog.text.count("answered 503") == 1, "said once, not once a minute"
    http_receiver.status = 204
    assert beat.beat()


def test_a_plain_get_and_the_farms_broker(tmp_path: Path, http_receiver: HttpReceiver) -> None:
    assert beating(House(), tmp_path, url=http_receiver.url, method="GET").beat()
    assert (http_receiver.requests[0].method, http_receiver.requests[0].body) == ("GET", b"")
    house = House()
    assert beating(house, tmp_path, topic="farm/alive").beat()
    assert json.loads(house.published[0][1])["committed"] == 1
    house.broker = False
    assert not beating(house, tmp_path, topic="farm/alive").beat()


def test_a_token_goes_with_it_and_into_no_log(
    tmp_path: Path, http_receiver: HttpReceiver, caplog: pytest.LogCaptureFixture
) -> None:
    secret = tmp_path / "token"
    secret.write_text("s3cret-token\n")
    secret.chmod(0o600)
    beat = beating(House(), tmp_path, url=http_receiver.url, token_file=str(secret))
    http_receiver.status = 401
    assert not beat.beat()
    assert http_receiver.requests[0].headers["authorization"] == "Bearer s3cret-token"
    assert "s3cret" not in caplog.text


def test_it_beats_every_minute_by_the_clock_it_was_given(tmp_path: Path, http_receiver: HttpReceiver) -> None:
    house = House()
    clock = VirtualClock(1_791_951_240_000)
    settings = HeartbeatSettings(url=http_receiver.url)
    beat = Heartbeat(settings, clock, house.status, house, tmp_path, house.publish)
    beat.start()
    for number in range(1, 4):
        wait_until(lambda n=number: beat.sent == n and clock.next_wake_ms() == n * 60_000, what="a beat")
        house.commits += 1
        clock.advance_to(number * 60_000)
    wait_until(lambda: beat.sent == 4, what="the last beat")
    beat.stop()


# --- the watcher ---------------------------------------------------------------------------------------


class Watcher:
    """The script as a process of its own; its command writes what it is told into a file."""

    def __init__(self, folder: Path, *more: str) -> None:
        self.port, self.told_in = free_port(), folder / "told"
        command = f"echo {{state}} >> {self.told_in}"
        self.process = subprocess.Popen(
            [
                sys.executable, WATCHER, "--port", str(self.port), "--late", "0.4", "--silent", "1.2",
                "--run", command, *more,
            ],
            stdout=subprocess.PIPE,
        )  # fmt: skip
        assert self.process.stdout is not None
        self.process.stdout.readline()

    def beat(self, body: bytes, **headers: str) -> int:
        request = urllib.request.Request(f"http://127.0.0.1:{self.port}/", body, headers)
        try:
            with urllib.request.urlopen(request, timeout=5) as answer:
                return int(answer.status)
        except urllib.error.HTTPError as error:
            with error:
                return error.code

    def told(self) -> list[str]:
        return self.told_in.read_text().split() if self.told_in.exists() else []

    def end(self) -> None:
        self.process.terminate()
        self.process.wait(5)
        assert self.process.stdout is not None
        self.process.stdout.close()


@pytest.fixture
def watcher(tmp_path: Path) -> Iterator[Watcher]:
    one = Watcher(tmp_path)
    yield one
    one.end()


def test_the_watcher_tells_silence_and_return(watcher: Watcher) -> None:
    number = iter(range(1, 10_000))

    def alive() -> bool:
        return watcher.beat(json.dumps({"committed": next(number)}).encode()) == 204 and False

    with pytest.raises(AssertionError):
        wait_until(alive, 1.5, "signs of life for longer than the silence that counts")
    assert watcher.told() == []
    wait_until(lambda: watcher.told() == ["silent"], 5, "the silence to be told")
    assert watcher.beat(json.dumps({"committed": next(number)}).encode()) == 204
    wait_until(lambda: watcher.told() == ["silent", "alive"], 5, "the return to be told")


def test_a_number_that_stands_still_is_silence(watcher: Watcher) -> None:
    def frozen() -> bool:
        return watcher.beat(b'{"committed": 7}') == 204 and watcher.told() == ["silent"]

    wait_until(frozen, 5, "a box that says something and does nothing to count as silent")


@pytest.mark.parametrize("body", [b"", b"not json", b"[1]", b"x" * 70_000])
def test_what_is_no_sign_of_life_is_refused(watcher: Watcher, body: bytes) -> None:
    assert watcher.beat(body) in (400, 413)


def test_with_a_token_nobody_else_can_keep_it_quiet(tmp_path: Path) -> None:
    (tmp_path / "token").write_text("abc\n")
    one = Watcher(tmp_path, "--token-file", str(tmp_path / "token"))
    try:
        assert one.beat(b'{"committed": 1}') == 401
        assert one.beat(b'{"committed": 1}', Authorization="Bearer abc") == 204
    finally:
        one.end()


def test_it_listens_to_others_only_with_certificate_and_token() -> None:
    ended = subprocess.run(
        [sys.executable, WATCHER, "--bind", "192.0.2.1"],
        capture_output=True,
        text=True,
        timeout=20,
        check=False,
    )
    assert ended.returncode != 0
    assert "--cert" in ended.stderr
