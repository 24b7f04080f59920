"""Drying in the shade against worked values, and what must hold for any air.

The table: Penman's equation without sunshine with the constants of FAO Irrigation and Drainage Paper 56 and
the wind term of Shuttleworth (1993), worked out beforehand with FAO-56's own saturation formula, in a
spreadsheet apart from this program; three decimals.
"""

from math import inf

import pytest
from hypothesis import given
from hypothesis import strategies as st

from gillhouse.core.air import deficit_kpa
from gillhouse.core.drying import (
    hours_to_dry,
    kept_warm_mm_per_day,
    shade_mm_per_day,
    wind_at_2m,
)

WORKED = (
    # C, %, deficit kPa, kept warm in still air, shade in still air, kept warm at 1 m/s; mm a day
    (8, 80, 0.2146, 0.563, 0.27, 0.865),
    (8, 85, 0.1609, 0.422, 0.203, 0.649),
    (8, 90, 0.1073, 0.282, 0.135, 0.432),
    (8, 95, 0.0536, 0.141, 0.068, 0.216),
    (8, 98, 0.0215, 0.056, 0.027, 0.086),
    (12, 80, 0.2805, 0.736, 0.31, 1.131),
    (12, 85, 0.2104, 0.552, 0.233, 0.848),
    (12, 90, 0.1403, 0.368, 0.155, 0.565),
    (12, 95, 0.0701, 0.184, 0.078, 0.283),
    (12, 98, 0.0281, 0.074, 0.031, 0.113),
    (16, 80, 0.3637, 0.954, 0.35, 1.466),
    (16, 85, 0.2727, 0.716, 0.263, 1.099),
    (16, 90, 0.1818, 0.477, 0.175, 0.733),
    (16, 95, 0.0909, 0.239, 0.088, 0.366),
    (16, 98, 0.0364, 0.095, 0.035, 0.147),
    (20, 80, 0.4677, 1.227, 0.39, 1.885),
    (20, 85, 0.3507, 0.921, 0.292, 1.414),
    (20, 90, 0.2338, 0.614, 0.195, 0.943),
    (20, 95, 0.1169, 0.307, 0.097, 0.471),
    (20, 98, 0.0468, 0.123, 0.039, 0.189),
    (24, 80, 0.5968, 1.566, 0.428, 2.406),
    (24, 85, 0.4476, 1.175, 0.321, 1.804),
    (24, 90, 0.2984, 0.783, 0.214, 1.203),
    (24, 95, 0.1492, 0.392, 0.107, 0.601),
    (24, 98, 0.0597, 0.157, 0.043, 0.241),
)

AIR = (st.floats(0.5, 40.0), st.floats(1.0, 100.0), st.floats(0.0, 20.0))


@pytest.mark.parametrize(("celsius", "pct", "kpa", "warm_still", "shade_still", "warm_1"), WORKED)
def test_the_worked_table(celsius, pct, kpa, warm_still, shade_still, warm_1) -> None:
    assert deficit_kpa(celsius, pct) == pytest.approx(kpa, abs=0.0003)
    assert kept_warm_mm_per_day(celsius, pct, 0.0) == pytest.approx(warm_still, abs=0.001)
    assert shade_mm_per_day(celsius, pct, 0.0) == pytest.approx(shade_still, abs=0.001)
    assert kept_warm_mm_per_day(celsius, pct, 1.0) == pytest.approx(warm_1, abs=0.0015)


def test_the_cooling_of_the_wet_thing_at_20_c() -> None:
    """By FAO-56's figures the shade takes 0.318 of the upper limit at 20 C."""
    assert shade_mm_per_day(20.0, 80.0, 0.0) / kept_warm_mm_per_day(20.0, 80.0, 0.0) == pytest.approx(
        0.318, abs=0.0005
    )


def test_wind_from_a_mast() -> None:
    """FAO-56 example 14: 3.2 m/s at 10 m is 2.39 (2.4) m/s at 2 m."""
    assert wind_at_2m(3.2, 10.0) == pytest.approx(2.39, abs=0.005)


def test_a_film_in_still_air() -> None:
    """By hand from the table: 0.05 mm at 0.175 mm a day is 6.86 h, at 0.263 it is 4.56 h; 1 m/s of wind dries
    1.536 times as fast (1 + 0.536)."""
    slow, quick = (shade_mm_per_day(16.0, pct, 0.0) / 24.0 for pct in (90.0, 85.0))
    assert hours_to_dry(0.05, slow) == pytest.approx(6.86, abs=0.02)
    assert hours_to_dry(0.05, quick) == pytest.approx(4.56, abs=0.02)
    assert shade_mm_per_day(16.0, 90.0, 1.0) / 24.0 / slow == pytest.approx(1.536)


def test_nothing_to_dry_and_nothing_that_dries() -> None:
    assert hours_to_dry(0.0, 0.1) == 0.0
    assert hours_to_dry(-0.1, 0.1) == 0.0
    assert hours_to_dry(0.1, 0.0) == inf


@given(*AIR)
def test_drier_and_windier_dries_faster_and_the_shade_never_most(celsius, pct, wind) -> None:
    rate = shade_mm_per_day(celsius, pct, wind)
    assert 0.0 <= rate <= kept_warm_mm_per_day(celsius, pct, wind)
    assert shade_mm_per_day(celsius, max(pct - 5.0, 0.0), wind) >= rate
    assert shade_mm_per_day(celsius, pct, wind + 1.0) >= rate
