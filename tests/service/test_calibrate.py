"""`gillhouse calibrate`: with the figures at hand, guided, and beside a running daemon. Values invented."""

import json
import signal
import threading
from collections.abc import Callable
from pathlib import Path

import pytest
from click.testing import CliRunner
from farm import Board, Daemon

from audit.nights import HOUR_MS, Book, at, lived, shipped_config
from gillhouse.__main__ import cli
from gillhouse.clock import SystemClock
from gillhouse.commands.salt_jar import board_mates, watch
from gillhouse.core.instant import Instant
from gillhouse.core.outputs import EventKind
from gillhouse.core.readings import Mark
from gillhouse.core.reasons import Reason
from gillhouse.replay import replay
from gillhouse.store.reader import Reader
from servers import wait_until

BEGIN = at("2026-10-13 20:00")
SALT = ("--salt", "sodium-chloride", "--temperature", "20", "--read")


@pytest.fixture
def state(tmp_path: Path) -> Path:
    """A farm that has lived for some minutes; no daemon runs."""
    lived(tmp_path / "journal.db", shipped_config(), BEGIN, 0.1, lambda sensor, hours: 80.0 + hours).close()
    return tmp_path


def run(state: Path, *words: str, answers: str | None = None) -> str:
    done = CliRunner().invoke(cli, [*words, "--state", str(state)], input=answers)
    assert done.exit_code == 0, done.output
    return done.output


def refused(state: Path, *words: str) -> str:
    done = CliRunner().invoke(cli, ["calibrate", *words, "--yes", "--state", str(state)])
    assert done.exit_code != 0, done.output
    return done.output + str(done.exception or "")


def test_one_jar_then_a_second_make_a_line(state: Path) -> None:
    """Greenspan 1977 at 20 C: table salt 75.47 %, potassium sulfate 97.59 %. By hand: the first shifts by
    75.47 - 72.1; with the second 90 becomes 94.06 (see the test of the correction)."""
    said = run(state, "calibrate", "tent-rh", *SALT, "72.1", "--yes")
    assert "table salt (sodium chloride) at 20.0 C is 75.5 %; tent-rh said 72.1" in said
    assert "90 % becomes 93.4" in said
    said = run(state, "calibrate", "tent-rh", "--salt", "potassium-sulfate", "--temperature", "20", "--read",
               "93.4", "--yes")  # fmt: skip
    assert "Put together with the salt jar" in said
    assert "90 % becomes 94.1" in said
    shown = run(state, "calibrate", "--show")
    (line,) = [line for line in shown.splitlines() if line.startswith("tent-rh ")]
    assert "in date, +/- 0.9 %: reading x 1.038 +0.61 %" in line
    assert "potassium sulfate at 20.0 C; due" in shown


def test_both_at_once_and_taken_back(state: Path) -> None:
    run(state, "calibrate", "tent-rh", *SALT, "72.1", "--yes")
    both = ("--salt", "potassium-sulfate", "--temperature", "20", "--read", "93.4")
    run(state, "calibrate", "tent-rh", *SALT, "70.0", *both, "--yes")
    assert "took back the last check of tent-rh" in run(state, "calibrate", "tent-rh", "--undo")
    shown = run(state, "calibrate", "tent-rh", "--show")
    assert "reading x 1.000 +3.38 %" in shown
    run(state, "calibrate", "tent-rh", "--undo")
    assert "there is no check of tent-rh to take back" in refused(state, "tent-rh", "--undo")


def test_fresh_air_a_better_thermometer_and_an_offset(state: Path) -> None:
    assert "1000 ppm becomes 1040.0" in run(
        state, "calibrate", "tent-co2", "--fresh-air", "--read", "385", "--yes"
    )
    assert "18 C becomes 17.4" in run(
        state, "calibrate", "tent-temp", "--beside", "18", "--read", "18.6", "--yes"
    )
    assert "18 C becomes 18.5" in run(state, "calibrate", "tent-temp", "--offset", "0.5", "--yes")


