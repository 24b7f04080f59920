"""The hold rule and what is summed on it: worked by hand, against pandas, and by properties."""

from itertools import pairwise

import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st

from gillhouse.audit.hold import Counted, Held, Limits, Side, Track, cut, held, holes, stretches, tally
from gillhouse.core.settings import Combine

MIN = 60_000
H = 60 * MIN


def track(values: list[tuple[int, float]], silent_min: int = 1000, calibrated: bool = False) -> Track:
    """Minutes and values."""
    return Track([Counted(at * MIN, value, False) for at, value in values], silent_min * MIN, calibrated)


def sums(values: list[tuple[int, float]], low: float | None, high: float | None, until_min: int):
    steps = held([track(values)], Combine.MEDIAN, 0, until_min * MIN)
    return tally(cut(steps, [Limits(0, until_min * MIN, low, high)]))


def test_hours_and_deficit_below_by_previous_value_hold() -> None:
    """Worked by hand: of 92 90 87 84 83 86 91 every 10 min, four lie 1, 4, 5 and 2 below 88 for 10 min each:
    12 x 10 min = 2.0 %h in 40 min. (Straight lines with exact crossings would give 1.8444 %h.)"""
    found = sums(list(zip(range(0, 70, 10), (92, 90, 87, 84, 83, 86, 91), strict=True)), 88, None, 60)
    assert found.deficit_below / H == pytest.approx(2.0, abs=1e-9)
    assert found.below_ms == 40 * MIN
    assert found.above_ms == 0


def test_hours_and_deficit_above_by_previous_value_hold() -> None:
    """Worked by hand: of 800 950 1100 1400 1300 1050 900 every 10 min, 100 + 400 + 300 + 50 = 850 ppm above
    1,000 for
    10 min each: 141.6667 ppm h in 40 min."""
    found = sums(
        list(zip(range(0, 70, 10), (800, 950, 1100, 1400, 1300, 1050, 900), strict=True)), None, 1000, 60
    )
    assert found.deficit_above / H == pytest.approx(141.666667, abs=1e-6)
    assert found.above_ms == 40 * MIN


def test_a_reading_holds_no_longer_than_its_silence_limit() -> None:
    """By hand: readings at 0 and 30 min, limit 10 min: known 0-10 and 30-40 of an hour."""
    steps = held([track([(0, 90.0), (30, 80.0)], silent_min=10)], Combine.MEDIAN, 0, H)
    assert [(step.from_ms, step.to_ms, step.value) for step in steps] == [
        (0, 10 * MIN, 90.0),
        (30 * MIN, 40 * MIN, 80.0),
    ]
    assert holes(steps, 0, H) == [(10 * MIN, 30 * MIN), (40 * MIN, H)]
    assert tally(cut(steps, [Limits(0, H, 85, None)])).mean == pytest.approx(85.0)


def test_a_reading_from_before_the_night_holds_into_it() -> None:
    steps = held([Track([Counted(-5 * MIN, 88.0, False)], 8 * MIN)], Combine.MEDIAN, 0, H)
    assert [(step.from_ms, step.to_ms) for step in steps] == [(0, 3 * MIN)]


def test_exactly_on_a_limit_is_inside() -> None:
    found = sums([(0, 85.0), (10, 95.0)], 85, 95, 20)
    assert (found.inside_ms, found.below_ms, found.above_ms) == (20 * MIN, 0, 0)


@pytest.mark.parametrize(
    ("rule", "values", "expected"),
    [
        (Combine.HIGHEST, [80.0, 90.0], 90.0),
        (Combine.LOWEST, [80.0, 90.0], 80.0),
        (Combine.MEDIAN, [80.0, 84.0, 90.0], 84.0),
        (Combine.CALIBRATED, [80.0, 84.0, 90.0], 84.0),
        (Combine.CALIBRATED, [80.0, 90.0], 90.0),  # the second has its calibration in date
    ],
)
def test_sensors_combine_by_the_space_rule(rule: Combine, values: list[float], expected: float) -> None:
    tracks = [track([(0, value)], calibrated=place == 1) for place, value in enumerate(values)]
    (step,) = held(tracks, rule, 0, H)
    assert step.value == expected


