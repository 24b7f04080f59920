"""One sensor's readings judged from its own past. Limits of the test data are worked by hand."""

from itertools import pairwise
from math import erf, sqrt
from random import Random

import pytest
from hypothesis import given
from hypothesis import strategies as st

from core.farm_parts import sensor
from gillhouse.core.inputs import Delivery, Reading
from gillhouse.core.instant import Instant
from gillhouse.core.quality import FLAT_READINGS, SensorState, drives, judge, remember, silence
from gillhouse.core.quantities import Quantity
from gillhouse.core.readings import Mark, Quality, Verdict

RH = sensor("rh", Quantity.HUMIDITY, "room")
TEMP = sensor("temp", Quantity.TEMPERATURE, "room")
CO2 = sensor("co2", Quantity.CO2, "room")


def feed(settings, values, every_s=30.0):
    """Verdicts of values that come at even steps, each remembered."""
    state, verdicts = SensorState(heard_ms=0), []
    for n, value in enumerate(values, start=1):
        now = Instant(0, int(n * every_s * 1000))
        reading = Reading(settings.id, value, 0)
        verdict = judge(settings, state, now, reading)
        remember(state, n, now, reading, verdict)
        verdicts.append(verdict)
    return state, verdicts


def marks(settings, values, every_s=30.0):
    return [verdict.mark for verdict in feed(settings, values, every_s)[1]]


@pytest.mark.parametrize(
    ("settings", "value"),
    [
        (RH, -0.1),
        (RH, 100.1),
        (RH, 0.0),
        (RH, float("nan")),
        (RH, float("inf")),
        (TEMP, 60.1),
        (TEMP, -40.1),
        (CO2, 149.0),
        (CO2, 40_001.0),
    ],
)
def test_what_cannot_be_is_bad(settings, value):
    state, (verdict,) = feed(settings, [value])
    assert verdict == Verdict(Quality.BAD, Mark.OUT_OF_RANGE)
    assert not drives(state)
    assert state.good_value is None


def test_edges_of_the_range_belong_to_it():
    assert marks(TEMP, [60.0]) == [Mark.NONE]
    assert marks(CO2, [150.0]) == [Mark.NONE]


def test_a_jump_is_doubted_once_and_then_believed():
    """30 s at 40 %/min allow 20 points, plus three steps of 0.1."""
    assert marks(RH, [90.0, 69.7, 90.1]) == [Mark.NONE, Mark.NONE, Mark.JUMPED]
    assert marks(RH, [90.0, 69.6, 69.8, 70.0]) == [Mark.NONE, Mark.JUMPED, Mark.NONE, Mark.NONE]


def test_a_single_spike_is_doubted_on_both_flanks():
    assert marks(CO2, [800, 5000, 810, 805]) == [Mark.NONE, Mark.JUMPED, Mark.JUMPED, Mark.NONE]


def test_noise_of_a_chatty_board_is_no_jump():
    """One second apart, 0.4 K up and down: 24 K/min on paper, but only noise."""
    assert set(marks(TEMP, [18.0, 18.4] * 20, every_s=1)) == {Mark.NONE}


def test_after_a_gap_a_large_change_is_believed():
    state, _ = feed(RH, [90.0])
    now = Instant(0, 30_000 + 600_000)
    assert judge(RH, state, now, Reading("rh", 60.0, 0)).quality is Quality.GOOD


def test_a_frozen_value_is_flat_after_twenty_minutes():
    """Of a report every half minute: the 41st. A slower board is waited for until it has said 36."""
    verdicts = marks(RH, [91.3] * 61)
    assert verdicts[:40] == [Mark.NONE] * 40
    assert verdicts[40:] == [Mark.FLAT] * 21
    assert marks(RH, [91.3] * 40, every_s=60.0).index(Mark.FLAT) + 1 == FLAT_READINGS[Quantity.HUMIDITY]