REFUSED = {
    "an unknown sensor": (("nobody", *SALT, "72"), "no sensor 'nobody' that can be calibrated"),
    "a switch": (("tank", "--offset", "1"), "no sensor 'tank'"),
    "salt for CO2": (("tent-co2", *SALT, "72"), "--salt is for humidity"),
    "fresh air for humidity": (("tent-rh", "--fresh-air", "--read", "70"), "--fresh-air is for co2"),
    "two things at once": (("tent-rh", "--offset", "1", *SALT, "72"), "one thing at a time"),
    "a reading of nothing": (("tent-rh", "--read", "72"), "say what it was held against"),
    "a salt without its reading": (
        ("tent-rh", *SALT, "72", "--salt", "potassium-sulfate"), "one --read for each"
    ),
    "no temperature": (("tent-rh", "--salt", "sodium-chloride", "--read", "72"), "--temperature"),
    "a frozen jar": (
        ("tent-rh", "--salt", "sodium-chloride", "--temperature", "-3", "--read", "72"), "indoors"
    ),
    "no bias": (("tent-rh", *SALT, "40"), "no bias"),
}  # fmt: skip


@pytest.mark.parametrize("name", REFUSED)
def test_refused_and_nothing_recorded(state: Path, name: str) -> None:
    words, why = REFUSED[name]
    assert why in refused(state, *words)
    with Reader(state / "journal.db") as reader:
        told = [one.event.reason for one in reader.events(0, 1 << 62, EventKind.SENSOR)]
    assert Reason.CALIBRATED not in told


def test_what_is_kept_is_raw_and_who_did_it(state: Path) -> None:
    with Reader(state / "journal.db") as reader:
        before = [one.value for one in reader.readings("tent-rh", 0, 1 << 48)]
    run(state, "calibrate", "tent-rh", *SALT, "72.1", "--yes")
    with Reader(state / "journal.db") as reader:
        assert [one.value for one in reader.readings("tent-rh", 0, 1 << 48)] == before
        (told,) = [one.event for one in reader.events(0, 1 << 62) if one.event.reason is Reason.CALIBRATED]
    assert told.facts["who"]
    assert told.facts["sensor"] == "tent-rh"


def test_guided_by_hand_with_a_sensor_that_has_been_in_its_jar_for_long(tmp_path: Path) -> None:
    """Half an hour of steady readings up to now, and the thermometer of the same board at 20.04 C."""
    now_ms = SystemClock().now().wall_ms
    book = Book(tmp_path / "journal.db", shipped_config(), now_ms - HOUR_MS)
    for n in range(60):
        for sensor, value in (("tent-rh", 72.1), ("tent-temp", 20.04)):
            book.reading(sensor, now_ms - 30 * 60_000 + n * 30_000, value)
    book.close().close()
    words = ("calibrate", "tent-rh", "--salt", "sodium-chloride", "--waited", "60")
    said = run(tmp_path, *words, answers="y\n\ny\ny\n")
    assert "wet sand" in said and "away from children" in said
    assert "out of place, steering nothing for 12 h" in said
    assert "At rest: 72.1 %" in said
    assert "Temperature of the jar, C [20.0]" in said
    assert "90 % becomes 93.4; left about +/- 1.3 %" in said
    assert said.rstrip().endswith("back in place")
    with Reader(tmp_path / "journal.db") as reader:
        events = [one.event for one in reader.events(0, 1 << 62, EventKind.SENSOR)]
    away = {one.subject for one in events if one.reason is Reason.SENSOR_AWAY}
    assert away == {"tent-rh", "tent-temp", "tent-co2"}, "the board is in the jar, the door is not"
    assert [one.reason for one in events if one.subject == "tent-rh"] == [
        Reason.SENSOR_AWAY, Reason.CALIBRATED, Reason.FOUND_OVER,
    ]  # fmt: skip


def test_who_says_no_changes_nothing(state: Path) -> None:
    words = ["calibrate", "tent-rh", *SALT, "72.1", "--state", str(state)]
    done = CliRunner().invoke(cli, words, input="n\n")
    assert done.exit_code == 1
    assert "reading x" not in run(state, "calibrate", "tent-rh", "--show")


# --- watching ------------------------------------------------------------------------------------------


