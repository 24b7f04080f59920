"""One unbroken row of hours: what fills holes and days to come, each worked by hand."""

from statistics import fmean

import pytest
from hypothesis import given
from hypothesis import strategies as st

from gillhouse.ahead.rates import Edge
from gillhouse.ahead.warmth import DOUBT_C, HOUR_MS, SHORT_H, Hour, Origin, counted, hourly

DAY = 24 * HOUR_MS


def day_and_night(days: int) -> dict[int, float]:
    """12 C through the first twelve hours of each day, 18 C through the others."""
    return {hour * HOUR_MS: 12.0 if hour % 24 < 12 else 18.0 for hour in range(days * 24)}


def test_logged_hours_stay_as_they_are() -> None:
    logged = day_and_night(3)
    found = hourly(logged, {}, 0, 3 * DAY)
    assert [(one.begin_ms, one.temp_c, one.origin) for one in found] == [
        (at, temp, Origin.LOGGED) for at, temp in logged.items()
    ]


def test_a_short_hole_is_bridged_straight() -> None:
    logged = {0: 10.0, 4 * HOUR_MS: 14.0}
    found = hourly(logged, {}, 0, 5 * HOUR_MS)
    assert [one.temp_c for one in found] == pytest.approx([10, 11, 12, 13, 14])
    assert [one.origin for one in found[1:4]] == [Origin.BRIDGED] * 3


def test_the_longest_short_hole_and_the_shortest_long_one() -> None:
    for missing, origin in ((SHORT_H, Origin.BRIDGED), (SHORT_H + 1, Origin.FILLED)):
        logged = {0: 10.0, (missing + 1) * HOUR_MS: 14.0}
        found = hourly(logged, {}, 0, (missing + 2) * HOUR_MS)
        assert {one.origin for one in found[1:-1]} == {origin}


def test_a_long_hole_takes_the_same_hours_of_the_days_around_it() -> None:
    logged = day_and_night(9)
    for hour in range(3 * 24, 5 * 24):  # the fourth and fifth day
        del logged[hour * HOUR_MS]
    found = hourly(logged, {}, 0, 9 * DAY)
    hole = [one for one in found if one.origin is Origin.FILLED]
    assert len(hole) == 48
    assert all(one.temp_c == (12.0 if one.begin_ms // HOUR_MS % 24 < 12 else 18.0) for one in hole)


def test_before_the_log_began_its_first_days_stand_in() -> None:
    logged = {at + 10 * DAY: temp for at, temp in day_and_night(20).items()}
    logged |= {at: 40.0 for at in logged if at > 20 * DAY}  # far away: must not count
    found = hourly(logged, {}, 0, 2 * DAY)
    assert {one.origin for one in found} == {Origin.FILLED}
    assert fmean(one.temp_c for one in found) == pytest.approx(15.0)


def test_after_the_log_comes_the_forecast_then_the_last_week() -> None:
    logged = dict.fromkeys(range(0, 10 * DAY, HOUR_MS), 5.0) | {
        10 * DAY + at: temp for at, temp in day_and_night(8).items()
    }
    forecast = {18 * DAY + hour * HOUR_MS: 25.0 for hour in range(24)} | {5 * DAY: 99.0}  # one for the past
    found = hourly(logged, forecast, 17 * DAY, 20 * DAY)
    assert counted(found) == {
        Origin.LOGGED: 24, Origin.BRIDGED: 0, Origin.FILLED: 0, Origin.FORECAST: 24, Origin.TYPICAL: 24,
    }  # fmt: skip
    assert [one.temp_c for one in found[-24:]] == [12.0] * 12 + [18.0] * 12


def test_nothing_logged_gives_nothing() -> None:
    assert hourly({}, {0: 20.0}, 0, DAY) == []


def test_what_is_not_logged_is_doubted_both_ways() -> None:
    hour = Hour(0, 15.0, Origin.TYPICAL)
    assert [hour.felt_c(edge) for edge in (Edge.EARLY, Edge.LIKELY, Edge.LATE)] == [17.0, 15.0, 13.0]
    assert Hour(0, 15.0, Origin.LOGGED).felt_c(Edge.EARLY) == 15.0
    assert (
        DOUBT_C[Origin.LOGGED] < DOUBT_C[Origin.BRIDGED] < DOUBT_C[Origin.FORECAST] < DOUBT_C[Origin.FILLED]
    )


@given(
    st.dictionaries(st.integers(0, 300), st.floats(-10, 40), min_size=1, max_size=60),
    st.integers(-50, 350),
    st.integers(0, 200),
)
def test_the_row_has_no_hole_and_makes_up_no_extreme(
    logged: dict[int, float], begin: int, length: int
) -> None:
    found = hourly(
        {hour * HOUR_MS: temp for hour, temp in logged.items()},
        {},
        begin * HOUR_MS,
        (begin + length) * HOUR_MS,
    )
    assert [one.begin_ms for one in found] == [(begin + step) * HOUR_MS for step in range(length)]
    low, high = min(logged.values()), max(logged.values())
    assert all(low - 1e-9 <= one.temp_c <= high + 1e-9 for one in found)