@pytest.mark.parametrize(("noise", "a_day"), [(0.1, 1e-10), (0.05, 1e-3)])
def test_a_live_sensor_in_still_air_is_hardly_ever_called_frozen(noise, a_day):
    """By hand: the air stands in the middle of a step of 0.1, the worst place. A reading stays in that step
    with p = erf(0.05 / (noise x sqrt 2)): 0.383 for the least noise of a cheap sensor (0.1 %RH), 0.683 for
    half of it. A run of n equal ones begins at a reading with (1 - p) p^(n - 1); a day has 2880 of them."""
    stays = erf(0.05 / (noise * sqrt(2.0)))
    least = 1 + 20 * 60 // 30
    assert 2880 * (1.0 - stays) * stays ** (least - 1) < a_day
    slow = FLAT_READINGS[Quantity.HUMIDITY]
    assert 1440 * (1.0 - stays) * stays ** (slow - 1) < a_day, "a report a minute"
    rng = Random(5)
    still = [round(91.3 + rng.gauss(0.0, noise), 1) for _ in range(3 * 2880)]
    assert Mark.FLAT not in marks(RH, still)


def test_a_fast_board_is_not_called_frozen_before_twenty_minutes():
    verdicts = marks(RH, [91.3] * 300, every_s=5)
    assert verdicts.index(Mark.FLAT) == 240  # the 241st: 240 steps of 5 s are 20 min


def test_a_trembling_last_digit_is_alive():
    assert set(marks(RH, [91.3, 91.3, 91.4] * 60)) == {Mark.NONE}


def test_a_thawed_sensor_is_good_again():
    state, verdicts = feed(RH, [91.3] * 70 + [91.4])
    assert verdicts[-1].quality is Quality.GOOD
    assert drives(state)


def test_a_hundred_is_saturated_and_never_flat():
    state, verdicts = feed(RH, [100.0] * 200)
    assert set(verdicts) == {Verdict(Quality.GOOD, Mark.SATURATED)}
    assert drives(state)


@pytest.mark.parametrize(("settings", "value"), [(RH, 98.4), (CO2, 5000.0)])
def test_a_sensor_at_its_upper_stop_is_not_called_frozen(settings, value):
    assert set(marks(settings, [value] * 300)) == {Mark.NONE}


@pytest.mark.parametrize(
    ("quantity", "value"),
    [(Quantity.TANK, 1.0), (Quantity.DOOR, 0.0), (Quantity.LIGHT, 0.0), (Quantity.WIND, 0.0)],
)
def test_what_rightly_stands_still_is_not_flat(quantity, value):
    assert set(marks(sensor("x", quantity, "room"), [value] * 500)) == {Mark.NONE}


@pytest.mark.parametrize(
    ("delivery", "mark"),
    [
        (Delivery.QUEUED, Mark.QUEUED),
        (Delivery.LATE, Mark.LATE),
        (Delivery.AHEAD, Mark.AHEAD),
        (Delivery.RETAINED, Mark.RETAINED),
    ],
)
def test_what_did_not_come_live_is_suspect_with_its_mark(delivery, mark):
    verdict = judge(RH, SensorState(heard_ms=0), Instant(0, 0), Reading("rh", 90.0, 0, delivery=delivery))
    assert verdict == Verdict(Quality.SUSPECT, mark)


def test_silence_comes_once_at_its_own_interval():
    state, _ = feed(RH, [90.0])
    assert not silence(RH, state, 30_000 + 119_999)
    assert silence(RH, state, 30_000 + 120_000)
    assert not drives(state)
    assert state.mark is Mark.STALE
    assert not silence(RH, state, 30_000 + 500_000)


@given(st.lists(st.floats(allow_nan=True, allow_infinity=True), max_size=40))
def test_only_good_values_are_kept_to_steer(values):
    state, verdicts = feed(RH, values)
    good = [value for value, verdict in zip(values, verdicts, strict=True) if verdict.quality is Quality.GOOD]
    assert state.good_value == (good[-1] if good else None)
    assert all(0.0 < value <= 100.0 for value in good)
    believed = [
        (n, v)
        for n, (v, verdict) in enumerate(zip(values, verdicts, strict=True))
        if verdict.quality is Quality.GOOD
    ]
    for (a, before), (b, after) in pairwise(believed):
        if b == a + 1 and after < 100.0:
            assert abs(after - before) <= 20.3 + 1e-9
