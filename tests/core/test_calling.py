"""Who is called for an alarm and when: escalation, quiet hours, budget, rota, grouping, rate, digest.

Times are worked by hand in each test from the rows this project chose (its own proposal, no source): priority
1 calls the first person at 0 and 5 min, the second at 15, everyone at 30 and every 30 after; priority 2 the
first at 0 and 20 min, the second at 60, then every 4 h. Clock changes: Europe/Rome, 2026-03-29 02:00 -> 03:00
and 2026-10-25 03:00 -> 02:00 (tz database). Time is virtual and moves to each moment somebody asked for.
"""

from dataclasses import dataclass, field, replace
from datetime import date, datetime
from typing import Any
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from gillhouse.core import calling, digest
from gillhouse.core.alarm import AlarmBook, Condition
from gillhouse.core.alarm_kinds import KINDS
from gillhouse.core.call_order import ESCALATION, Ask, grave, leaves_ms, order, step_at
from gillhouse.core.call_state import CallState
from gillhouse.core.call_turn import Turn
from gillhouse.core.edges import PersonSettings, ReachSettings, RotaSettings
from gillhouse.core.inputs import Act, ChannelReport, OperatorAction
from gillhouse.core.instant import Instant
from gillhouse.core.outputs import AlarmNotice, Call, CallKind, Transition
from gillhouse.core.settings import CallSettings
from gillhouse.core.snapshot import from_plain, to_plain

ZONE = ZoneInfo("Europe/Rome")
MIN = 60_000
HOUR = 60 * MIN


def wall(text: str, fold: int = 0) -> int:
    moment = datetime.strptime(text, "%Y-%m-%d %H:%M").replace(tzinfo=ZONE, fold=fold)
    return round(moment.timestamp() * 1000)


def someone(name: str, **over: Any) -> PersonSettings:
    return PersonSettings(name, name.title(), (ReachSettings("post", f"{name}@farm.invalid"),), **over)


NIGHT = {"quiet_from_min": 22 * 60, "quiet_to_min": 6 * 60}
TWO = (someone("ana", **NIGHT), someone("bo", **NIGHT))
URGENT, CAUSE, LOSS, HOSE, LOW = "relay-stuck", "tank-empty", "humidity-low", "hose", "sensor-flat"


@dataclass
class Trial:
    """An alarm book and calls, in virtual time."""

    begin: int
    with_: CallSettings = field(default_factory=lambda: CallSettings(TWO))
    book: AlarmBook = field(default_factory=AlarmBook)
    calls: CallState = field(default_factory=CallState)
    ms: int = 0
    seq: int = 0
    made: list[tuple[int, Call]] = field(default_factory=list)

    def __post_init__(self) -> None:
        self.book.repeat_ms, self.book.realarm_ms = {}, {}
        self._follow([])

    @property
    def now(self) -> Instant:
        return Instant(self.begin + self.ms, self.ms)

    def _follow(self, notices: list[AlarmNotice]) -> None:
        self.seq += 1
        turn = Turn(self.with_, ZONE, self.calls, self.book, (self.seq, self.now))
        if notices or calling.is_due(self.calls, self.now):
            self.made += [(self.ms, one) for one in calling.follow(turn, notices, ())]

    def tell(self, *conditions: Condition) -> None:
        self._follow(self.book.update(self.now, list(conditions)))

    def on(self, kind: str, active: bool = True, subject: str = "tent", **facts: Any) -> None:
        self.tell(Condition(kind, subject, "tent", active, facts, 0, 0))

    def act(self, act: Act, alarm: str, **more: Any) -> None:
        self._follow(self.book.act(self.now, OperatorAction(act, alarm, "ana", **more)))

    def run(self, ms: int) -> None:
        end = self.ms + ms
        while (wake := self._wake()) <= end:
            self.ms = max(self.ms, wake)
            self._follow(self.book.update(self.now, []))
        self.ms = end

    def _wake(self) -> int:
        """When calls or the book must be looked at next, ms since the begin."""
        calls = 1 << 62 if self.calls.wake_ms is None else self.calls.wake_ms - self.begin
        book = self.book.next_deadline_ms()
        return min(calls, 1 << 62 if book is None else book)

    def told(self, kind: CallKind = CallKind.ALARM) -> list[tuple[float, str]]:
        """Minutes since the begin, and who."""
        return [(at / MIN, one.person) for at, one in self.made if one.kind is kind]


