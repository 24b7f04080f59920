"""The alarm book: delays, deadband, reminders, answers, holds, parents, restart.

Sources: the meaning of on-delay, off-delay, deadband and re-alarm is OPC 10000-9 annex B.1.5; that suppressed
alarms stay alive is its 4.8, that shelving has a maximum its 5.8.2, that unrecoverable shelving ends 5.8.17.
The worked example of delays was worked by hand before this code was written.
"""

from dataclasses import dataclass, field

import pytest
from hypothesis import given
from hypothesis import strategies as st

from gillhouse.core.alarm import AlarmBook, Condition, Side, alarm_id, beyond
from gillhouse.core.alarm_kinds import (
    KINDS,
    LONGEST_SHELVE_MS,
    PEOPLE_LIMITS,
    TIMING,
    deadband,
)
from gillhouse.core.alarm_states import Hold, Holding
from gillhouse.core.inputs import Act, OperatorAction
from gillhouse.core.instant import Instant
from gillhouse.core.outputs import AlarmNotice, Transition
from gillhouse.core.quantities import Quantity
from gillhouse.core.settings import AlarmSettings
from gillhouse.core.snapshot import from_plain, to_plain

WALL_MS = 1_700_000_000_000
MIN = 60_000
DRY = "humidity-low:tent"


def at(seconds: float) -> Instant:
    return Instant(WALL_MS + int(seconds * 1000), int(seconds * 1000))


def dry(on: bool | None, on_delay_s: float = 0, off_delay_s: float = 0, **more: object) -> Condition:
    delays = (int(on_delay_s * 1000), int(off_delay_s * 1000))
    return Condition("humidity-low", "tent", "tent", on, {"limit": 85.0}, *delays, **more)  # type: ignore[arg-type]


def person(act: Act, subject: str = DRY, **more: object) -> OperatorAction:
    return OperatorAction(act, subject, "Ada", **more)  # type: ignore[arg-type]


def brief(notices: list[AlarmNotice]) -> list[tuple[str, str, bool]]:
    return [(notice.transition.value, notice.state, notice.announce) for notice in notices]


@dataclass
class HumidityTrial:
    """Feeds one humidity series against one limit, as a space does, and keeps when the alarm moved."""

    book: AlarmBook = field(default_factory=AlarmBook)
    moves: list[tuple[float, str]] = field(default_factory=list)

    def feed(self, seconds: float, humidity_pct: float | None) -> None:
        on = None
        if humidity_pct is not None:
            on = beyond(humidity_pct, 85.0, Side.LOW, 3.0, self.book.is_active("humidity-low", "tent"))
        for notice in self.book.update(at(seconds), [dry(on, 600, 300)]):
            if notice.transition in (Transition.ACT, Transition.RTN):
                self.moves.append((seconds, notice.transition.value))


def test_worked_example_a_dip_shorter_than_the_delay_is_no_alarm() -> None:
    # Limit 85 %RH low, deadband 3, on-delay 600 s, off-delay 300 s, each 60 s a sample: 84.9 to 540 s, 86.
    trial = HumidityTrial()
    for seconds in range(0, 600, 60):
        trial.feed(seconds, 84.9)
    for seconds in range(600, 3000, 60):
        trial.feed(seconds, 86.0)
    assert trial.moves == []


def dry_for_ten_minutes() -> HumidityTrial:
    trial = HumidityTrial()
    for seconds in range(0, 601, 60):
        trial.feed(seconds, 84.9)
    assert trial.moves == [(600, "ACT")]
    return trial


def test_worked_example_it_starts_at_600_and_stays_while_short_of_the_deadband() -> None:
    trial = dry_for_ten_minutes()
    for seconds in range(660, 6000, 60):
        trial.feed(seconds, 87.9)  # 88.0 is needed
    assert [move for move in trial.moves if move[1] == "RTN"] == []


def test_worked_example_it_ends_off_delay_after_reaching_88() -> None:
    trial = dry_for_ten_minutes()
    for seconds in range(660, 1200, 60):
        trial.feed(seconds, 87.9)
    for seconds in range(1200, 1800, 60):
        trial.feed(seconds, 88.0)
    assert trial.moves == [(600, "ACT"), (1500, "RTN")]


