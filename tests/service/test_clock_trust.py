"""A board without a battery clock: it boots in the past, hears the boards, and is set right later.

The real service and store on a virtual clock; nobody answers at the broker's port, so messages are handed in
where the network thread would hand them. Times are worked by hand.
"""

import json
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import UTC, datetime
from pathlib import Path
from types import SimpleNamespace
from zoneinfo import ZoneInfo

import pytest
from farm import FARM

from gillhouse import RELEASED
from gillhouse.audit.evidence import gather
from gillhouse.audit.figures import figures
from gillhouse.audit.night import ClockUnset, Window
from gillhouse.audit.record import record
from gillhouse.audit.text import box
from gillhouse.clock import VirtualClock, battery_clock, kernel_keeps_time
from gillhouse.clock_trust import LOOK_EVERY_MS, ClockTrust
from gillhouse.commands.now import _lines, _wanted
from gillhouse.config import load
from gillhouse.core.inputs import ClockStep, Delivery, Started
from gillhouse.core.instant import Instant
from gillhouse.core.outputs import EventKind
from gillhouse.payloads import Message
from gillhouse.replay import replay
from gillhouse.service import Service
from gillhouse.store import JOURNAL
from gillhouse.store.reader import Reader
from servers import wait_until

MINUTE = 60_000
HOUR = 60 * MINUTE


def utc(text: str) -> int:
    return int(datetime.fromisoformat(text).replace(tzinfo=UTC).timestamp() * 1000)


NIGHT = utc("2026-12-01T02:55")
"""When the power went; the journal's newest record."""
BACK = utc("2026-12-01T03:00")
"""When it came back, by the right time."""


class House:
    """The service with its clock in our hands, and a board that knows the time."""

    def __init__(self, folder: Path, clock: VirtualClock) -> None:
        self.clock = clock
        path = folder / "farm.yaml"
        path.write_text(FARM.format(port=1, low=87, protocol="auto").replace("seq: /n", "seq: /n, time: /ts"))
        self.service = Service(load(path), folder, clock)
        self._n = clock.now().wall_ms % 1_000_000  # the board numbers on over our restarts

    def until(self, mono_ms: int) -> None:
        while (now_ms := self.clock.now().mono_ms) < mono_ms:
            self.clock.advance_to(min(mono_ms, max(now_ms, self.clock.next_wake_ms() or mono_ms)))
            wait_until(self.service.settled, 10, "the service to be at rest")

    def air(self, true_ms: int, rh: float, *, synced: bool = True) -> None:
        """One message of the board, under the right time."""
        self._n += 1
        body = {"rh": rh, "t": 18 + rh % 1, "co2": 700 + rh, "n": self._n, "ts": true_ms}
        self.service._message(Message("t/air", json.dumps(body).encode(), self.clock.now()), synced)
        wait_until(self.service.settled, 10, "the message to be taken")


@contextmanager
def running(folder: Path, clock: VirtualClock) -> Iterator[House]:
    house = House(folder, clock)
    house.service.start()
    try:
        yield house
    finally:
        house.service.stop()


@pytest.fixture(scope="module", params=["1970-01-01T00:00:09", "2020-05-05T05:00"])
def journal(request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory) -> SimpleNamespace:
    """A night: well until 02:55, the power gone, back at 03:00 with the clock years off, set at 03:05."""
    folder, showed = tmp_path_factory.mktemp("farm"), utc(request.param)
    begun = NIGHT - 90_000  # too short for the missing broker to be told of: that is left to the next run
    with running(folder, VirtualClock(begun)) as house:
        for after_ms in range(0, 90_000, 10_000):
            house.until(after_ms)
            house.air(begun + after_ms, 88 + after_ms % 70_000 / 100_000)
        house.until(90_000)
    clock = VirtualClock(showed)
    clock.told_set = None
    with running(folder, clock) as house:
        house.air(BACK - 4 * MINUTE, 87.5, synced=False)  # waited at the broker while we were gone
        for minute in range(1, 5):
            house.until(minute * MINUTE)
            house.air(BACK + minute * MINUTE, 88 + minute / 10)
        status = house.service.status()
        house.until(5 * MINUTE)
        clock.step_wall(BACK - showed)
        house.air(BACK + 5 * MINUTE, 89.1)
        after = house.service.status()
        house.until(10 * MINUTE)
    return SimpleNamespace(path=folder / JOURNAL, showed=showed, status=status, after=after)