def day(**over: Any) -> Trial:
    return Trial(wall("2026-11-25 12:00"), **over)


def night(hours: str = "23:00") -> Trial:
    return Trial(wall(f"2026-11-25 {hours}"))


# --- escalation ----------------------------------------------------------------------------------------


def test_the_rows_are_the_documented_ones() -> None:
    assert ESCALATION[1] == ((0, Ask.FIRST), (5, Ask.FIRST), (15, Ask.SECOND), (30, Ask.EVERYONE))
    assert ESCALATION[2] == ((0, Ask.FIRST), (20, Ask.FIRST), (60, Ask.SECOND))
    assert [step_at(1, step) for step in (4, 5)] == [(60, Ask.EVERYONE), (90, Ask.EVERYONE)]
    assert [step_at(2, step) for step in (3, 4)] == [(300, Ask.FIRST), (540, Ask.FIRST)]
    assert step_at(3, 1) is None


def test_priority_1_calls_on_until_somebody_has_seen_it() -> None:
    trial = night()
    trial.on(URGENT)
    trial.run(75 * MIN)
    assert trial.told() == [
        (0, "ana"), (5, "ana"), (15, "bo"), (30, "ana"), (30, "bo"), (60, "ana"), (60, "bo"),
    ]  # fmt: skip
    trial.act(Act.ACK, f"{URGENT}:tent")
    trial.run(10 * HOUR)
    assert len(trial.told()) == 7
    assert all(one.night for _, one in trial.made if one.kind is CallKind.ALARM)


def test_that_it_is_over_does_not_end_the_calls_of_priority_1_but_those_of_2() -> None:
    trial = night()
    trial.on("broker-lost", subject="broker")
    trial.run(2 * MIN)
    trial.on("broker-lost", active=False, subject="broker")
    trial.run(4 * MIN)
    assert trial.told() == [(0, "ana"), (5, "ana")]
    first, second = (one.notices[0] for _, one in trial.made if one.kind is CallKind.ALARM)
    assert (first.state, first.facts.get("over")) == ("B", None)
    assert (second.state, second.facts["over"]) == ("D", True)
    assert second.facts["over_ms"] == trial.begin + 2 * MIN
    by_day = day()
    by_day.on(CAUSE)
    by_day.run(2 * MIN)
    by_day.on(CAUSE, active=False)
    by_day.run(3 * HOUR)
    assert by_day.told() == [(0.5, "ana")]
    assert by_day.told(CallKind.CLEARED) == [(2, "ana")]


def test_one_that_comes_again_is_not_called_as_over_and_what_waits_latched_is() -> None:
    trial = day()
    trial.on("mains-off", subject="power")
    trial.run(2 * MIN)
    trial.on("mains-off", active=False, subject="power")
    trial.run(1 * MIN)
    trial.on("mains-off", subject="power")
    trial.run(3 * MIN)
    assert [one.notices[0].facts.get("over") for _, one in trial.made] == [None, None]
    stopped = day()
    stopped.on("leak")
    stopped.on("leak", active=False)
    stopped.run(6 * MIN)
    told = [one.notices[0] for _, one in stopped.made]
    assert (told[-1].state, told[-1].facts["over"]) == ("E", True)
    calling.restart(stopped.calls, stopped.book, stopped.now, True)
    stopped.calls.open.clear()  # as where the calls of before were lost
    calling.restart(stopped.calls, stopped.book, stopped.now, True)
    assert stopped.calls.open["leak:tent"].over


def test_priority_2_by_day_after_half_a_minute_then_20_then_the_second_at_60_then_every_4_hours() -> None:
    trial = day()
    trial.on(CAUSE)
    trial.run(6 * HOUR)
    assert trial.told() == [(0.5, "ana"), (20, "ana"), (60.5, "bo"), (300, "ana")]


