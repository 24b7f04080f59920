"""Minutes of fan an hour while the box is dead.

By hand, 40 kg of lion's mane at 16 C, the most it may breathe 0.30 g/(kg h) (`breath`, an estimate): 12 g/h
of CO2 are 12 / 44.0095 x 8.314462618 x 289.15 / 101325 = 0.006470 m3/h; 2,500 ppm with 425 outside take
1e6 x 0.006470 / 2075 = 3.118 m3/h (S. Batterman, Int. J. Environ. Res. Public Health 14:145, 2017), of a fan
of 90 m3/h 2.08 min each hour.
"""

from dataclasses import replace
from math import ceil

import pytest
from hypothesis import given
from hypothesis import strategies as st

from core.farm_parts import farm, space
from gillhouse.core.breath import breath
from gillhouse.core.crops import Stage
from gillhouse.core.safe_air import CEILING_PPM, line, minutes_for, minutes_per_h
from gillhouse.core.settings import SpaceKind
from gillhouse.core.sizing import Air, Question
from gillhouse.core.ventilation import settles_at_ppm, source_m3_per_h


def test_worked_by_hand() -> None:
    assert minutes_per_h(12.0, 16.0, 425.0, 90.0) == pytest.approx(2.08, abs=0.005)


def test_the_ceiling_is_half_of_the_shift_limit() -> None:
    """5,000 ppm over 8 hours: OSHA PEL, NIOSH REL, ACGIH TLV, HSE EH40."""
    assert CEILING_PPM == 5_000.0 / 2


@given(st.floats(0.1, 500.0), st.floats(5.0, 30.0), st.floats(10.0, 1000.0))
def test_that_many_minutes_hold_the_ceiling_in_the_mean(grams: float, warm_c: float, fan: float) -> None:
    """Put back into the balance: the mean flow settles at the ceiling, or under it where the fan is small."""
    minutes = minutes_per_h(grams, warm_c, 425.0, fan)
    settled = settles_at_ppm(source_m3_per_h(grams, warm_c), fan * minutes / 60.0, 425.0)
    assert minutes <= 60.0
    assert settled == pytest.approx(CEILING_PPM) or (minutes == 60.0 and settled > CEILING_PPM)


def test_no_fan_and_bad_air_outside_take_all_there_is() -> None:
    assert minutes_per_h(12.0, 16.0, 425.0, 0.0) == 60.0
    assert minutes_per_h(12.0, 16.0, 2_500.0, 90.0) == 60.0


def test_of_a_space() -> None:
    """60 kg of grey oyster at its band's target of 17 C, a fan of 120 m3/h, rounded up."""
    made = farm()
    room = made.spaces["room"]
    most = breath("grey-oyster", Stage.FRUITING).grams_per_h(60.0, 17.0)[2]
    assert minutes_for(made, room) == ceil(minutes_per_h(most, 17.0, 425.0, 120.0))
    assert minutes_for(made, replace(room, kind=SpaceKind.OPEN)) is None
    assert minutes_for(made, replace(room, crop_kg=0.0)) is None
    assert minutes_for(farm(space("shed"), relays=()), space("attic")) is None


def test_the_line_of_size_shows_the_same_sum() -> None:
    asked = Question(
        9.0, 40.0, breath("lions-mane", Stage.FRUITING), Air(16.0, 90.0), 1000.0, Air(10.0, 70.0), 425.0, 2.7,
        fan_m3_per_h=90.0,
    )  # fmt: skip
    told = line(asked)
    assert told is not None
    assert told.result == told.high == pytest.approx(2.08, abs=0.005)
    assert told.low < told.result and "2500 - 425" in told.numbers
    assert line(replace(asked, fan_m3_per_h=0.0)) is None
