"""How humid an open space came of late, by hand and by numpy's quantiles. Humidities are invented."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from gillhouse.core.reach import BIN_PCT, Reach, note, score, span


def noted(values: list[float], part: int = 2) -> Reach:
    reach = Reach()
    for value in values:
        note(reach, part, value, 1.0)
    return reach


def test_nothing_is_told_before_two_hours_are_known() -> None:
    assert span(noted([80.0] * 100), 2) is None
    assert span(noted([80.0] * 200), 2) is not None
    assert span(noted([80.0] * 200), 3) is None


def test_the_middle_eight_tenths() -> None:
    """Even from 60 to 90 %: a tenth of 30 points in from either side, within a step of 2; what is older has
    faded, so the order is mixed."""
    values = [60.0 + 30.0 * ((n * 37) % 300) / 300.0 for n in range(300)]
    low, high = span(noted(values), 2)
    want_low, want_high = np.quantile(values, [0.1, 0.9])
    assert low == pytest.approx(want_low, abs=BIN_PCT)
    assert high == pytest.approx(want_high, abs=BIN_PCT)


def test_a_week_ago_is_forgotten() -> None:
    """240 minutes of one part a day: after seven days 1,680 minutes, a tenth is left (exp(-1680/720))."""
    reach = noted([90.0] * 720)
    for _ in range(1680):
        note(reach, 2, 60.0, 1.0)
    low, high = span(reach, 2)
    assert 60.0 <= low <= 62.0
    assert high < 64.0


def test_a_dry_afternoon_is_no_fault_where_every_afternoon_is_dry() -> None:
    """Wanted 85; by day it comes to 62 at most. What counts is 62 less a step."""
    reach = noted([61.0] * 300)
    for _ in range(100):
        score(reach, 2, 61.0, 85.0, 1.0)
    assert reach.within_min == pytest.approx(reach.known_min)
    for _ in range(100):
        score(reach, 2, 50.0, 85.0, 1.0)
    assert reach.within_min / reach.known_min == pytest.approx(0.5, abs=0.03)


def test_where_nothing_is_known_yet_the_band_counts() -> None:
    reach = Reach()
    score(reach, 0, 84.0, 85.0, 1.0)
    assert (reach.within_min, reach.known_min) == (0.0, 1.0)


@given(st.lists(st.floats(0.0, 100.0), min_size=150, max_size=400))
def test_the_span_lies_within_what_was_measured(values) -> None:
    low, high = span(noted(values), 2)
    assert min(values) - BIN_PCT <= low <= high <= max(values) + BIN_PCT
