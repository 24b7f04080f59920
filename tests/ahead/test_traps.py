"""Trends of catches, worked by hand and on series made to double."""

from math import log

import pytest
from hypothesis import given
from hypothesis import strategies as st

from gillhouse.ahead.traps import DAY_MS, Catch, Trend, expected, first_rise_ms, trend, usual


def weekly(*caught: int, traps: int = 2) -> list[Catch]:
    return [Catch(week * 7 * DAY_MS, count, traps, 7.0) for week, count in enumerate(caught)]


def test_what_doubles_every_week_is_told_to_double_in_seven_days() -> None:
    found = trend(weekly(3, 6, 12, 24, 48))
    assert found is not None and found.clear and found.doubling_days == pytest.approx(7.0)
    assert found.halving_days is None
    assert expected(10.0, found, 7.0) == pytest.approx(20.0)


def test_what_halves_has_a_halving_time() -> None:
    found = trend(weekly(48, 24, 12, 6))
    assert found is not None and found.halving_days == pytest.approx(7.0)
    assert found.doubling_days is None


def test_scatter_is_no_trend() -> None:
    """The slope by hand: x = 0 to 3 weeks, y = ln of 5, 9, 4, 8."""
    found = trend(weekly(5, 9, 4, 8))
    assert found is not None
    assert found.per_day * 7 == pytest.approx(
        (-1.5 * log(5) - 0.5 * log(9) + 0.5 * log(4) + 1.5 * log(8)) / 5
    )
    assert not found.clear
    assert (found.doubling_days, found.halving_days) == (None, None)


def test_too_few_counts_show_nothing() -> None:
    assert trend([]) is None
    assert trend(weekly(1, 9)) is None
    assert trend([Catch(0, 1, 1, 7.0)] * 5) is None  # one moment, told five times


def test_old_counts_do_not_count() -> None:
    old = [Catch(-100 * DAY_MS, 4000, 2, 7.0)]
    assert trend(old + weekly(3, 6, 12)) == trend(weekly(3, 6, 12))


def test_an_empty_card_counts_as_half_a_fly() -> None:
    found = trend(weekly(0, 1, 2))
    assert found is not None and found.doubling_days == pytest.approx(7.0)


def test_more_cards_and_more_days_are_reckoned_out() -> None:
    assert Catch(0, 28, 2, 7.0).per_trap_day == 2.0
    assert trend(weekly(10, 20, 40, traps=1)) == trend(weekly(40, 80, 160, traps=4))


def test_the_usual_is_the_middle_and_the_high_of_all_before() -> None:
    counts = weekly(0, 2, 4, 6, 8, 10, 12, 14, 16, 180, 999, traps=1)
    found = usual(counts)
    assert found is not None and found.counts == 10  # the last one is what is asked about
    assert (found.middle, found.high) == pytest.approx((9 / 7, 16 / 7))
    assert usual(weekly(1, 2, 3, 4, 5, 6)) is None


def test_the_first_rise_begins_with_the_latest_run() -> None:
    assert first_rise_ms(weekly(0, 3, 0, 0, 2, 5)) == 4 * 7 * DAY_MS
    assert first_rise_ms(weekly(1, 2)) == 0
    assert first_rise_ms(weekly(4, 0)) is None
    assert first_rise_ms([]) is None


@given(st.lists(st.integers(0, 5000), min_size=3, max_size=6), st.integers(1, 9))
def test_a_trend_does_not_care_for_the_order_or_the_cards(caught: list[int], cards: int) -> None:
    counts = weekly(*caught)
    one, other = trend(counts), trend(list(reversed(counts)))
    assert isinstance(one, Trend) and isinstance(other, Trend)
    assert one.per_day == pytest.approx(other.per_day, abs=1e-12)
