"""The local clock's answers, worked by hand through both clock-change nights.

Source of the changes: IANA time zone database. Europe/Rome 2026: 29 March 02:00 -> 03:00, 25 October
03:00 -> 02:00. Australia/Lord_Howe 2026: 5 April 02:00 (+11:00) -> 01:30 (+10:30), 4 October 02:00 -> 02:30.
"""

from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given
from hypothesis import strategies as st

from gillhouse.core import schedule
from gillhouse.core.settings import LightSettings, ProgrammeSettings, Role, When

ROME = ZoneInfo("Europe/Rome")
HOWE = ZoneInfo("Australia/Lord_Howe")
HAVANA = ZoneInfo("America/Havana")
APIA = ZoneInfo("Pacific/Apia")
HOUR = 3_600_000


def utc(text: str) -> int:
    return schedule.to_wall_ms(datetime.fromisoformat(text + "+00:00"))


def programme(**over: object) -> ProgrammeSettings:
    plain: dict[str, object] = {
        "id": "mist-by-the-clock",
        "space": "tent",
        "role": Role.MIST,
        "run_ms": 8_000,
        "night_run_ms": 3_000,
        "when": When.ALWAYS,
        "every_min": 15,
    }
    return ProgrammeSettings(**(plain | over))  # type: ignore[arg-type]


def test_whole_milliseconds_survive_the_way_to_local_time_and_back() -> None:
    wall = utc("2026-10-14T04:00:00") + 1
    assert schedule.local(wall, ROME).isoformat() == "2026-10-14T06:00:00.001000+02:00"
    assert schedule.to_wall_ms(schedule.local(wall, ROME)) == wall