def test_worked_example_falling_back_inside_the_off_delay_begins_it_anew() -> None:
    trial = dry_for_ten_minutes()
    humidity = {**dict.fromkeys(range(1200, 2000, 60), 88.0), 1380: 87.0}
    for seconds, value in humidity.items():
        trial.feed(seconds, value)
    assert trial.moves == [(600, "ACT"), (1740, "RTN")]


@pytest.mark.parametrize(
    ("value", "was_active", "expected"),
    [
        (85.0, False, False),  # at the limit is not beyond it
        (84.999, False, True),
        (87.999, True, True),
        (88.0, True, False),  # back by the deadband, equality included
    ],
)
def test_beyond_is_strict_to_start_and_inclusive_to_end(
    value: float, was_active: bool, expected: bool
) -> None:
    assert beyond(value, 85.0, Side.LOW, 3.0, was_active) is expected
    mirrored = beyond(170.0 - value, 85.0, Side.HIGH, 3.0, was_active)
    assert mirrored is expected


def test_a_missing_sample_neither_starts_nor_ends_and_pauses_no_delay() -> None:
    trial = HumidityTrial()
    trial.feed(0, 80.0)
    for seconds in range(60, 780, 60):
        trial.feed(seconds, None)
    assert trial.moves == []  # long past the delay, but nobody knows whether it is dry
    trial.feed(780, 80.0)
    assert trial.moves == [(780, "ACT")]
    trial.feed(840, 90.0)
    for seconds in range(900, 2000, 60):
        trial.feed(seconds, None)
    assert len(trial.moves) == 1
    trial.feed(2000, 90.0)
    assert trial.moves == [(780, "ACT"), (2000, "RTN")]


def test_a_delay_ends_at_its_deadline_without_a_new_reading() -> None:
    book = AlarmBook()
    assert book.update(at(0), [dry(True, 600)]) == []
    assert book.next_deadline_ms() == 600_000
    assert book.update(at(599.9), []) == []
    (started,) = book.update(at(600), [])
    assert (started.transition, started.announce, started.facts["limit"]) == (Transition.ACT, True, 85.0)
    assert started.facts["from_ms"] == WALL_MS  # dry since then, though the alarm is ten minutes younger


def test_delays_do_not_follow_a_wall_clock_that_steps() -> None:
    book = AlarmBook()
    book.update(at(0), [dry(True, 600)])
    a_year = 365 * 86_400_000
    assert book.update(Instant(WALL_MS + a_year, 300_000), [dry(True, 600)]) == []
    assert brief(book.update(Instant(WALL_MS - a_year, 600_000), [dry(True, 600)])) == [("ACT", "B", True)]


def test_a_clock_that_is_set_takes_along_what_began_by_it_and_nothing_older() -> None:
    """A board boots in 1970 and is set half a century later: 600 s of trouble stay 600 s. What was on before
    that start was told by another clock, and keeps its time."""
    years = WALL_MS - 10_000
    book = AlarmBook()
    book.update(Instant(10_000, 0), [dry(True)])
    older = book.records[DRY].since_wall_ms = book.records[DRY].from_wall_ms = WALL_MS - 3_600_000
    book.step(Instant(WALL_MS + 1_000, 1_000), years)
    assert (book.records[DRY].since_wall_ms, book.records[DRY].from_wall_ms) == (older, older)
    fresh = AlarmBook()
    fresh.update(Instant(10_000, 0), [dry(True)])
    fresh.step(Instant(WALL_MS + 600_000, 600_000), years)
    (ended,) = fresh.update(Instant(WALL_MS + 600_000, 600_000), [dry(False)])
    assert ended.facts["lasted_s"] == 600


