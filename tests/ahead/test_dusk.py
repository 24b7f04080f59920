"""Sunset by latitude and day against a solar library, and the words of the call."""

from datetime import UTC, datetime

import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st
from pvlib.solarposition import sun_rise_set_transit_spa

from gillhouse.ahead.dusk import MOST_LETTERS, Tonight, slug_call, sunset_min


@pytest.mark.parametrize("latitude", [-38.0, 0.0, 45.0, 60.0])
@pytest.mark.parametrize("month", [1, 3, 6, 9, 11])
def test_sunset_is_the_solar_librarys_within_the_clocks_own_error(latitude: float, month: int) -> None:
    """At longitude 0 in UTC, where noon by the clock is off by the equation of time alone.

    Source: pvlib's solar position algorithm (Reda and Andreas, NREL/TP-560-34302). Off by up to 16 min
    (equation of time) and 9 min (refraction and the sun's width, at 60 degrees).
    """
    day = datetime(2026, month, 21, tzinfo=UTC)
    (sunset,) = sun_rise_set_transit_spa(pd.DatetimeIndex([day]), latitude, 0.0)["sunset"]
    mine = sunset_min(latitude, day.timetuple().tm_yday)
    assert mine is not None
    assert mine == pytest.approx((sunset - day).total_seconds() / 60, abs=25)


def test_summer_time_puts_it_on_and_the_polar_day_and_night_have_none() -> None:
    """At the equator the day has 12 hours (FAO-56 equation 34: acos(0) * 24 / pi): sunset at 18:00."""
    assert (sunset_min(0.0, 80), sunset_min(0.0, 80, 60)) == (1080, 1140)
    assert sunset_min(75.0, 172) is None
    assert sunset_min(75.0, 355) is None


def test_the_call_says_where_how_much_and_by_what() -> None:
    told = slug_call([Tonight("barn", 6.0, 9, True)])
    assert told == (
        "Slug night, barn: 6.0 of 9 dark hours by your forecast. Look two hours after dark, by torch."
    )
    assert "if it is like last night" in slug_call([Tonight("barn", 6.0, 9, False)])


ids = st.from_regex(r"[a-z][a-z0-9-]{0,29}", fullmatch=True)


@given(st.lists(ids, min_size=1, max_size=9, unique=True), st.floats(4, 18), st.booleans())
def test_it_fits_one_text_message_of_plain_letters(spaces: list[str], points: float, known: bool) -> None:
    told = slug_call([Tonight(one, points, 18, known) for one in spaces])
    assert len(told) <= MOST_LETTERS
    assert told.isascii() and told.isprintable()
    shown = told.removeprefix("Slug night, ").split(": ")[0]
    names, _, left = shown.partition(" and ")
    assert len(names.split(", ")) + (int(left.split()[0]) if left else 0) == len(spaces)
