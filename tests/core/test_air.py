"""Moist air against two outside libraries over the fruiting range.

Oracles: PsychroLib 2.5 (ASHRAE Handbook, Fundamentals 2017, ideal gas) and CoolProp 8.0 (real gas; the vapour
pressure of water in air is about 0.4 % higher there, so its tolerances are wider: the largest differences
between the two libraries over 10 to 28 C and 60 to 100 %, taken here from a grid of both).
"""

import psychrolib
import pytest
from CoolProp.HumidAirProp import HAPropsSI
from hypothesis import given
from hypothesis import strategies as st

from gillhouse.core import air

psychrolib.SetUnitSystem(psychrolib.SI)

GRID = [
    (temperature / 2, humidity, pressure)
    for temperature in range(10, 61, 3)
    for humidity in (30.0, 60.0, 75.0, 85.0, 90.0, 93.0, 96.0, 99.0, 100.0)
    for pressure in (101_325.0, 84_556.0)
]


@pytest.mark.parametrize("temperature", [-10.0, -0.5, 0.0, 0.02, 5.0, 12.0, 18.0, 24.0, 35.0])
def test_saturation_pressure_agrees_with_psychrolib(temperature: float) -> None:
    assert air.saturation_pa(temperature) == pytest.approx(psychrolib.GetSatVapPres(temperature), rel=5e-4)


def test_every_quantity_agrees_with_psychrolib_over_the_fruiting_range() -> None:
    for temperature, humidity, pressure in GRID:
        ratio, _, dew, vapour, _, volume, _ = psychrolib.CalcPsychrometricsFromRelHum(
            temperature, humidity / 100, pressure
        )
        where = f"{temperature} C, {humidity} %, {pressure} Pa"
        own = air.humidity_ratio(temperature, humidity, pressure)
        assert own == pytest.approx(ratio, rel=5e-4), where
        assert air.dew_point_c(temperature, humidity) == pytest.approx(dew, abs=0.01), where
        assert air.vapour_pa(temperature, humidity) == pytest.approx(vapour, rel=5e-4), where
        deficit = psychrolib.GetVaporPressureDeficit(temperature, ratio, pressure) / 1000
        assert air.deficit_kpa(temperature, humidity) == pytest.approx(deficit, abs=5e-4), where
        assert air.volume_m3_per_kg(temperature, own, pressure) == pytest.approx(volume, rel=5e-4), where
        assert air.grams_per_m3(temperature, humidity) == pytest.approx(1000 * ratio / volume, abs=0.01), (
            where
        )
        assert air.humidity_pct(temperature, own, pressure) == pytest.approx(humidity, abs=1e-9), where


def test_every_quantity_agrees_with_coolprop_as_far_as_real_air_differs() -> None:
    for temperature, humidity, pressure in GRID:
        if not (10.0 <= temperature <= 28.0 and humidity >= 60.0 and pressure == 101_325.0):
            continue
        given_air = ("T", temperature + 273.15, "P", pressure, "R", humidity / 100)
        where = f"{temperature} C, {humidity} %"
        ratio = HAPropsSI("W", *given_air)
        assert 1000 * air.humidity_ratio(temperature, humidity) == pytest.approx(1000 * ratio, abs=0.12), (
            where
        )
        dew = HAPropsSI("D", *given_air) - 273.15
        assert air.dew_point_c(temperature, humidity) == pytest.approx(dew, abs=0.01), where
        vapour = HAPropsSI("P_w", *given_air)
        assert air.vapour_pa(temperature, humidity) == pytest.approx(vapour, rel=0.006), where


@pytest.mark.parametrize(
    ("temperature", "humidity", "pressure", "grams_per_kg", "dew", "deficit"),
    [
        # PsychroLib 2.5, CalcPsychrometricsFromRelHum, read off once and written down.
        (18.0, 90.0, 101_325.0, 11.6168, 16.336, 0.20643),
        (16.0, 93.0, 101_325.0, 10.557, 14.869, 0.12729),
        (24.0, 85.0, 101_325.0, 15.975, 21.322, 0.44777),
        (18.0, 90.0, 85_000.0, 13.898, 16.336, 0.20643),
    ],
)
def test_worked_points(
    temperature: float, humidity: float, pressure: float, grams_per_kg: float, dew: float, deficit: float
) -> None:
    assert 1000 * air.humidity_ratio(temperature, humidity, pressure) == pytest.approx(grams_per_kg, rel=2e-4)
    assert air.dew_point_c(temperature, humidity) == pytest.approx(dew, abs=0.002)
    assert air.deficit_kpa(temperature, humidity) == pytest.approx(deficit, abs=1e-4)


def test_half_a_kelvin_makes_nearly_three_points() -> None:
    """18 C and 90 %, vapour constant, air 0.5 K warmer reads 2.78 points lower (PsychroLib, by hand)."""
    ratio = air.humidity_ratio(18.0, 90.0)
    assert 90.0 - air.humidity_pct(18.5, ratio) == pytest.approx(2.78, abs=0.01)


@given(st.floats(-20, 45), st.floats(1, 100))
def test_air_at_its_dew_point_is_saturated(temperature: float, humidity: float) -> None:
    dew = air.dew_point_c(temperature, humidity)
    assert dew <= temperature + 1e-3
    assert air.saturation_pa(dew) == pytest.approx(air.vapour_pa(temperature, humidity), rel=2e-4)


@pytest.mark.parametrize("humidity", [0.0, -1.0])
def test_dry_air_has_no_dew_point(humidity: float) -> None:
    with pytest.raises(ValueError, match="no dew point"):
        air.dew_point_c(18.0, humidity)