def test_reminders_by_priority_until_acknowledged_then_as_new_after_longer() -> None:
    book = AlarmBook()
    book.settle(AlarmSettings({}, {2: 20 * MIN}, {2: 240 * MIN}))
    book.update(at(0), [dry(True)])
    assert book.next_deadline_ms() == 20 * MIN
    assert brief(book.update(at(20 * 60), [])) == [("REPEAT", "B", True)]
    assert brief(book.update(at(40 * 60), [])) == [("REPEAT", "B", True)]
    book.act(at(50 * 60), person(Act.ACK))
    assert book.next_deadline_ms() == 290 * MIN
    assert book.update(at(289 * 60), []) == []
    assert brief(book.update(at(290 * 60), [])) == [("REALARM", "B", True)]


def test_no_reminder_while_it_only_waits_to_be_over() -> None:
    book = AlarmBook()
    book.settle(AlarmSettings({}, {2: 20 * MIN}))
    book.update(at(0), [dry(True, 0, 600)])
    book.update(at(19 * 60), [dry(False, 0, 600)])
    assert book.next_deadline_ms() == 29 * MIN
    assert brief(book.update(at(29 * 60), [])) == [("RTN", "D", False)]


def test_an_acknowledgement_touches_the_occurrence_it_names_and_nothing_newer() -> None:
    book = AlarmBook()
    book.update(at(0), [dry(True)])
    book.update(at(60), [dry(False)])
    (second,) = book.update(at(120), [dry(True)])
    assert second.occurrence == 2
    (late,) = book.act(at(130), person(Act.ACK, occurrence=1))
    assert (late.transition, late.occurrence, late.state, late.who) == (Transition.ACK, 1, "B", "Ada")
    (twice,) = book.act(at(131), person(Act.ACK, occurrence=1))
    assert (twice.transition, twice.state) == (Transition.REFUSED, "B")
    (future,) = book.act(at(132), person(Act.ACK, occurrence=3))
    assert (future.transition, future.state) == (Transition.REFUSED, "B")
    (right,) = book.act(at(133), person(Act.ACK, occurrence=2))
    assert (right.transition, right.state) == (Transition.ACK, "C")


def test_a_space_can_be_acknowledged_whole() -> None:
    book = AlarmBook()
    stale = Condition("co2-high", "tent", "tent", True, {}, 0)
    elsewhere = Condition("co2-high", "barn", "barn", True, {}, 0)
    book.update(at(0), [dry(True), stale, elsewhere])
    done = book.act(at(1), person(Act.ACK, subject="tent"))
    assert [notice.alarm for notice in done] == [DRY, "co2-high:tent"]
    assert {line["alarm"]: line["state"] for line in book.active()} == {
        DRY: "C", "co2-high:tent": "C", "co2-high:barn": "B",
    }  # fmt: skip


@pytest.mark.parametrize("act", [Act.ACK, Act.RESET, Act.SHELVE])
def test_an_answer_to_an_alarm_that_does_not_exist_is_refused_and_says_so(act: Act) -> None:
    (notice,) = AlarmBook().act(at(0), person(act, subject="nonsense", for_ms=MIN))
    assert (notice.transition, notice.facts["unknown"], notice.who) == (Transition.REFUSED, True, "Ada")


@pytest.mark.parametrize(("priority", "most_h"), [(1, 1), (2, 12), (3, 72)])
def test_shelving_needs_an_end_within_the_maximum(priority: int, most_h: int) -> None:
    assert LONGEST_SHELVE_MS[priority] == most_h * 60 * MIN
    book = AlarmBook()
    book.update(at(0), [dry(True, priority=priority)])
    for refused in (None, 0, -5, LONGEST_SHELVE_MS[priority] + 1):
        (notice,) = book.act(at(1), person(Act.SHELVE, for_ms=refused))
        assert notice.transition is Transition.REFUSED
    (notice,) = book.act(at(1), person(Act.SHELVE, for_ms=LONGEST_SHELVE_MS[priority], text="new valve"))
    assert (notice.transition, notice.facts["why"]) == (Transition.SHELVE, "new valve")


