"""Pulses and numbers as contacts. Counts and limits are worked by hand in each test."""

from math import nan

import pytest
from hypothesis import given
from hypothesis import strategies as st

from core.farm_parts import sensor
from gillhouse.core.contacts import FIRST, as_contact
from gillhouse.core.inputs import Delivery, Reading
from gillhouse.core.quality import SensorState
from gillhouse.core.quantities import Quantity
from gillhouse.core.readings import Quality

METER = sensor("meter", Quantity.FLOW, "room", pulses=3.0)
CLAMP = sensor("clamp", Quantity.CURRENT, "room", over=0.2)


def read(settings, state, value, delivery=Delivery.LIVE):
    item, verdict = as_contact(settings, state, Reading(settings.id, value, 0, delivery=delivery), 0)
    return item.value, verdict


def test_a_count_means_flow_when_it_has_grown_by_enough():
    state = SensorState(heard_ms=0)
    said = [read(METER, state, count) for count in (100.0, 102.0, 105.0, 105.0, 2.0, 9.0)]
    # 100 is the first; +2 is under 3; +3; +0; the board began anew; +7
    assert said == [(0.0, FIRST), (0.0, None), (1.0, None), (0.0, None), (0.0, FIRST), (1.0, None)]


def test_a_late_count_moves_nothing():
    state = SensorState(heard_ms=0)
    read(METER, state, 100.0)
    assert read(METER, state, 90.0, Delivery.LATE) == (90.0, None)
    assert read(METER, state, 104.0) == (1.0, None)


@pytest.mark.parametrize(("value", "on"), [(0.19, 0.0), (0.2, 0.0), (0.21, 1.0), (-3.0, 0.0)])
def test_a_number_means_on_above_its_limit(value, on):
    assert read(CLAMP, SensorState(heard_ms=0), value) == (on, None)


@pytest.mark.parametrize("settings", [METER, CLAMP])
def test_what_is_no_number_is_bad_and_not_off(settings):
    state = SensorState(heard_ms=0)
    read(settings, state, 100.0)
    _, verdict = read(settings, state, nan)
    assert verdict is not None and verdict.quality is Quality.BAD
    assert state.count in (100.0, None)


@given(st.lists(st.floats(0, 1e9, allow_nan=False), min_size=2, max_size=20))
def test_whatever_is_counted_the_answer_is_on_off_or_nothing_yet(counts):
    state = SensorState(heard_ms=0)
    for before, count in zip([None, *counts], counts, strict=False):
        value, verdict = read(METER, state, count)
        assert value in (0.0, 1.0)
        assert (verdict is FIRST) == (before is None or count < before)
        if verdict is None:
            assert (value == 1.0) == (count - before >= 3.0)
