"""Due times over a year, through both clock-change nights and clock steps, against a plain walk.

Source of the changes: IANA time zone database. Europe/Rome 2026: 29 March 02:00 -> 03:00, 25 October
03:00 -> 02:00. Australia/Lord_Howe 2026: 5 April 02:00 (+11:00) -> 01:30 (+10:30), 4 October 02:00 -> 02:30.
The walk (`walked_*`) knows the rules only as the manual states them and looks at every minute of real time.
"""

from collections import Counter
from collections.abc import Callable
from datetime import UTC, date, datetime, timedelta
from itertools import pairwise
from typing import Any
from zoneinfo import ZoneInfo

import freezegun
import pytest
from apscheduler.triggers.cron import CronTrigger
from hypothesis import given, settings
from hypothesis import strategies as st

from gillhouse.clock import SystemClock
from gillhouse.config.cron import cron_trouble
from gillhouse.core.inputs import Due
from gillhouse.core.instant import Instant
from gillhouse.core.settings import ProgrammeSettings, Role, When
from gillhouse.timers import REPEAT_MS, Next, Timers, at_dusk, by_crontab, every_minutes

ROME = ZoneInfo("Europe/Rome")
HOWE = ZoneInfo("Australia/Lord_Howe")
MINUTE = 60_000
HOUR = 60 * MINUTE
DAY = 24 * HOUR


def ms(moment: datetime) -> int:
    return int(moment.timestamp() * 1_000)


def utc(text: str) -> int:
    return ms(datetime.fromisoformat(text + "+00:00"))