def test_priority_3_is_for_the_digest_unless_tomorrow_is_too_late() -> None:
    trial = day()
    trial.on(LOW)
    trial.on(HOSE, subject="barn")
    trial.run(6 * HOUR)
    assert [(at, one.notices[0].kind) for at, one in trial.made] == [(30_000, HOSE)]


def test_seen_in_one_message_is_seen_together() -> None:
    trial = day()
    trial.on(CAUSE)
    trial.ms += 10_000
    trial.on("relay-silent")
    trial.run(MIN)
    ((_, call),) = trial.made
    assert [one.kind for one in call.notices] == [CAUSE, "relay-silent"]
    assert (call.facts["next"], call.facts["next_ms"]) == ("ana", trial.begin + 20 * MIN)
    trial.act(Act.ACK, f"{CAUSE}:tent", occurrence=1)
    trial.run(12 * HOUR)
    assert len(trial.told()) == 1


def test_a_late_answer_to_an_old_occurrence_ends_no_calls() -> None:
    trial = night()
    trial.on("broker-lost", subject="broker")
    trial.on("broker-lost", False, subject="broker")
    trial.on("broker-lost", subject="broker")
    trial.act(Act.ACK, "broker-lost:broker", occurrence=1)
    trial.run(6 * MIN)
    assert trial.told() == [(0, "ana"), (5, "ana")]


def test_what_a_person_keeps_quiet_calls_nobody_until_it_is_told_again() -> None:
    trial = day()
    trial.on(CAUSE)
    trial.act(Act.SHELVE, f"{CAUSE}:tent", for_ms=HOUR)
    trial.run(59 * MIN)
    assert trial.told() == []
    trial.ms = HOUR
    trial.tell()
    trial.run(MIN)
    assert trial.told() == [(60.5, "ana")]


def test_an_alarm_that_comes_and_goes_does_not_begin_its_calls_anew() -> None:
    trial = night()
    for _ in range(20):
        trial.on("broker-lost", True, subject="broker")
        trial.run(5_000)
        trial.on("broker-lost", False, subject="broker")
        trial.run(5_000)
    assert trial.told() == [(0, "ana")]


# --- quiet hours, budget -------------------------------------------------------------------------------


def test_a_2_without_loss_waits_for_the_morning_and_is_sent_if_it_is_still_there() -> None:
    trial = night("23:00")
    trial.on(CAUSE)
    trial.run(9 * HOUR)
    assert trial.told()[:2] == [(7 * 60 + 0.5, "ana"), (7 * 60 + 20, "ana")]


def test_what_cleared_before_the_morning_stands_in_the_digest_alone() -> None:
    trial = night("23:00")
    trial.on(CAUSE)
    trial.run(HOUR)
    trial.on(CAUSE, active=False)
    trial.run(9 * HOUR)
    assert trial.told() == []
    (first, _) = [one for _, one in trial.made if one.kind is CallKind.DIGEST]
    (line,) = first.lines
    assert (line["kind"], line["from_ms"], line["to_ms"]) == (CAUSE, trial.begin, trial.begin + HOUR)


@pytest.mark.parametrize(
    ("begun", "wakes"),
    [
        ("23:00", True),  # 120 min allowed: lost by 01:00, before 06:00
        ("03:59", True),  # by 05:59
        ("04:00", False),  # by 06:00: they are up
        ("04:30", False),
    ],
)
def test_a_2_wakes_only_where_the_crop_is_lost_before_the_end(begun: str, wakes: bool) -> None:
    assert (KINDS[LOSS].priority, KINDS[LOSS].time_allowed_min) == (2, 120)
    day_of = "2026-11-26" if begun < "12" else "2026-11-25"
    trial = Trial(wall(f"{day_of} {begun}"))
    trial.on(LOSS)
    trial.run(MIN)
    assert trial.told() == ([(0.5, "ana")] if wakes else [])