@pytest.mark.parametrize(
    ("zone", "moment", "start", "length_ms"),
    [
        (ROME, "2026-10-14T04:00:00", "2026-10-13T22:00:00", 24 * HOUR),
        (ROME, "2026-03-29T12:00:00", "2026-03-28T23:00:00", 23 * HOUR),
        (ROME, "2026-10-25T12:00:00", "2026-10-24T22:00:00", 25 * HOUR),
        (HOWE, "2026-10-03T20:00:00", "2026-10-03T13:30:00", 23 * HOUR + HOUR // 2),
        (HOWE, "2026-04-04T20:00:00", "2026-04-04T13:00:00", 24 * HOUR + HOUR // 2),
        # Midnight comes twice: Havana 1 November 2026, 01:00 -> 00:00. The first one begins the day.
        (HAVANA, "2026-11-01T12:00:00", "2026-11-01T04:00:00", 25 * HOUR),
        # No midnight: Havana 8 March 2026, 00:00 -> 01:00.
        (HAVANA, "2026-03-08T12:00:00", "2026-03-08T05:00:00", 23 * HOUR),
        # No day at all: Samoa left out 30 December 2011.
        (APIA, "2011-12-30T09:00:00", "2011-12-29T10:00:00", 24 * HOUR),
    ],
)
def test_a_local_day_begins_and_lasts_as_the_clocks_go(
    zone: ZoneInfo, moment: str, start: str, length_ms: int
) -> None:
    began = schedule.day_start_ms(utc(moment), zone)
    assert began == utc(start)
    assert schedule.next_day_start_ms(utc(moment), zone) - began == length_ms


@given(st.integers(0, 4_102_444_800_000), st.sampled_from([ROME, HOWE, HAVANA]))
def test_every_moment_lies_in_its_own_day(wall_ms: int, zone: ZoneInfo) -> None:
    start, end = schedule.day_start_ms(wall_ms, zone), schedule.next_day_start_ms(wall_ms, zone)
    assert start <= wall_ms < end
    assert schedule.day_key(start, zone) == schedule.day_key(wall_ms, zone) != schedule.day_key(end, zone)


@pytest.mark.parametrize(
    ("clock", "inside"),
    [("05:59:59.999", False), ("06:00:00", True), ("21:59:59.999", True), ("22:00:00", False)],
)
def test_a_windows_first_moment_is_in_and_its_last_is_out(clock: str, inside: bool) -> None:
    wall = schedule.to_wall_ms(datetime.fromisoformat(f"2026-10-14T{clock}+02:00"))
    assert schedule.within(wall, ROME, 360, 1_320) is inside
    assert schedule.within(wall, ROME, 1_320, 360) is not inside
    assert schedule.is_night(wall, ROME, 360, 1_320) is not inside
    assert schedule.within(wall, ROME, 360, 360)


def test_a_programmes_run_is_the_days_or_the_nights() -> None:
    assert schedule.wanted(programme(), utc("2026-10-14T10:00:00"), ROME) == 8_000
    assert schedule.wanted(programme(), utc("2026-10-14T22:00:00"), ROME) == 3_000
    assert schedule.wanted(programme(night_run_ms=0), utc("2026-10-14T22:00:00"), ROME) == 0


@pytest.mark.parametrize("hour_utc", [0, 1])
def test_both_readings_of_the_repeated_hour_are_the_same_window(hour_utc: int) -> None:
    """02:30 in Rome comes twice on 25 October 2026, at 00:30 and 01:30 UTC."""
    wall = utc(f"2026-10-25T0{hour_utc}:30:00")
    assert schedule.local(wall, ROME).strftime("%H:%M") == "02:30"
    assert schedule.within(wall, ROME, 150, 180)


@pytest.mark.parametrize(
    ("hours", "moment", "on"),
    [
        (12, "04:00", True),
        (12, "03:59", False),
        (12, "15:59", True),
        (12, "16:00", False),
        (0, "10:00", False),
        (24, "00:00", True),
        (20, "23:00", True),
        (20, "00:30", False),
        (0.5, "04:29", True),
        (0.5, "04:30", False),
    ],
)
def test_light_hours(hours: float, moment: str, on: bool) -> None:
    """From 06:00 in Rome, which is 04:00 UTC in October's summer time."""
    light = LightSettings(360, hours)
    assert schedule.light_wanted(light, utc(f"2026-10-14T{moment}:00"), ROME) is on


def test_the_light_goes_off_by_the_clock_in_the_autumn_night() -> None:
    """On from 20:00 for 8 h: off when the clock first shows 04:00, nine real hours later."""
    light = LightSettings(20 * 60, 8)
    change = schedule.next_light_change_ms(light, utc("2026-10-24T18:00:00"), ROME)
    assert change == utc("2026-10-25T03:00:00")


def test_light_that_would_begin_in_the_skipped_hour_begins_at_the_jump() -> None:
    """02:30 does not come on 29 March 2026 in Rome: at 01:00 UTC the clock goes from 02:00 to 03:00."""
    light = LightSettings(150, 6)
    change = schedule.next_light_change_ms(light, utc("2026-03-29T00:00:00"), ROME)
    assert change == utc("2026-03-29T01:00:00")


@pytest.mark.parametrize("hours", [0, 24])
def test_light_that_never_changes_has_no_next_change(hours: float) -> None:
    assert schedule.next_light_change_ms(LightSettings(360, hours), 0, ROME) is None


CHANGES = [
    utc("2026-03-29T01:00:00"),
    utc("2026-10-25T01:00:00"),
    utc("2026-04-04T15:00:00"),
    utc("2026-10-03T15:30:00"),
    utc("2026-11-01T05:00:00"),
    utc("2026-03-08T05:00:00"),
]


@given(
    st.sampled_from(CHANGES),
    st.integers(-36 * 60, 12 * 60),
    st.integers(0, 1_439),
    st.integers(1, 95),
    st.sampled_from([ROME, HOWE, HAVANA]),
)
def test_the_next_light_change_is_the_first_one(
    change: int, offset_min: int, from_min: int, quarters: int, zone: ZoneInfo
) -> None:
    """Against a plain walk, minute by minute (all edges and clock changes fall on whole minutes)."""
    light = LightSettings(from_min, quarters / 4)
    wall = change + offset_min * 60_000
    now = schedule.light_wanted(light, wall, zone)
    walked = next(
        at
        for at in range(wall + 60_000, wall + 50 * HOUR, 60_000)
        if schedule.light_wanted(light, at, zone) != now
    )
    assert schedule.next_light_change_ms(light, wall, zone) == walked


def test_a_clock_reading_as_a_moment() -> None:
    day = datetime(2026, 3, 29, tzinfo=UTC).date()
    assert schedule.at_minute_ms(day, 7 * 60, ROME) == utc("2026-03-29T05:00:00")
    assert schedule.at_minute_ms(day, 150, ROME) == utc("2026-03-29T01:30:00")
    autumn = day + timedelta(days=210)
    assert schedule.at_minute_ms(autumn, 150, ROME) == utc("2026-10-25T00:30:00")


@pytest.mark.parametrize(
    ("weekday", "names"),
    [
        ("*", "*"),
        ("0", "sun"),
        ("7", "sun"),
        ("1-5", "mon,tue,wed,thu,fri"),
        ("Sat,sun", "sat,sun"),
        ("5-7", "fri,sat,sun"),
        ("fri-sun", "fri,sat,sun"),
        ("*/2", "sun,tue,thu,sat"),
        ("1-5/2", "mon,wed,fri"),
    ],
)
def test_weekdays_are_counted_as_crontab_does(weekday: str, names: str) -> None:
    """Source: crontab(5) of Debian's cron: '0-7 (0 or 7 is Sun, or use names)'."""
    assert schedule.cron_fields(f"30 6 * * {weekday}") == {
        "minute": "30",
        "hour": "6",
        "day": "*",
        "month": "*",
        "day_of_week": names,
    }


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("30 6 * *", "has 4 fields"),
        ("30 6 * * 8", "'8' is no weekday"),
        ("30 6 * * lun", "'lun' is no weekday"),
        ("30 6 * * 5-2", "run backwards"),
        ("30 6 * * 1-5/0", "no whole number"),
        ("30 6 * * */0", "no whole number"),
    ],
)
def test_a_wrong_crontab_line_says_what_is_wrong(text: str, said: str) -> None:
    with pytest.raises(ValueError, match=said):
        schedule.cron_fields(text)