def test_nothing_silences_a_limit_that_protects_people() -> None:
    for kind, _ in PEOPLE_LIMITS:
        book = AlarmBook()
        lost = Condition("broker-lost", "x", None, True, {}, 0)
        # Asked for the least priority, an endless delay and a parent: none of it is given.
        on = Condition(kind, "room", "room", True, {}, 10**9, 0, priority=3, parents=("broker-lost:x",))
        notices = book.update(at(0), [lost, on])
        notices += book.update(at(KINDS[kind].on_delay_ms / 1000), [])
        (notice,) = [item for item in notices if item.alarm == alarm_id(kind, "room")]
        assert (notice.announce, notice.priority) == (True, KINDS[kind].priority)
        (refused,) = book.act(at(999), person(Act.SHELVE, subject=alarm_id(kind, "room"), for_ms=MIN))
        assert refused.transition is Transition.REFUSED
        with pytest.raises(ValueError, match="protects people"):
            book.hold(at(999), alarm_id(kind, "room"), Holding.BY_DESIGN, Hold("rule", "cleaning"))


def test_a_graver_limit_for_people_replaces_the_lesser_ones() -> None:
    book = AlarmBook()
    high = Condition("co2-high", "room", "room", True, {}, 0)
    limits = [Condition(kind, "room", "room", True, {}) for kind, _ in PEOPLE_LIMITS]
    first = book.update(at(0), [high, *limits])
    assert [notice.kind for notice in first if notice.announce][-1] == "co2-people-30000"
    later = book.update(at(300), [high, *limits])
    assert [notice.kind for notice in later if notice.announce and notice.transition is Transition.ACT] == []
    held = {line["kind"]: line["held_by"] for line in book.active()}
    assert held["co2-people-5000"] in ("co2-people-15000:room", "co2-people-30000:room")
    assert held["co2-people-30000"] == ""


def broker(on: bool) -> Condition:
    return Condition("broker-lost", "broker", None, on)


def silent(sensor: str, on: bool) -> Condition:
    return Condition("sensor-silent", sensor, "tent", on, {}, 0, MIN)


def test_one_lost_broker_gives_one_call() -> None:
    book = AlarmBook()
    sensors = [f"s{number}" for number in range(8)]
    notices = book.update(at(0), [broker(True)])
    # Every sensor counts as silent ten seconds before the broker's own two minutes are over.
    notices += book.update(at(110), [broker(True), *(silent(sensor, True) for sensor in sensors)])
    child = dry(True, parents=("sensor-silent:s0",))
    notices += book.update(at(111), [child])
    notices += book.update(at(120), [])
    assert [notice.alarm for notice in notices if notice.announce] == ["broker-lost:broker"]
    supp = [notice for notice in notices if notice.transition is Transition.SUPP]
    parents = {notice.alarm: notice.facts["parent"] for notice in supp}
    assert parents["sensor-silent:s3"] == "broker-lost:broker"
    # It comes back; the sensors report one after another, before its two quiet minutes are over.
    notices = book.update(at(400), [broker(False)])
    notices += book.update(at(430), [*(silent(sensor, False) for sensor in sensors), dry(False)])
    notices += book.update(at(490), [])
    notices += book.update(at(520), [])
    assert [notice.alarm for notice in notices if notice.announce] == []
    assert not any(book.is_active("sensor-silent", sensor) for sensor in sensors)


def test_a_sensor_still_silent_when_the_broker_is_back_is_announced_then() -> None:
    book = AlarmBook()
    book.update(at(0), [broker(True)])
    book.update(at(130), [broker(True), silent("s1", True)])
    book.update(at(400), [broker(False)])
    notices = book.update(at(520), [])
    assert [(n.alarm, n.transition.value, n.announce) for n in notices if n.announce] == [
        ("sensor-silent:s1", "UNSUPP", True)
    ]


def test_a_short_loss_of_contact_does_not_say_old_alarms_again() -> None:
    book = AlarmBook()
    book.update(at(0), [dry(True)])
    book.act(at(5), person(Act.ACK))
    notices = book.update(at(10), [broker(True)]) + book.update(at(40), [broker(False)])
    assert notices == []