def test_the_core_own_foretelling_counts_before_the_table() -> None:
    trial = night("23:00")
    trial.on(CAUSE, by_ms=wall("2026-11-26 02:00"))
    trial.run(MIN)
    assert trial.told() == [(0.5, "ana")]


def test_somebody_awake_is_called_before_somebody_asleep_waits() -> None:
    people = (someone("ana", **NIGHT), someone("bo", quiet_from_min=9 * 60, quiet_to_min=17 * 60))
    trial = Trial(wall("2026-11-25 23:00"), CallSettings(people))
    trial.on(CAUSE)
    trial.run(MIN)
    assert trial.told() == [(0.5, "bo")]


def test_without_quiet_hours_of_their_own_a_person_has_a_budget_of_two_a_night() -> None:
    trial = Trial(wall("2026-11-25 22:30"), CallSettings((someone("ana"),)))
    for minute, kind in enumerate(("tank-empty", "relay-silent", "store-failing", "fan-unasked")):
        trial.on(kind)
        trial.run(6 * MIN)
        assert len(trial.told()) == min(minute + 1, 2)
        trial.act(Act.ACK, f"{kind}:tent")
    trial.on(LOSS)
    trial.run(6 * MIN)
    assert len(trial.told()) == 3, "a loss before morning passes the budget"
    trial.on(URGENT)
    assert len(trial.told()) == 4, "and so does priority 1"


def test_the_budget_begins_anew_with_the_next_night() -> None:
    trial = Trial(wall("2026-11-25 22:30"), CallSettings((someone("ana"),)))
    for at in range(2):
        for kind in ("tank-empty", "relay-silent"):
            trial.on(kind)
            trial.run(6 * MIN)
            trial.act(Act.ACK, f"{kind}:tent")
            trial.on(kind, active=False)
        assert len(trial.told()) == 2 * (at + 1)
        trial.run(24 * HOUR - 12 * MIN)


def test_a_call_held_for_others_while_the_night_begins_waits_for_the_morning() -> None:
    trial = Trial(wall("2026-11-25 21:59"))
    trial.ms = 45_000
    trial.on(CAUSE)
    trial.run(9 * HOUR)
    assert trial.told()[0] == ((8 * 60 + 1 + 0.5), "ana")


@pytest.mark.parametrize(
    ("begin", "end"),
    [
        ("2026-11-25 23:00", "2026-11-26 06:00"),
        ("2026-03-28 23:00", "2026-03-29 06:00"),  # a night of 7 h instead of 8
        ("2026-10-24 23:00", "2026-10-25 06:00"),  # of 9 h
    ],
)
def test_quiet_hours_end_by_the_clock_on_the_wall_also_when_the_clocks_change(begin: str, end: str) -> None:
    assert leaves_ms(wall(begin), ZONE, 22 * 60, 6 * 60) == wall(end)
    trial = Trial(wall(begin))
    trial.on(CAUSE)
    trial.run(11 * HOUR)
    ((first, _), *_) = trial.told()
    assert round(first * MIN) + trial.begin == wall(end) + 30_000


def test_an_end_that_the_spring_night_skips_comes_when_the_clock_is_put_forward() -> None:
    assert leaves_ms(wall("2026-03-28 23:00"), ZONE, 22 * 60, 150) == wall("2026-03-29 03:00")


def test_while_the_clock_is_not_set_nobody_is_taken_to_sleep() -> None:
    trial = night()
    trial.calls.sure = False
    trial.on(CAUSE)
    trial.run(MIN)
    assert trial.told() == [(0.5, "ana")]


# --- rota, routing -------------------------------------------------------------------------------------


def test_the_rota_says_who_is_first_from_hand_over_to_hand_over() -> None:
    week = RotaSettings(
        "week",
        ("bo",),
        date(2026, 11, 23),
        date(2026, 11, 25),
    )
    sunday = RotaSettings("sunday", ("cy", "bo"), weekdays=(6,))
    with_ = CallSettings((*TWO, someone("cy")), (week, sunday))

    def first(text: str) -> list[str]:
        return [one.id for one in order(with_, wall(text), ZONE)]

    assert first("2026-11-23 07:59") == ["cy", "bo", "ana"], "still Sunday's turn: hands over at 08:00"
    assert first("2026-11-23 08:00") == ["bo", "ana", "cy"]
    assert first("2026-11-26 03:00") == ["bo", "ana", "cy"], "the night belongs to the day it began on"
    assert first("2026-11-26 08:00") == ["ana", "bo", "cy"], "no turn: the order of the file"


