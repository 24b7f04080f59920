"""Several sensors into one value; every expected value is worked by hand."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from gillhouse.core.estimate import HOLD_MS, Estimate, Sample, combined, without
from gillhouse.core.settings import Combine


def samples(*values: float, calibrated: tuple[int, ...] = ()) -> list[Sample]:
    return [
        Sample(f"s{n}", value, 1000 + n, 10 + n, n in calibrated, 2.0 + n) for n, value in enumerate(values)
    ]


@pytest.mark.parametrize(
    ("combine", "values", "calibrated", "expected"),
    [
        (Combine.CALIBRATED, (88.0,), (), 88.0),
        (Combine.CALIBRATED, (88.0, 92.0), (), 90.0),
        (Combine.CALIBRATED, (88.0, 92.0), (1,), 92.0),
        (Combine.CALIBRATED, (88.0, 92.0), (0, 1), 90.0),
        (Combine.CALIBRATED, (80.0, 91.0, 92.0), (0,), 91.0),
        (Combine.CALIBRATED, (80.0, 90.0, 91.0, 92.0), (), 90.5),
        (Combine.HIGHEST, (700.0, 900.0, 800.0), (), 900.0),
        (Combine.LOWEST, (17.0, 15.0), (), 15.0),
        (Combine.MEDIAN, (15.0, 17.0), (), 16.0),
        (Combine.MEDIAN, (15.0, 30.0, 17.0), (), 17.0),
    ],
)
def test_combining(combine, values, calibrated, expected):
    assert combined(combine, samples(*values, calibrated=calibrated)).value == expected


def test_with_three_the_driest_place_alarms():
    found = combined(Combine.CALIBRATED, samples(80.0, 91.0, 92.0))
    assert (found.value, found.lowest, found.highest) == (91.0, 80.0, 92.0)


def test_with_two_the_one_that_steers_alarms():
    found = combined(Combine.CALIBRATED, samples(80.0, 91.0, calibrated=(1,)))
    assert (found.value, found.lowest, found.highest) == (91.0, 91.0, 91.0)


def test_it_names_what_it_came_from_newest_first():
    found = combined(Combine.CALIBRATED, samples(88.0, 92.0))
    assert found.seqs == (11, 10)
    assert found.sensors == ("s1", "s0")
    assert found.error == 3.0
    assert not found.trusted
    assert combined(Combine.CALIBRATED, samples(88.0, 92.0, calibrated=(0,))).trusted


def test_the_last_good_value_holds_for_ten_minutes_and_no_longer():
    last = combined(Combine.MEDIAN, samples(17.0))
    held = without(last, 1000 + HOLD_MS - 1)
    assert held.value == 17.0
    assert held.held
    assert held.steers
    assert not held.fresh
    assert without(held, 1000 + HOLD_MS) == Estimate()
    assert without(Estimate(), 5) == Estimate()


@given(st.lists(st.floats(0, 100), min_size=1, max_size=7), st.sampled_from(list(Combine)))
def test_the_value_lies_between_the_sensors(values, combine):
    found = combined(combine, samples(*values))
    assert min(values) - 1e-9 <= found.value <= max(values) + 1e-9
    assert found.lowest <= found.highest
