"""What the least fresh air costs, worked by hand with PsychroLib's humidity ratios."""

from dataclasses import replace

import psychrolib
import pytest

from core.farm_parts import space
from gillhouse.commands.floor_told import cost
from gillhouse.core.settings import IntakeSettings

psychrolib.SetUnitSystem(psychrolib.SI)


def test_the_figures_are_those_of_the_water_and_heat_balance():
    # Band 14 C and 85 % at least; outside 4 C and 70 %; 30 m3/h.
    w_in = psychrolib.GetHumRatioFromRelHum(14.0, 0.85, 101_325.0)
    w_out = psychrolib.GetHumRatioFromRelHum(4.0, 0.70, 101_325.0)
    dry_kg_h = 30.0 / psychrolib.GetMoistAirVolume(4.0, w_out, 101_325.0)
    water_l_day = dry_kg_h * (w_in - w_out) * 24
    warm_w = dry_kg_h * 1.006 * 10.0 / 3.6
    vapour_w = water_l_day / 24 * (2501.0 - 2.326 * 14.0) / 3.6
    told = cost(space(intake=IntakeSettings(4.0, 70.0)), 30.0)
    assert told is not None
    assert f"{warm_w:.0f} W to warm it" in told
    assert f"{water_l_day:.1f} l of water a day" in told
    assert f"{vapour_w:.0f} W to evaporate it" in told


def test_warm_and_damp_air_outside_costs_nothing():
    told = cost(space(intake=IntakeSettings(25.0, 95.0)), 30.0)
    assert told is not None
    assert " 0 W to warm it, 0.0 l of water a day" in told


@pytest.mark.parametrize("intake", [IntakeSettings(), IntakeSettings(4.0, None)])
def test_without_the_air_outside_it_says_what_to_write(intake):
    assert "intake: temperature, humidity" in str(cost(space(intake=intake), 30.0))


def test_an_open_band_has_no_figure():
    own = space(intake=IntakeSettings(4.0, 70.0))
    bands = {quantity: replace(band, low=None) for quantity, band in own.bands.items()}
    assert cost(replace(own, bands=bands), 30.0) is None