def test_people_are_called_for_their_spaces_and_priorities_alone() -> None:
    people = (someone("ana", spaces=("room",)), someone("bo", priorities=(2, 3)), someone("cy"))
    trial = Trial(wall("2026-11-25 12:00"), CallSettings(people))
    trial.on(URGENT)
    trial.run(40 * MIN)
    assert {name for _, name in trial.told()} == {"cy"}


# --- grouping, rate ------------------------------------------------------------------------------------


def test_the_first_message_waits_30_s_for_others_and_the_next_one_5_min() -> None:
    trial = day()
    trial.on("tank-empty")
    trial.run(29_000)
    trial.on("relay-silent")
    trial.run(2_000)
    trial.on("fan-unasked")
    trial.on("store-failing")
    trial.run(6 * MIN)
    assert [(at / 1000, len(one.notices)) for at, one in trial.made] == [(30, 2), (330, 2)]


def test_priority_1_waits_for_nothing_and_takes_the_others_along() -> None:
    trial = day()
    trial.on(CAUSE)
    trial.run(10_000)
    trial.on(URGENT)
    ((at, call),) = trial.made
    assert (at, [one.kind for one in call.notices], call.priority) == (10_000, [URGENT, CAUSE], 1)


def test_at_most_15_an_hour_and_5_more_for_priority_1() -> None:
    trial = Trial(wall("2026-11-25 12:00"), CallSettings((someone("ana"),), most_per_h=8))
    for number in range(12):
        trial.on(CAUSE, subject=f"tank-{number}")
        trial.run(5 * MIN)
    assert len([at for at, _ in trial.told() if at < 60]) == 6, "three quarters of eight"
    trial.on(URGENT)
    assert trial.told()[-1] == (60, "ana")


# --- digest, weekly ------------------------------------------------------------------------------------


def test_the_digest_comes_every_day_also_when_nothing_happened() -> None:
    trial = day(with_=CallSettings((someone("ana"), someone("bo", report=False))))
    trial.calls.readings = 86_400
    trial.run(48 * HOUR)
    assert trial.told(CallKind.DIGEST) == [(19.5 * 60, "ana"), (43.5 * 60, "ana")]
    first = next(one for _, one in trial.made if one.kind is CallKind.DIGEST)
    assert (first.facts["readings"], first.lines, first.facts["over"]) == (86_400, (), "")


@pytest.mark.parametrize("evening", ["2026-03-28", "2026-10-24"])
def test_the_digest_keeps_its_time_when_the_clocks_change(evening: str) -> None:
    trial = Trial(wall(f"{evening} 12:00"))
    trial.run(24 * HOUR)
    (at,) = {at for at, name in trial.told(CallKind.DIGEST)}
    assert datetime.fromtimestamp((trial.begin + at * MIN) / 1000, ZONE).strftime("%H:%M") == "07:30"


def test_the_digest_says_where_the_week_was_over_its_targets() -> None:
    trial = night("22:30")
    for kind in (URGENT, "co2-people-15000"):
        trial.on(kind)
    trial.run(10 * HOUR)
    first = next(one for _, one in trial.made if one.kind is CallKind.DIGEST)
    assert first.facts["urgent_a_week"] == 2, "target: at most one a week"
    assert "urgent_a_week" in str(first.facts["over"])
    assert "night_calls_a_week" in str(first.facts["over"])


def test_the_weekly_list_goes_on_mondays_to_everybody() -> None:
    trial = day()
    trial.run(8 * 24 * HOUR)
    days = {
        datetime.fromtimestamp((trial.begin + at * MIN) / 1000, ZONE) for at, _ in trial.told(CallKind.WEEKLY)
    }
    assert [one.strftime("%a %H:%M") for one in days] == ["Mon 07:30"]
    assert {name for _, name in trial.told(CallKind.WEEKLY)} == {"ana", "bo"}