class StepClock:
    """A clock that goes on to whatever is waited for, and lets something happen on the way."""

    def __init__(self, begin_ms: int, happens: Callable[[int], None]) -> None:
        self._now, self._happens = Instant(begin_ms, 0), happens

    def now(self) -> Instant:
        return self._now

    def wait(self, condition: threading.Condition, until_mono_ms: int | None) -> None:
        assert until_mono_ms is not None
        self._now = self._now.later(until_mono_ms - self._now.mono_ms)
        self._happens(self._now.mono_ms)


def creeping(folder: Path, minutes: int) -> tuple[Path, list[tuple[int, float]]]:
    """A store in which a sensor creeps from 60 up to 72.1 % with a time constant of 12 min, then rests."""
    book = Book(folder / "journal.db", shipped_config(), BEGIN)
    values = [
        (BEGIN + n * 30_000, round(72.1 - 12.1 * 2.718281828 ** (-n / 24), 1)) for n in range(minutes * 2)
    ]
    for ms, value in values:
        book.reading("tent-rh", ms, value)
    book.close().close()
    return folder / "journal.db", values


def test_the_watch_waits_for_the_time_asked_and_for_rest(tmp_path: Path) -> None:
    """12.1 x exp(-t / 12 min) moves less than 0.2 between two halves of 20 min after about 60 min."""
    journal, _ = creeping(tmp_path, 200)
    sensor = shipped_config().farm.sensors["tent-rh"]
    for least_min, expected_min in ((0, 60), (90, 90)):
        clock, said = StepClock(BEGIN, lambda _: None), list[str]()
        value = watch(journal, sensor, clock, least_min, said.append)
        assert value == pytest.approx(72.1, abs=0.15)
        assert clock.now().mono_ms / 60_000 == pytest.approx(expected_min, abs=8)
        assert "still moving" in " ".join(said)
        assert said[-1].startswith("At rest: 72.")
        assert len(said) <= expected_min + 10, "a line a minute at most"


def test_a_sensor_that_says_nothing_is_told_of(tmp_path: Path) -> None:
    journal, _ = creeping(tmp_path, 1)
    sensor = shipped_config().farm.sensors["tent-rh"]
    said = list[str]()

    def give_up(ms: int) -> None:
        if ms > 200_000:
            raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        watch(journal, sensor, StepClock(BEGIN + 3_600_000, give_up), 0, said.append)
    assert len(said) == 4
    assert all("nothing heard of tent-rh yet" in line for line in said)


def test_board_mates_come_in_the_same_messages() -> None:
    topics = {"rh": "t/air", "door": "t/door", "co2": "t/air"}
    assert board_mates(topics, "co2") == ("co2", "rh")


# --- beside a running daemon ---------------------------------------------------------------------------


def test_the_daemon_corrects_from_then_on_and_a_replay_agrees(daemon: Daemon, board: Board) -> None:
    daemon.start()
    wait_until(daemon.connected, 10, "the broker")

    def humidity() -> float | None:
        board.air(90.0)
        spaces = json.loads(daemon.run("now", "--json"))["spaces"]
        value: float | None = spaces["tent"]["quantities"]["humidity"]["value"]
        return value

    wait_until(lambda: humidity() == 90.0, 10, "the raw value")
    said = daemon.run("calibrate", "tent-rh", *SALT, "72.1", "--yes")
    assert "checked tent-rh against table salt" in said
    wait_until(lambda: humidity() == pytest.approx(93.38, abs=0.02), 10, "the corrected value")
    daemon.run("calibrate", "tent-rh", "--out")
    board.air(75.0)
    assert "out of its place" in daemon.run("now")
    daemon.run("calibrate", "tent-rh", "--back")
    wait_until(lambda: humidity() == pytest.approx(93.38, abs=0.02), 10, "it to count again")
    daemon.signal(signal.SIGTERM)
    assert daemon.wait() == 0
    with Reader(daemon.state / "journal.db") as reader:
        stored = list(reader.readings("tent-rh", 0, 1 << 48))
        assert {one.value for one in stored} == {90.0, 75.0}, "as received"
        assert Mark.AWAY in {one.mark for one in stored}
        assert replay(reader, 0, 1 << 48).first is None, "decided again from raw values, to the same bytes"
