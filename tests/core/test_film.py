"""Wet caps by estimate: what falls, what dries, and mist that waits for it."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from gillhouse.core.air import humidity_ratio
from gillhouse.core.film import MOST_G_M2, WET_G_M2, Film, dry, fallen, is_wet

HOUR_MS = 3_600_000


def hours_to_dry(film: Film, temperature_c: float, humidity_pct: float) -> float:
    ratio, at_ms = humidity_ratio(temperature_c, humidity_pct), film.at_ms
    while film.g_m2 > 0.0 and at_ms < 48 * HOUR_MS:
        at_ms += 60_000
        dry(film, temperature_c, ratio, at_ms)
    return at_ms / HOUR_MS


def test_what_falls_on_caps_by_hand():
    # 2 l, 0.4 of it vapour: 1,200 g fall, 0.3 of that on caps; 100 kg of blocks have 3 m2: 120 g/m2.
    film = Film()
    fallen(film, 2.0, 0.4, 100.0)
    assert film.g_m2 == pytest.approx(120.0)


def test_a_film_takes_hours_to_dry_in_damp_air_and_less_in_dry():
    """30 g/m2 at 90 % and 0.1 m/s: 3 to 5 hours, by 3 to 6 W/m2K and the Lewis relation (k = h / cp), for a
    cap that evaporates like a free water surface (San Antonio & Flegg, Am. J. Bot., 1964, abstract).

    By hand for 16 C: air at 90 % lacks 1.15 g/kg. A cap cools as it dries, so about 0.4 of that drives 4.5
    W/m2K over 1006 J/kgK: 2.1 mg/m2s, 7.4 g/m2h, 4 hours."""
    assert 3.0 <= hours_to_dry(Film(30.0), 16.0, 90.0) <= 5.0
    assert hours_to_dry(Film(30.0), 16.0, 80.0) == pytest.approx(
        hours_to_dry(Film(30.0), 16.0, 90.0) / 2, rel=0.1
    )


def test_air_is_known_by_what_it_still_takes():
    """16 C: 11.366 g/kg at saturation, 10.211 g/kg at 90 % (PsychroLib 2.5, GetHumRatioFromRelHum)."""
    film = Film()
    dry(film, 16.0, 0.010211, 1_000)
    assert film.air_takes == pytest.approx(0.001155, abs=2e-5)
    dry(film, 16.0, 0.012, 2_000)
    assert film.air_takes == 0.0


def test_saturated_air_dries_nothing_and_a_bag_of_no_weight_catches_nothing():
    film = Film(WET_G_M2)
    dry(film, 16.0, humidity_ratio(16.0, 100.0), HOUR_MS)
    assert film.g_m2 == pytest.approx(WET_G_M2)
    assert is_wet(film)
    bare = Film()
    fallen(bare, 2.0, 0.4, 0.0)
    assert bare.g_m2 == 0.0


@given(
    st.lists(
        st.tuples(
            st.floats(0, 5), st.floats(0, 1.2), st.floats(1, 2000), st.floats(-5, 40), st.floats(1, 100),
            st.integers(0, 10 * HOUR_MS),
        )
    )
)  # fmt: skip
def test_a_film_stays_between_dry_and_dripping(past):
    film, at_ms = Film(), 0
    for litres, useful, kg, temperature_c, humidity_pct, wait_ms in past:
        at_ms += wait_ms
        fallen(film, litres, useful, kg)
        dry(film, temperature_c, humidity_ratio(temperature_c, humidity_pct), at_ms)
        assert 0.0 <= film.g_m2 <= MOST_G_M2