# --- channels ------------------------------------------------------------------------------------------


def test_a_channel_that_took_nothing_for_eight_days_is_an_alarm_until_it_does() -> None:
    trial = day()
    with_, calls = trial.with_, trial.calls

    def dead(ms: int) -> bool | None:
        (one,) = digest.channel_conditions(with_, calls, trial.begin + ms)
        return one.active

    assert dead(8 * 24 * HOUR) is False
    assert dead(8 * 24 * HOUR + 1) is True
    digest.take_report(calls, Instant(trial.begin + 24 * HOUR, 0), ChannelReport("post", False, detail="no"))
    assert dead(8 * 24 * HOUR + 1) is True, "a try that failed is no success"
    digest.take_report(calls, Instant(trial.begin + 24 * HOUR, 0), ChannelReport("post", True))
    assert dead(8 * 24 * HOUR + 1) is False
    assert dead(9 * 24 * HOUR + 1) is True


# --- restarts, clocks ----------------------------------------------------------------------------------


def test_a_restart_loses_and_doubles_nothing() -> None:
    trial = night()
    trial.on(URGENT)
    trial.run(2 * MIN)
    trial.calls = from_plain(CallState, to_plain(trial.calls))
    calling.restart(trial.calls, trial.book, trial.now, sure=True)
    trial._follow([])
    trial.run(30 * MIN)
    assert trial.told() == [(0, "ana"), (5, "ana"), (15, "bo"), (30, "ana"), (30, "bo")]


def test_what_came_due_while_nothing_ran_is_said_at_once_and_what_nobody_was_called_for() -> None:
    trial = night()
    trial.on(URGENT)
    trial.ms += 20 * MIN  # nothing ran
    trial.book.update(trial.now, [Condition("relay-stuck", "fan", "tent", True, {}, 0, 0)])
    calling.restart(trial.calls, trial.book, trial.now, sure=True)
    trial._follow([])
    assert trial.told()[1:] == [(20, "ana"), (20, "bo")]
    assert [one.subject if hasattr(one, "subject") else one.alarm for one in trial.made[1][1].notices] == [
        "relay-stuck:tent", "relay-stuck:fan",
    ]  # fmt: skip


@pytest.mark.parametrize("by_ms", [-56 * 365 * 24 * HOUR, 3 * HOUR, 56 * 365 * 24 * HOUR])
def test_a_clock_that_is_set_moves_the_calls_with_it(by_ms: int) -> None:
    trial = Trial(wall("2026-11-25 12:00"), CallSettings((someone("ana"), someone("bo"))))
    trial.on(URGENT)
    trial.run(2 * MIN)
    trial.begin += by_ms
    calling.step(trial.calls, trial.now, by_ms, sure=True)
    trial._follow([])
    trial.run(20 * MIN)
    assert trial.told() == [(0, "ana"), (5, "ana"), (15, "bo")]


def test_after_a_stop_somebody_is_told_by_day_how_long_nobody_watched() -> None:
    for hours, told in (("12:00", [(0, "ana")]), ("23:00", [])):
        trial = night(hours)
        turn = Turn(trial.with_, ZONE, trial.calls, trial.book, (9, trial.now))
        calling.back_from_away(turn, 2 * HOUR)
        assert [(0, one.person) for one in turn.made] == told
        assert trial.calls.away_ms == 2 * HOUR
    assert (turn.now_ms, calling.TELL_AWAY_MS) == (trial.begin, 10 * MIN)


def test_when_the_broker_is_back_those_who_were_called_hear_from_when_to_when() -> None:
    trial = night()
    trial.on("broker-lost", subject="broker")
    trial.run(MIN)
    trial.act(Act.ACK, "broker-lost:broker")
    trial.run(HOUR)
    trial.on("broker-lost", active=False, subject="broker")
    (back,) = [one for _, one in trial.made if one.kind is CallKind.BACK]
    assert (back.person, back.facts["from_ms"], back.facts["to_ms"]) == (
        "ana", trial.begin, trial.begin + HOUR + MIN,
    )  # fmt: skip