def test_a_silent_sensor_explains_its_limit_alarm_and_the_alarm_names_a_likely_cause() -> None:
    book = AlarmBook()
    tank = Condition("tank-empty", "tank1", None, True, {}, 0)
    book.update(at(0), [tank])
    (notice,) = book.update(at(60), [dry(True)])
    assert notice.facts["because"] == "tank-empty:tank1"
    notices = book.update(at(70), [silent("s1", True), dry(True, parents=("sensor-silent:s1",))])
    notices += book.update(at(71), [])
    assert ("SUPP", DRY) in [(item.transition.value, item.alarm) for item in notices]
    assert book.next_deadline_ms() is not None


def test_the_first_of_several_is_marked_until_all_is_normal() -> None:
    book = AlarmBook()
    door = Condition("door-open", "tent", "tent", True, {}, 0)
    (first,) = book.update(at(0), [door])
    (second,) = book.update(at(30), [dry(True)])
    stale = Condition("co2-high", "tent", "tent", True, {}, 0)
    (third,) = book.update(at(61), [stale])
    assert first.facts["first_out"] == "door-open:tent"
    assert second.facts["first_out"] == "door-open:tent"
    assert "first_out" not in third.facts  # more than a minute later
    other = AlarmBook().update(at(0), [door, dry(True)])
    assert [notice.facts["first_out"] for notice in other] == ["door-open:tent", "=door-open:tent"]


def test_restart_keeps_states_and_recoverable_holds_and_stamps_what_nobody_saw() -> None:
    book = AlarmBook()
    stale = Condition("co2-high", "tent", "tent", True, {}, 0)
    hot = Condition("temperature-high", "tent", "tent", True, {}, 0)
    book.update(at(0), [dry(True), stale, hot])
    book.act(at(1), person(Act.ACK))
    book.act(at(2), person(Act.SHELVE, subject="co2-high:tent", for_ms=60 * MIN))
    book.hold(
        at(3), "temperature-high:tent", Holding.OUT_OF_SERVICE, Hold("Ada", "no sensor")
    )  # no end: lost
    back = from_plain(AlarmBook, to_plain(book))
    assert back == book
    back.restart(Instant(WALL_MS + 30 * MIN, 0))
    lines = {str(line["kind"]): line for line in back.active()}
    assert {kind: line["state"] for kind, line in lines.items()} == {
        "humidity-low": "C", "co2-high": "B", "temperature-high": "B",
    }  # fmt: skip
    assert {kind: line["held"] for kind, line in lines.items()} == {
        "humidity-low": "", "co2-high": "shelved-timed", "temperature-high": "",
    }  # fmt: skip
    ended = back.update(Instant(WALL_MS + 31 * MIN, MIN), [dry(False, 600, 300)])
    rtn = [notice for notice in ended if notice.alarm == DRY]
    assert [(n.transition.value, n.state, n.facts["ended_unseen"]) for n in rtn] == [("RTN", "A", True)]
    freed = back.update(Instant(WALL_MS + 62 * MIN + 2_000, 32 * MIN + 2_000), [stale])
    assert ("UNSHELVE", "B", True) in brief([n for n in freed if n.kind == "co2-high"])


def test_a_condition_found_at_start_says_so() -> None:
    book = AlarmBook()
    book.update(at(0), [dry(True)])
    book.update(at(10), [dry(False)])
    book.act(at(11), person(Act.ACK))
    book.restart(at(0))
    book.update(at(5), [dry(True, 60)])
    (notice,) = book.update(at(65), [])
    assert (notice.transition, notice.occurrence) == (Transition.ACT, 2)
    assert notice.facts["found_at_start"] is True


def test_new_settings_retire_alarms_of_what_is_gone() -> None:
    book = AlarmBook()
    book.update(at(0), [dry(True), silent("s1", True)])
    (gone,) = book.retire({"s1"})
    assert (gone.alarm, gone.transition, gone.announce) == (DRY, Transition.RTN, False)
    assert [line["alarm"] for line in book.active()] == ["sensor-silent:s1"]