def face(wall_ms: int, zone: ZoneInfo) -> datetime:
    return datetime.fromtimestamp(wall_ms // 1_000, zone)


def programme(what: str = "mist", **over: Any) -> ProgrammeSettings:
    plain: dict[str, Any] = {
        "id": what,
        "space": "tent",
        "role": Role.MIST,
        "run_ms": 8_000,
        "night_run_ms": 3_000,
        "when": When.ALWAYS,
        "every_min": 60,
    }
    return ProgrammeSettings(**(plain | over))


def run(timers: Timers, now: Instant, until_wall_ms: int) -> tuple[list[Due], Instant]:
    """Sleeps from due time to due time, as the control thread does. Returns all dues and the last moment."""
    found: list[Due] = []
    while True:
        wake = timers.next_ms(now)
        assert wake is not None
        ahead = now.later(wake - now.mono_ms)
        if ahead.wall_ms > until_wall_ms:
            return found, now.later(until_wall_ms - now.wall_ms)
        now = ahead
        found += timers.pop_due(now)


def walk(following: Next, from_ms: int, to_ms: int) -> list[int]:
    """Every due time in the span, each asked for a millisecond after the one before."""
    found: list[int] = []
    at = from_ms
    while (due := following(at)) is not None and due < to_ms:
        assert due >= at
        found.append(due)
        at = due + 1
    return found


def walked_every(every_min: int, zone: ZoneInfo, from_ms: int, to_ms: int) -> list[int]:
    """Real minutes since the local date last changed, a multiple of `every_min`."""
    found, begun = [], from_ms - 2 * DAY
    day = face(begun, zone).date()
    for at in range(from_ms - 2 * DAY, to_ms, MINUTE):
        today = face(at, zone).date()
        if today != day:
            day, begun = today, at
        if at >= from_ms and (at - begun) % (every_min * MINUTE) == 0:
            found.append(at)
    return found


# Hourly over 2026, worked by hand. Rome: 363 days of 24, one of 23, one of 25: 8,760. Lord Howe: the day of
# 23.5 h still has 24 whole hours after midnight (0..23), the one of 24.5 h has 25 (0..24): 8,761.
@pytest.mark.parametrize(
    ("zone", "begin", "runs", "short", "long"),
    [
        (ROME, "2025-12-31T23:00:00", 8_760, ("2026-03-29", 23), ("2026-10-25", 25)),
        (HOWE, "2025-12-31T13:00:00", 8_761, ("2026-10-04", 24), ("2026-04-05", 25)),
    ],
)
def test_a_year_of_hourly_due_times(
    zone: ZoneInfo, begin: str, runs: int, short: tuple[str, int], long: tuple[str, int]
) -> None:
    start = Instant(utc(begin), 5_000)
    timers = Timers([programme()], zone, {})
    timers.rebuild(start)
    dues, _ = run(timers, start, start.wall_ms + 365 * DAY - 1)
    times = [due.due_ms for due in dues]
    assert times == sorted(set(times)), "each due time once, in order"
    assert len(times) == runs
    by_day = Counter(face(at, zone).date().isoformat() for at in times)
    assert len(by_day) == 365
    odd = {day: n for day, n in by_day.items() if n != 24}
    assert odd == {day: n for day, n in (short, long) if n != 24}
    gaps = Counter(later - earlier for earlier, later in pairwise(times))
    assert set(gaps) <= {HOUR, HOUR // 2}, "never longer than an hour"
    # Only Lord Howe's two half-hour midnights are closer: 23:30 -> 00:00 after each change.
    assert gaps[HOUR // 2] == (2 if zone is HOWE else 0)


@pytest.mark.parametrize("zone", [ROME, HOWE])
def test_hourly_by_crontab_is_every_full_hour_the_clock_shows(zone: ZoneInfo) -> None:
    """Every minute of the year at which the local clock shows xx:00, both times where it does so twice."""
    start = Instant(utc("2026-01-01T00:00:00"), 0)
    timers = Timers([programme(every_min=None, cron="0 * * * *")], zone, {})
    timers.rebuild(start)
    end = start.wall_ms + 365 * DAY
    dues, _ = run(timers, start, end - 1)
    shown = [at for at in range(start.wall_ms, end, MINUTE) if face(at, zone).minute == 0]
    assert [due.due_ms for due in dues] == shown


@pytest.mark.parametrize(
    ("zone", "cron", "day", "shown"),
    [
        # Rome's spring: 02:30 is not shown. It comes once, an hour later; a pattern leaves it out.
        (ROME, "30 2 * * *", "2026-03-29", ["03:30+0200"]),
        (ROME, "0,30 2,3 * * *", "2026-03-29", ["03:00+0200", "03:30+0200"]),
        (ROME, "30 1-3 * * *", "2026-03-29", ["01:30+0100", "03:30+0200"]),
        # The day after: a trigger asked in local time leaves this one out.
        (ROME, "30 0 * * *", "2026-03-30", ["00:30+0200"]),
        # Rome's autumn: 02:30 is shown twice. Plain hours: the first time only. A pattern: both.
        (ROME, "30 2 * * *", "2026-10-25", ["02:30+0200"]),
        (ROME, "30 2,3 * * *", "2026-10-25", ["02:30+0200", "03:30+0100"]),
        (ROME, "30 1-3 * * *", "2026-10-25", ["01:30+0200", "02:30+0200", "02:30+0100", "03:30+0100"]),
        # Lord Howe's spring: 02:00 to 02:30 are not shown.
        (HOWE, "15 2 * * *", "2026-10-04", ["02:45+1100"]),
        (HOWE, "15 1-3 * * *", "2026-10-04", ["01:15+1030", "03:15+1100"]),
        (HOWE, "45 1 * * *", "2026-04-05", ["01:45+1100"]),
        (HOWE, "45 1 * * *", "2026-04-06", ["01:45+1030"]),
    ],
)
def test_named_times_in_the_change_nights(zone: ZoneInfo, cron: str, day: str, shown: list[str]) -> None:
    midnight = ms(datetime.fromisoformat(day).replace(tzinfo=zone))
    dues = walk(by_crontab(cron, zone), midnight - DAY, midnight + 2 * DAY)
    shows = [face(at, zone) for at in dues]
    assert [at.strftime("%H:%M%z") for at in shows if at.date().isoformat() == day] == shown


@pytest.mark.parametrize(
    ("weekday", "names"),
    [("*/2", "sun,tue,thu,sat"), ("*/3", "sun,wed,sat"), ("mon-fri/2", "mon,wed,fri"), ("sat", "sat")],
)
def test_a_year_of_weekdays_is_counted_from_sunday(weekday: str, names: str) -> None:
    """crontab(5): weekday 0 is Sunday, and `*/2` is every second value of 0-6. The scheduler library counts
    from Monday; given the days' names it must say the same, and so must the calendar. What the config
    passes is read the same way: `cron_trouble` and the timers share one reading."""
    begin, end = utc("2026-01-01T00:00:00"), utc("2027-01-01T00:00:00")
    found = walk(by_crontab(f"30 6 * * {weekday}", ZoneInfo("UTC")), begin, end)
    trigger = CronTrigger(minute=30, hour=6, day_of_week=names, timezone=UTC)
    expected, at = [], trigger.get_next_fire_time(None, datetime(2026, 1, 1, tzinfo=UTC))
    while at is not None and ms(at) < end:
        expected.append(ms(at))
        at = trigger.get_next_fire_time(at, at + timedelta(seconds=1))
    assert found == expected
    assert {f"{face(one, ZoneInfo('UTC')):%a}".lower() for one in found} == set(names.split(","))
    assert cron_trouble(f"30 6 * * {weekday}") is None


STEPS: dict[str, Callable[[int], int]] = {
    "1970": lambda wall: -wall + 90_000,  # the board lost power: its clock begins again at 1970
    "+1 year": lambda wall: 365 * DAY,
    "-1 day": lambda wall: -DAY,
}


@pytest.mark.parametrize("zone", [ROME, HOWE])
@pytest.mark.parametrize("step", STEPS)
@pytest.mark.parametrize(
    "around",
    [
        "2026-03-28T23:20:00",
        "2026-10-24T23:20:00",
        "2026-04-04T14:10:00",
        "2026-10-03T14:10:00",
        "2026-07-01T12:34:56",
    ],
)
def test_after_a_clock_step_due_times_go_on_from_the_new_time(zone: ZoneInfo, step: str, around: str) -> None:
    """What lay between is dropped: a year ahead brings no flood, a day back no standstill."""
    timers = Timers([programme()], zone, {"report": 420})
    now = Instant(utc(around), 1_000)
    timers.rebuild(now)
    before, now = run(timers, now, now.wall_ms + 7 * HOUR)
    assert 7 <= len([due for due in before if due.what == "mist"]) <= 9
    now = Instant(now.wall_ms + STEPS[step](now.wall_ms), now.mono_ms)
    timers.rebuild(now)
    after, _ = run(timers, now, now.wall_ms + 2 * DAY)
    hourly = [due.due_ms for due in after if due.what == "mist"]
    whole_minute = -(-now.wall_ms // MINUTE) * MINUTE
    assert hourly == walked_every(60, zone, whole_minute, now.wall_ms + 2 * DAY + 1)
    reports = [face(due.due_ms, zone).strftime("%H:%M") for due in after if due.what == "report"]
    assert reports == ["07:00"] * 2


def test_a_small_step_back_does_not_bring_a_due_time_again() -> None:
    timers = Timers([programme()], ROME, {})
    due = utc("2026-10-14T05:00:00")
    timers.rebuild(Instant(due - 1_000, 0))
    assert timers.pop_due(Instant(due, 1_000)) == [Due("mist", due)]
    timers.rebuild(Instant(due - REPEAT_MS + 1, 2_000))
    assert timers.next_ms(Instant(due - REPEAT_MS + 1, 2_000)) == 2_000 + REPEAT_MS - 1 + HOUR


def test_a_larger_step_back_does() -> None:
    timers = Timers([programme()], ROME, {})
    due = utc("2026-10-14T05:00:00")
    timers.rebuild(Instant(due - 1_000, 0))
    timers.pop_due(Instant(due, 1_000))
    timers.rebuild(Instant(due - REPEAT_MS, 2_000))
    assert timers.pop_due(Instant(due, 2_000 + REPEAT_MS)) == [Due("mist", due)]


def test_a_late_reader_gets_one_due_time_of_each() -> None:
    timers = Timers([programme("mist", every_min=5), programme("fan", every_min=15)], ROME, {})
    now = Instant(utc("2026-10-14T05:00:00"), 0)
    timers.rebuild(now)
    assert timers.pop_due(now.later(3 * HOUR)) == [Due("mist", now.wall_ms), Due("fan", now.wall_ms)]
    assert timers.pop_due(now.later(3 * HOUR)) == []
    assert timers.next_ms(now.later(3 * HOUR)) == 3 * HOUR + 5 * MINUTE


def test_equal_times_come_in_the_order_of_the_config() -> None:
    names = ["b", "a", "c"]
    timers = Timers([programme(name) for name in names], ROME, {"report": 0})
    midnight = Instant(utc("2026-10-13T22:00:00"), 0)
    timers.rebuild(midnight)
    assert [due.what for due in timers.pop_due(midnight)] == [*names, "report"]


def test_no_programmes_means_nothing_to_wait_for() -> None:
    timers = Timers([], ROME, {})
    timers.rebuild(Instant(0, 0))
    assert timers.next_ms(Instant(0, 0)) is None
    assert timers.pop_due(Instant(DAY, DAY)) == []


def test_a_date_that_never_comes_is_never_due() -> None:
    timers = Timers([programme(every_min=None, cron="0 0 30 2 *")], ROME, {})
    timers.rebuild(Instant(utc("2026-10-14T05:00:00"), 0))
    assert timers.next_ms(Instant(0, 0)) is None


@pytest.mark.parametrize(
    ("over", "said"),
    [
        ({"every_min": None}, "every_min is None"),
        ({"every_min": 0}, "every_min is 0"),
        ({"every_min": None, "cron": "0 6 * *"}, "has 4 fields"),
        ({"every_min": None, "cron": "61 6 * * *"}, "61"),
    ],
)
def test_a_programme_that_cannot_be_read_says_why(over: dict[str, Any], said: str) -> None:
    with pytest.raises(ValueError, match=said):
        Timers([programme(**over)], ROME, {})


CHANGES = [
    utc("2026-03-29T01:00:00"),
    utc("2026-10-25T01:00:00"),
    utc("2026-04-04T15:00:00"),
    utc("2026-10-03T15:30:00"),
]


@settings(max_examples=60)
@given(
    st.sampled_from(CHANGES),
    st.integers(-30 * 60, 60),
    st.sampled_from([ROME, HOWE]),
    st.one_of(st.sampled_from([5, 15, 30, 60]), st.integers(1, 1_440)),
)
def test_every_so_many_minutes_across_the_changes(
    change: int, offset_min: int, zone: ZoneInfo, every_min: int
) -> None:
    begin = change + offset_min * MINUTE
    found = walk(every_minutes(every_min, zone), begin, begin + 30 * HOUR)
    assert found == walked_every(every_min, zone, begin, begin + 30 * HOUR)


@settings(max_examples=60)
@given(
    st.sampled_from(CHANGES),
    st.integers(-30 * 60, 60),
    st.sampled_from([ROME, HOWE]),
    st.sets(st.integers(0, 59), min_size=1, max_size=4),
    st.sets(st.integers(0, 23), min_size=1, max_size=6),
)
def test_named_times_across_the_changes(
    change: int, offset_min: int, zone: ZoneInfo, minutes: set[int], hours: set[int]
) -> None:
    """Every named time comes once: at its first showing, or late by spring's jump where it is skipped."""
    begin = change + offset_min * MINUTE
    end = begin + 30 * HOUR
    text = f"{','.join(map(str, sorted(minutes)))} {','.join(map(str, sorted(hours)))} * * *"
    found = walk(by_crontab(text, zone), begin, end)
    jump = timedelta(hours=1) if zone is ROME else timedelta(minutes=30)
    expected = set()
    for at in range(begin, end, MINUTE):
        now = face(at, zone).replace(tzinfo=None)
        unmoved = now - jump
        back = unmoved.replace(tzinfo=zone).astimezone(UTC).astimezone(zone)
        skipped = back.replace(tzinfo=None) != unmoved
        matches = [one.minute in minutes and one.hour in hours for one in (now, unmoved)]
        if (matches[0] and not face(at, zone).fold) or (matches[1] and skipped):
            expected.add(at)
    assert found == sorted(expected)


@settings(max_examples=60)
@given(
    st.sampled_from(CHANGES),
    st.integers(-30 * 60, 60),
    st.sampled_from([ROME, HOWE]),
    st.integers(1, 59),
    st.integers(0, 22),
    st.integers(1, 23),
)
def test_patterns_across_the_changes(
    change: int, offset_min: int, zone: ZoneInfo, step: int, first: int, more: int
) -> None:
    """A pattern comes whenever the clock shows it, and at no other time."""
    begin, last = change + offset_min * MINUTE, min(23, first + more)
    end = begin + 30 * HOUR
    shown = [
        at
        for at in range(begin, end, MINUTE)
        if face(at, zone).minute % step == 0 and first <= face(at, zone).hour <= last
    ]
    assert walk(by_crontab(f"*/{step} {first}-{last} * * *", zone), begin, end) == shown


@settings(max_examples=60)
@given(
    st.lists(st.tuples(st.integers(1, 6 * HOUR), st.integers(-3 * DAY, 3 * DAY)), max_size=8),
    st.sampled_from(CHANGES),
    st.sampled_from([ROME, HOWE]),
)
def test_no_row_of_steps_brings_a_flood_or_a_standstill(
    moves: list[tuple[int, int]], begin: int, zone: ZoneInfo
) -> None:
    """Whatever the clock does, the next run is never more than an hour and the repeat guard away."""
    timers = Timers([programme()], zone, {})
    now = Instant(begin, 0)
    timers.rebuild(now)
    for wait_ms, step_ms in moves:
        dues, now = run(timers, now, now.wall_ms + wait_ms)
        assert len(dues) <= wait_ms // (HOUR // 2) + 1
        now = Instant(now.wall_ms + step_ms, now.mono_ms)
        timers.rebuild(now)
        wake = timers.next_ms(now)
        assert wake is not None and now.mono_ms <= wake <= now.mono_ms + HOUR + REPEAT_MS


def test_the_triggers_never_read_the_machines_clock() -> None:
    """At the edge only: with the machine's clock frozen in 1999 the due times of 2026 are the same."""
    with freezegun.freeze_time("1999-12-31 23:59:59"):
        start = SystemClock().now().wall_ms
        timers = Timers([programme()], ROME, {"report": 420})
        timers.rebuild(Instant(utc("2026-10-14T04:30:00"), 0))
        found = timers.pop_due(Instant(utc("2026-10-14T05:00:00"), 0))
    assert start == utc("1999-12-31T23:59:59")
    assert found == [Due("mist", utc("2026-10-14T05:00:00")), Due("report", utc("2026-10-14T05:00:00"))]


def test_dusk_comes_once_a_day_all_year_and_summer_time_moves_it() -> None:
    """By the sun the evenings of 28 and 29 March differ by a minute or two; by Rome's clock an hour more."""
    begin, end = utc("2025-12-31T23:00:00"), utc("2026-12-31T23:00:00")
    dues = [face(at, ROME) for at in walk(at_dusk(45.0, ROME), begin, end)]
    assert [one.date() for one in dues] == [date(2026, 1, 1) + timedelta(days) for days in range(365)]
    shown = {one.date().isoformat(): one.hour * 60 + one.minute for one in dues}
    assert 60 <= shown["2026-03-29"] - shown["2026-03-28"] <= 63
    assert shown["2026-12-21"] < shown["2026-03-20"] < shown["2026-06-21"]


def test_dusk_passes_over_the_polar_day_and_night() -> None:
    """At 75 degrees the midnight sun stands from early May to mid August, the polar night from early
    November to early February (Svalbard's almanac is alike; from memory).
    """
    begin = utc("2026-01-01T00:00:00")
    days = {face(at, ROME).month for at in walk(at_dusk(75.0, ROME), begin, begin + 365 * DAY)}
    assert {6, 7, 12, 1} & days == set()
    assert {3, 4, 9, 10} <= days


def test_dusk_is_due_beside_the_programmes() -> None:
    timers = Timers([], ROME, {}, {"dusk": at_dusk(45.0, ROME)})
    start = Instant(utc("2026-05-21T00:00:00"), 0)
    timers.rebuild(start)
    dues, _ = run(timers, start, start.wall_ms + DAY)
    assert [due.what for due in dues] == ["dusk"]