# --- promises ------------------------------------------------------------------------------------------

STEPS = st.tuples(
    st.sampled_from(
        [(kind, state) for kind in (URGENT, CAUSE, LOSS, HOSE, LOW, "broker-lost") for state in (True, False)]
        + [(kind, "ack") for kind in (URGENT, CAUSE, LOSS)]
    ),
    st.integers(0, 180),
)


@settings(max_examples=60, deadline=None)
@given(
    st.lists(STEPS, max_size=25),
    st.sampled_from(["2026-03-28 20:00", "2026-10-24 20:00", "2026-11-25 09:00"]),
)
def test_any_days_promises(steps: list[tuple[tuple[str, Any], int]], begin: str) -> None:
    """Nobody wakes without cause or gets over the cap, nothing urgent is left unsaid, a twin agrees."""
    trial, twin = Trial(wall(begin)), Trial(wall(begin))
    for (kind, what), minutes in steps:
        for one in (trial, twin):
            if what == "ack":
                one.act(Act.ACK, f"{kind}:tent")
            else:
                one.on(kind, what)
            one.run(minutes * MIN)
        twin.calls = from_plain(CallState, to_plain(twin.calls))
    for one in (trial, twin):
        one.run(12 * HOUR)
    assert trial.made == twin.made
    for at, call in trial.made:
        if call.kind is CallKind.ALARM and call.night:
            person = next(one for one in TWO if one.id == call.person)
            now = trial.begin + at
            ends = leaves_ms(now, ZONE, person.quiet_from_min or 0, person.quiet_to_min or 0)
            assert ends is not None
            assert any(grave(one, ends) for one in call.notices), call
    for person in TWO:
        sent = [at for at, one in trial.made if one.person == person.id and one.kind is CallKind.ALARM]
        for at in sent:
            assert len([one for one in sent if at - HOUR < one <= at]) <= trial.with_.most_per_h
    for record in trial.book.records.values():
        if record.state in "BE" and record.priority < 3 and not record.holds:
            assert any(record.alarm in {one.alarm for one in call.notices} for _, call in trial.made)


def test_words_for_a_transition_that_asks_nothing_of_anybody_call_nobody() -> None:
    trial = day()
    notice = AlarmNotice("hose:tent", "hose", 1, Transition.REFUSED, 1, "A", False, "tent")
    trial._follow([replace(notice)])
    assert trial.made == []


def test_whoever_cannot_come_passes_it_on_and_is_asked_last() -> None:
    trial = night()
    trial.on(URGENT)
    trial.run(MIN)
    trial._follow(trial.book.act(trial.now, OperatorAction(Act.PASS_ON, f"{URGENT}:tent", "ana")))
    assert trial.told() == [(0, "ana"), (1, "bo")]
    trial.run(20 * MIN)
    assert trial.told()[2:] == [(15, "ana")], "the second of who is left"
    late_ = trial.book.act(trial.now, OperatorAction(Act.PASS_ON, f"{URGENT}:tent", "bo", occurrence=9))
    assert [one.transition for one in late_] == [Transition.REFUSED]


@pytest.mark.parametrize(("facts", "wakes"), [({}, True), ({"can_wait": True}, False)])
def test_an_air_sensor_lost_with_nothing_in_its_place_wakes_a_door_switch_does_not(
    facts: dict[str, Any], wakes: bool
) -> None:
    """Without the sensor no symptom can be seen: 240 min allowed from 23:00 end before 06:00."""
    trial = night("23:00")
    trial.on("sensor-silent", **facts)
    trial.run(MIN)
    assert trial.told() == ([(0.5, "ana")] if wakes else [])


def test_at_its_limit_calls_once_a_day() -> None:
    trial = day()
    trial.book.repeat_ms = {3: 4 * HOUR}
    trial.on("at-capacity")
    trial.run(49 * HOUR)
    assert [round(at / 60) for at, _ in trial.told()] == [0, 24, 48]
