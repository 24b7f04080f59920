"""The slug score by hand on its limits, the plain form against the outside table, and what counts say of it.

Limits: the slug page of a state university (Oregon); combination ours. season_monthly.csv holds the plain
form for whole years: Greensboro October 161 h, July 34 h; Amsterdam September 189 h, June 75 h.
"""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from ahead.weather_years import AMSTERDAM, GREENSBORO, year
from gillhouse.ahead.season import months
from gillhouse.ahead.slug_notes import found_in, is_off
from gillhouse.ahead.slugs import PARTS, Counted, DarkHour, night, nights, points, worth
from gillhouse.ahead.weather import WeatherHour


@pytest.mark.parametrize(("name", "month", "hours"), [
    (GREENSBORO, 10, 161), (GREENSBORO, 7, 34), (AMSTERDAM, 9, 189), (AMSTERDAM, 6, 75),
])  # fmt: skip
def test_slug_hours_of_whole_months(name: str, month: int, hours: int) -> None:
    assert months(year(name), 1.0)[month].slug_h == hours


@pytest.mark.parametrize(
    ("hour", "wanted"),
    [
        (DarkHour(16.0, 95.0, 1.0), 1.0),
        (DarkHour(4.0, 90.0, 4.5), 1.0),
        (DarkHour(21.0, 90.0, None), 1.0),
        (DarkHour(16.0, 89.9, 1.0), 0.0),
        (DarkHour(16.0, 50.0, 1.0, misted=True), 1.0),
        (DarkHour(16.0, 50.0, 1.0, wet=True), 1.0),
        (DarkHour(16.0, 95.0, 4.6), 0.0),
        (DarkHour(3.9, 95.0, 1.0), 0.5),
        (DarkHour(1.0, 95.0, 1.0), 0.5),
        (DarkHour(0.9, 95.0, 1.0), 0.0),
        (DarkHour(21.1, 95.0, 1.0), 0.0),
        (DarkHour(16.0, 95.0, 1.0, after_frost=True), 0.5),
    ],
)
def test_an_hour_at_its_limits(hour: DarkHour, wanted: float) -> None:
    assert points(hour) == wanted


def test_own_mist_makes_slug_weather_and_is_told_apart() -> None:
    dry = [DarkHour(14.0, 80.0, 1.0)] * 8
    misted = [DarkHour(14.0, 80.0, 1.0, misted=True)] * 5 + dry[5:]
    assert not night(dry).is_called
    assert night(misted).is_called and night(misted).own_mist_h == 5


def test_nights_go_from_noon_to_noon_and_frost_damps_four_days() -> None:
    """Five nights of 10 dark hours at 15 C and 95 %; an hour of frost on the first evening halves the
    next four.
    """
    hours = []
    for at in range(6 * 24):
        day, hour = 1 + at // 24, at % 24
        dark = hour >= 20 or hour < 6
        temp = -1.0 if at == 20 else 15.0
        hours.append(WeatherHour(5, day, hour, temp, 95.0, 1.0, 0.0 if dark else 100.0))
    found = [one.points for _, one in nights(hours, 50.0)]
    assert found[0] == 6.0  # the end of a night
    assert found[1] == 4.5  # the frozen hour is nothing, nine others count half
    assert found[2:4] == [5.0, 5.0]
    assert found[4] == 5.0  # the frost was at 20:00 on the first: four days end at 20:00 on the fifth
    assert found[5] == 9.5  # 20:00 is the last hour of the four days, nine full ones follow


@given(
    st.lists(
        st.builds(DarkHour, st.floats(-20, 40), st.floats(0, 100), st.none() | st.floats(0, 20)), max_size=16
    )
)
def test_a_night_never_scores_more_than_its_hours(hours: list[DarkHour]) -> None:
    found = night(hours)
    assert 0.0 <= found.points <= found.dark_h
    assert found.own_mist_h == 0


def test_counts_decide_whether_the_score_is_worth_anything() -> None:
    """By hand: all called nights had more than all quiet ones, then the reverse, then too few of a kind."""
    good = [Counted(6.0, 20 + at) for at in range(4)] + [Counted(1.0, at) for at in range(4)]
    assert worth(good).right == 1.0 and "worth listening" in worth(good).text
    bad = [Counted(6.0, at) for at in range(4)] + [Counted(1.0, 20 + at) for at in range(4)]
    assert worth(bad).right == 0.0 and "worth nothing" in worth(bad).text
    same = [Counted(6.0, 5)] * 4 + [Counted(1.0, 5)] * 4
    assert worth(same).right == 0.5
    few = [Counted(6.0, 5)] * 9
    assert worth(few).right is None and "not known yet" in worth(few).text


def test_sourced_and_assumed_are_told_apart() -> None:
    ours = ("assumption", "invented", "common practice")
    assert [part.assumed for part in PARTS] == [any(word in part.source for word in ours) for part in PARTS]
    assert {part.assumed for part in PARTS} == {True, False}


def test_a_count_is_read_back_from_its_note() -> None:
    assert found_in("slugs: 14 found") == 14
    assert found_in("Slugs: 0") == 0
    assert found_in("slugs: 3 found; under the boards") == 3
    assert found_in("hosed") is None
    assert found_in("slugs: -3 found") is None and is_off("slugs: -3 found")
    assert not is_off("slugs everywhere")
