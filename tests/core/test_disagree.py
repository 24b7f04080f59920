"""Two sensors by dew point.

Outside: PsychroLib 2.5 (ASHRAE 2017) for dew points and for what half a kelvin makes of relative humidity.
The rule itself (combined error, an hour's mean) is ours and checked by hand.
"""

from math import exp, hypot

import psychrolib
import pytest

from gillhouse.core.disagree import (
    ASSUMED_ERROR_K,
    ASSUMED_ERROR_PCT,
    ENDS_AT,
    LEAST_GAP_K,
    LEAST_WATCH_MS,
    TAU_MS,
    Gap,
    Moist,
    allowed_k,
    dew_gap_k,
    gap_points,
    watch,
)

psychrolib.SetUnitSystem(psychrolib.SI)
MIN = 60_000


def moist(c: float, pct: float, error: float = 3.0, k: float = 0.3, thermometer: str = "t") -> Moist:
    return Moist(c, pct, error, k, thermometer)


def test_two_places_half_a_kelvin_apart_agree_though_their_percent_do_not() -> None:
    """The same water in the air: psychrolib says 87.2 % at 18.5 C where it is 90 % at 18.0 C."""
    vapour = psychrolib.GetVapPresFromRelHum(18.0, 0.90)
    warm = 100 * psychrolib.GetRelHumFromVapPres(18.5, vapour)
    assert warm == pytest.approx(87.218, abs=0.001)
    assert dew_gap_k(moist(18.0, 90.0), moist(18.5, warm)) == pytest.approx(0.0, abs=0.005)
    assert gap_points(moist(18.0, 90.0), moist(18.5, warm)) == pytest.approx(0.0, abs=0.01)


def test_the_gap_is_that_of_psychrolibs_dew_points() -> None:
    dew = psychrolib.GetTDewPointFromRelHum
    gap = dew_gap_k(moist(18.0, 93.0), moist(16.0, 90.0))
    assert gap == pytest.approx(dew(18.0, 0.93) - dew(16.0, 0.90), abs=0.01)
    assert gap_points(moist(18.0, 93.0), moist(18.0, 88.0)) == pytest.approx(5.0)


def test_what_is_allowed_is_the_stated_errors_together() -> None:
    dew = psychrolib.GetTDewPointFromRelHum
    part = dew(18.0, 0.90) - dew(18.0, 0.87)
    one = moist(18.0, 90.0)
    assert allowed_k(one, moist(18.0, 90.0)) == pytest.approx(hypot(part, part), abs=0.01)
    apart = allowed_k(one, moist(18.0, 90.0, thermometer="u"))
    assert apart == pytest.approx(hypot(part, part, 0.3, 0.3), abs=0.01)
    unstated = Moist(18.0, 90.0, 0.0, 0.0, "t")
    assumed = Moist(18.0, 90.0, ASSUMED_ERROR_PCT, ASSUMED_ERROR_K, "u")
    assert allowed_k(unstated, Moist(18.0, 90.0, 0.0, 0.0, "u")) == allowed_k(assumed, moist(18, 90, 3, 0.5))
    sure = moist(18.0, 90.0, 0.2)
    assert allowed_k(sure, sure) == LEAST_GAP_K


def test_a_lasting_gap_is_found_after_two_hours_and_ends_when_it_is_closed() -> None:
    gap, high, low = Gap(), moist(18.0, 95.0), moist(18.0, 88.0)
    said = [watch(gap, high, low, MIN) for _ in range(LEAST_WATCH_MS // MIN)]
    assert said == [False] * (len(said) - 1) + [True]
    assert gap.mean_k == pytest.approx(dew_gap_k(high, low))
    # By hand: the mean falls as exp(-t / 1 h); it ends at 0.7 of what is allowed for the pair then.
    start, limit = gap.mean_k, ENDS_AT * allowed_k(low, low)
    minutes = 0
    while gap.apart:
        watch(gap, low, low, MIN)
        minutes += 1
    assert start * exp(-(minutes - 1) * MIN / TAU_MS) > limit >= start * exp(-minutes * MIN / TAU_MS)


def test_a_mist_pulse_beside_one_of_them_is_no_disagreement() -> None:
    """Ten minutes an hour at 8 points: less than two on the mean."""
    gap = Gap()
    for minute in range(12 * 60):
        wet = minute % 60 < 10
        assert not watch(gap, moist(18.0, 98.0 if wet else 90.0), moist(18.0, 90.0), MIN)


def test_a_long_pause_is_not_counted_as_time_watched() -> None:
    gap = Gap()
    for _ in range(10):
        assert not watch(gap, moist(18.0, 95.0), moist(18.0, 80.0), 10 * TAU_MS)


def test_two_that_are_far_apart_are_told_after_a_quarter_of_an_hour() -> None:
    """By hand at 18 C: 95 and 75 %RH are 3.7 K of dew point apart; with 3 %RH each, 0.8 K are allowed."""
    gap, high, low = Gap(), moist(18.0, 95.0), moist(18.0, 75.0)
    said = [watch(gap, high, low, MIN) for _ in range(15)]
    assert said == [False] * 14 + [True]
    assert not watch(gap, high, moist(18.0, 90.0), MIN), "one look close together, and it begins anew"
    assert not any(watch(gap, high, low, MIN) for _ in range(14))