def test_the_boards_are_believed_while_our_clock_is_not_set(journal: SimpleNamespace) -> None:
    """Their times lie years ahead of ours, and still they steer; what waited at the broker does not."""
    humidity = journal.status["spaces"]["tent"]["quantities"]["humidity"]
    assert (humidity["value"], humidity["quality"]) == (88.4, "GOOD")
    assert (journal.status["clock_set"], journal.after["clock_set"]) == (False, True)
    with Reader(journal.path) as reader:
        kept = {at.ts: at for at in reader.readings("tent-rh", BACK - 5 * MINUTE, BACK + 6 * MINUTE)}
    assert [(ts - BACK) // MINUTE for ts in kept] == [-4, 1, 2, 3, 4, 5]
    assert kept[BACK - 4 * MINUTE].delivery is Delivery.LATE
    assert all(kept[BACK + n * MINUTE].delivery is Delivery.LIVE for n in range(1, 6))


def test_now_says_so(journal: SimpleNamespace) -> None:
    assert "The clock of this box is not set" in "\n".join(_lines(journal.status))
    assert "is not set" not in "\n".join(_lines(journal.after))


@pytest.mark.parametrize(
    ("low", "high", "said"),
    [(85, 92, "  wanted 85-92"), (None, 1000, "  wanted under 1000"), (87.5, None, "  wanted over 87.5"),
     (None, None, "")],
)  # fmt: skip
def test_what_is_wanted_is_said_in_words(low: float | None, high: float | None, said: str) -> None:
    assert _wanted(low, high) == said


def test_what_is_wrong_since_then_is_told_by_the_right_clock(journal: SimpleNamespace) -> None:
    """No broker: the alarm began in the run with the unset clock, and its age stays minutes, not years."""
    before, after = (
        {one["kind"]: one["since_ms"] for one in told["alarms"]} for told in (journal.status, journal.after)
    )
    assert journal.showed < before["broker-lost"] < journal.showed + 5 * MINUTE
    assert after["broker-lost"] - before["broker-lost"] == BACK - journal.showed


def test_the_journal_says_from_when_to_when(journal: SimpleNamespace) -> None:
    with Reader(journal.path) as reader:
        begun = [item for _, _, item in reader.inputs_of(Started, 0, None)]
        steps = [(now.wall_ms, item) for _, now, item in reader.inputs_of(ClockStep, 0, None)]
        segments = [(one.why, one.time_unsure) for one in reader.segments() if one.why != "store back"]
        told = [at.event.facts.get("time_unsure") for at in reader.events(0, 1 << 43, EventKind.STARTED)]
    assert [item.clock_sure for item in begun] == [True, False]
    assert begun[1].away_ms is None
    assert steps == [(BACK + 5 * MINUTE, ClockStep(BACK - journal.showed, True))]
    assert segments == [("start", False), ("start", True), ("clock step", False)]
    assert sorted(told, key=str) == [None, True]


def test_the_night_is_decided_again_to_the_byte(journal: SimpleNamespace) -> None:
    with Reader(journal.path) as reader:
        before = reader.segment_before(NIGHT - MINUTE)
        again = replay(reader, NIGHT - MINUTE, BACK + 2 * HOUR)
        stored = sum(len(lines) for lines in reader.decisions(0, None).values())
    assert before is not None and before.why == "start" and not before.time_unsure
    assert again.first is None
    assert again.decisions == stored > 0


def test_the_night_tells_it_by_the_right_clock(journal: SimpleNamespace) -> None:
    window = Window(utc("2026-11-30T20:00"), utc("2026-12-01T07:00"), ZoneInfo("UTC"))
    with Reader(journal.path) as reader:
        night = figures(gather(reader, window, utc("2026-12-01T08:00")))
    assert night.clock_unset == (ClockUnset(BACK, BACK + 5 * MINUTE, journal.showed),)
    assert "ran with its clock not set 03:00-03:05" in box(night)
    (told,) = record(night)["clock_unset"]
    assert (told["start"], told["lasted_s"]) == ("2026-12-01T03:00:00+00:00", 300.0)
    assert utc(told["showed"][:19]) == journal.showed // 1000 * 1000


def test_a_run_that_never_learns_the_time_tells_so_by_its_own(tmp_path: Path) -> None:
    begun = utc("2020-05-05T20:00")
    clock = VirtualClock(begun)
    clock.told_set = None
    with running(tmp_path, clock) as house:
        house.air(utc("2026-12-01T01:00"), 88.0)
        house.until(7 * HOUR)  # over a segment of six hours
    window = Window(utc("2020-05-05T18:00"), utc("2020-05-06T02:00"), ZoneInfo("UTC"))
    with Reader(tmp_path / JOURNAL) as reader:
        assert [one.time_unsure for one in reader.segments()] == [True, True]
        night = figures(gather(reader, window, utc("2020-05-06T03:00")))
    assert night.clock_unset == (ClockUnset(begun, window.to_ms, None),)


def test_the_machine_saying_so_makes_it_sure_without_a_step(tmp_path: Path) -> None:
    clock = VirtualClock(NIGHT)
    clock.told_set = False  # the right time, but nobody vouches for it
    with running(tmp_path, clock) as house:
        house.until(2 * LOOK_EVERY_MS)
        assert not house.service.status()["clock_set"]
        clock.told_set = True
        house.until(4 * LOOK_EVERY_MS)
        house.air(NIGHT, 88.0)
        assert house.service.status()["clock_set"]
    with Reader(tmp_path / JOURNAL) as reader:
        assert [item for _, _, item in reader.inputs_of(ClockStep, 0, None)] == [ClockStep(0, True)]
        unsure = {one.why: one.time_unsure for one in reader.segments()}
        assert (unsure["start"], unsure["clock set"]) == (True, False)
        assert replay(reader, NIGHT, NIGHT + HOUR).first is None


RELEASE = utc(f"{RELEASED}T00:00")


@pytest.mark.parametrize(
    ("told", "wall_ms", "newest_ms", "sure"),
    [
        (None, RELEASE, None, True),
        (None, RELEASE - 1, None, False),
        (None, NIGHT - 1, NIGHT, False),
        (None, NIGHT, NIGHT, True),
        (False, NIGHT, NIGHT, False),
        (True, NIGHT - HOUR, NIGHT, True),  # the record is what is wrong
    ],
)
def test_a_clock_is_judged_at_the_start(
    told: bool | None, wall_ms: int, newest_ms: int | None, sure: bool
) -> None:
    clock = VirtualClock(wall_ms)
    clock.told_set = told
    assert ClockTrust(clock).at_start(clock.now(), newest_ms) is sure


def test_a_step_into_the_past_makes_it_unsure_again() -> None:
    clock = VirtualClock(NIGHT)
    clock.told_set = None
    trust = ClockTrust(clock)
    assert trust.at_start(clock.now(), None)
    assert not trust.after_step(Instant(9_000, 1_000))
    assert trust.after_step(Instant(RELEASE, 2_000))


def test_the_kernel_is_asked_and_nothing_changed() -> None:
    """adjtimex(2) with no mode set only reads; it answers on Linux, and the same twice."""
    assert kernel_keeps_time() in (True, False, None)
    assert kernel_keeps_time() == kernel_keeps_time()


@pytest.mark.parametrize(("said", "set_by_it"), [("1\n", True), ("0\n", False), (None, False)])
def test_a_battery_clock_counts_if_the_machine_was_set_by_it(
    tmp_path: Path, said: str | None, set_by_it: bool
) -> None:
    (tmp_path / "rtc0").mkdir()
    if said is not None:
        (tmp_path / "rtc0" / "hctosys").write_text(said)
    assert battery_clock(tmp_path) is set_by_it