def test_default_timing_is_the_documented_one() -> None:
    # Starting values of the project's own table; deadband for CO2 is 100 ppm or 5 % of the limit, the larger.
    assert (TIMING[Quantity.HUMIDITY].deadband, TIMING[Quantity.HUMIDITY].on_delay_ms) == (3.0, 600_000)
    assert (TIMING[Quantity.TEMPERATURE].deadband, TIMING[Quantity.TEMPERATURE].off_delay_ms) == (
        0.5,
        120_000,
    )
    assert deadband(Quantity.CO2, 1_000.0, TIMING[Quantity.CO2]) == 100.0
    assert deadband(Quantity.CO2, 5_000.0, TIMING[Quantity.CO2]) == 250.0
    assert [limit for _, limit in PEOPLE_LIMITS] == [5_000.0, 15_000.0, 30_000.0]
    assert [KINDS[kind].on_delay_ms for kind, _ in PEOPLE_LIMITS] == [300_000, 0, 0]


def test_every_kind_has_its_record_in_plain_short_words() -> None:
    known = set(KINDS)
    jargon = ("excursion", "deficit", "lease", "duty", "interlock", "trim", "shelve", "setpoint")
    for name, kind in KINDS.items():
        words = f"{kind.title} {kind.cause} {kind.consequence} {kind.action}"
        assert all((kind.title, kind.cause, kind.consequence, kind.action)), name
        assert kind.priority in (1, 2, 3)
        assert kind.time_allowed_min > 0
        assert words.isascii(), name
        assert len(words) <= 130, (
            name
        )  # the message has 160 and must also say where, how bad and how to answer
        assert not [word for word in jargon if word in words.lower()], name
        assert known.issuperset(kind.parents), name
        assert known.issuperset(kind.causes), name
        if kind.people:
            assert all(KINDS[parent].people for parent in kind.parents), name


STEPS = st.one_of(
    st.tuples(st.just("dry"), st.sampled_from([True, False, None])),
    st.tuples(st.just("silent"), st.sampled_from([True, False, None])),
    st.tuples(st.just("broker"), st.booleans()),
    st.tuples(st.just("ack"), st.sampled_from([None, 1, 2, 3])),
    st.tuples(st.just("shelve"), st.sampled_from([MIN, 60 * MIN, None])),
    st.tuples(st.just("reset"), st.none()),
    st.tuples(st.just("wait"), st.integers(0, 3_600)),
)


SILENT = (Transition.REFUSED, Transition.RTN, Transition.ACK, Transition.SUPP, Transition.SHELVE)


@given(st.lists(STEPS, max_size=40))
def test_any_night_keeps_the_books_promises(steps: list[tuple[str, object]]) -> None:
    """Facts agree with letters, nothing held is announced, a snapshot goes on alike, deadlines lie ahead."""
    book, twin, now = AlarmBook(), AlarmBook(), at(0)
    for what, value in steps:
        now = now.later(1_000 * int(value) if what == "wait" else 1_000)  # type: ignore[call-overload]
        conditions = {
            "dry": [dry(value, 60, 30, parents=("sensor-silent:s1",))],  # type: ignore[arg-type]
            "silent": [Condition("sensor-silent", "s1", "tent", value, {}, 0)],  # type: ignore[arg-type]
            "broker": [broker(bool(value))],
        }.get(what, [])
        act = {
            "ack": person(Act.ACK, occurrence=value),
            "shelve": person(Act.SHELVE, for_ms=value),
            "reset": person(Act.RESET),
        }.get(what)
        notices = book.update(now, conditions)
        assert notices == twin.update(now, conditions)
        if act is not None:
            acted = book.act(now, act)
            assert acted == twin.act(now, act)
            notices += acted
        for notice in notices:
            assert notice.state in "ABCDEF"
            assert not (notice.announce and notice.facts.get("held"))
            assert not (notice.announce and notice.transition in SILENT)
        for record in book.records.values():
            assert (record.state in "BC") == record.active
            assert record.latched is False  # no kind in this trial latches
        due = book.next_deadline_ms()
        assert due is None or due > now.mono_ms or act is not None
        twin = from_plain(AlarmBook, to_plain(book))
        assert twin == book