def test_the_other_sensor_carries_on_where_one_falls_silent() -> None:
    """By hand: the calibrated one steers for its 5 min, then the other alone."""
    tracks = [track([(0, 90.0)], 5, calibrated=True), track([(0, 80.0)], 60)]
    steps = held(tracks, Combine.CALIBRATED, 0, H)
    assert [(step.to_ms // MIN, step.value) for step in steps] == [(5, 90.0), (60, 80.0)]


def test_limits_that_change_in_the_night_count_from_then_on() -> None:
    """By hand: 82 % all hour; inside 80-90 for 20 min, below 85-95 for 40 min by 3 %: 2.0 %h."""
    steps = held([track([(0, 82.0)])], Combine.MEDIAN, 0, H)
    found = tally(cut(steps, [Limits(0, 20 * MIN, 80, 90), Limits(20 * MIN, H, 85, 95)]))
    assert (found.inside_ms, found.below_ms) == (20 * MIN, 40 * MIN)
    assert found.deficit_below / H == pytest.approx(2.0)


def outside(values: list[tuple[int, float]], until_min: int, silent_min: int = 1000):
    steps = held([track(values, silent_min)], Combine.MEDIAN, 0, until_min * MIN)
    return stretches(cut(steps, [Limits(0, until_min * MIN, 85, 95)]), 5 * MIN)


def test_a_short_return_does_not_split_a_time_outside() -> None:
    """By hand: below 10-20 and 23-30 with 3 min inside between: one of 20 min, 17 min of them outside."""
    (one,) = outside([(0, 90), (10, 82), (20, 90), (23, 80), (30, 90)], 60)
    assert (one.side, one.from_ms, one.to_ms) == (Side.BELOW, 10 * MIN, 30 * MIN)
    assert (one.worst, one.worst_ms, one.outside_ms) == (80, 23 * MIN, 17 * MIN)
    assert one.end_known


def test_a_long_return_does() -> None:
    found = outside([(0, 90), (10, 82), (20, 90), (25, 80), (30, 90)], 60)
    assert [(one.from_ms // MIN, one.to_ms // MIN) for one in found] == [(10, 20), (25, 30)]


def test_from_one_side_to_the_other_are_two() -> None:
    found = outside([(0, 82), (10, 97), (20, 90)], 60)
    assert [(one.side, one.end_known) for one in found] == [(Side.BELOW, True), (Side.ABOVE, True)]


def test_the_end_is_unknown_where_readings_stop() -> None:
    (first, second) = outside([(0, 82), (30, 82)], 60, silent_min=10)
    assert not first.end_known
    assert not second.end_known


readings = st.lists(
    st.tuples(st.integers(0, 719), st.floats(0, 100, allow_nan=False, width=32)),
    max_size=40,
    unique_by=lambda pair: pair[0],
).map(sorted)


@given(
    st.lists(readings, min_size=1, max_size=4),
    st.integers(1, 60),
    st.sampled_from(Combine),
    st.floats(0, 100),
    st.floats(0, 100),
)
def test_the_parts_of_a_night_add_up(many, silent, rule, one_edge, other_edge) -> None:
    low, high = sorted((one_edge, other_edge))
    end = 720 * MIN
    steps = held([track(one, silent, place == 0) for place, one in enumerate(many)], rule, 0, end)
    found = tally(cut(steps, [Limits(0, end, low, high)]))
    assert found.inside_ms + found.below_ms + found.above_ms == found.covered_ms
    assert found.covered_ms + sum(b - a for a, b in holes(steps, 0, end)) == end
    assert all(first.to_ms <= second.from_ms for first, second in pairwise(steps))
    outside_ms = sum(one.outside_ms for one in stretches(cut(steps, [Limits(0, end, low, high)]), 5 * MIN))
    assert outside_ms == found.below_ms + found.above_ms
    if found.mean is not None:
        assert found.least is not None and found.most is not None
        assert found.least - 1e-9 <= found.mean <= found.most + 1e-9


@given(readings, st.integers(1, 60))
def test_one_sensor_agrees_with_pandas_forward_fill(values, silent) -> None:
    """Oracle: pandas' forward fill over a one-minute grid, limited to the silence limit (readings lie on
    the grid)."""
    steps = held([track(values, silent)], Combine.MEDIAN, 0, 720 * MIN)
    grid = pd.Series(dict(values), dtype=float).reindex(range(720)).ffill(limit=silent - 1 or None)
    if silent == 1:
        grid = pd.Series(dict(values), dtype=float).reindex(range(720))
    found = tally(cut(steps, [Limits(0, 720 * MIN, 40.0, 60.0)]))
    known = grid.dropna()
    assert found.covered_ms == len(known) * MIN
    assert found.below_ms == int((known < 40.0).sum()) * MIN
    assert found.deficit_above / MIN == pytest.approx(float((known - 60.0).clip(lower=0).sum()), abs=1e-6)
    if len(known):
        assert found.mean == pytest.approx(float(known.mean()), abs=1e-9)


@given(readings, st.integers(1, 60), st.integers(0, 719))
def test_at_any_moment_the_step_is_the_last_reading(values, silent, minute) -> None:
    """A naive look at one moment: the newest reading not after it, if young enough."""
    steps = held([track(values, silent)], Combine.MEDIAN, 0, 720 * MIN)
    last = [pair for pair in values if pair[0] <= minute]
    expected = last[-1][1] if last and minute - last[-1][0] < silent else None
    here = [step for step in steps if step.from_ms <= minute * MIN < step.to_ms]
    assert [step.value for step in here] == ([] if expected is None else [expected])


def test_late_readings_are_marked_in_the_staircase() -> None:
    late = Track([Counted(0, 90.0, False), Counted(10 * MIN, 91.0, True), Counted(20 * MIN, 92.0, False)], H)
    steps = held([late], Combine.MEDIAN, 0, 30 * MIN)
    assert [step.late for step in steps] == [False, True, False]
    assert tally(cut(steps, [Limits(0, H, None, None)])).late_ms == 10 * MIN
    assert steps[1] == Held(10 * MIN, 20 * MIN, 91.0, True)
