"""Moist air, as the trial run's own physics sees it.

Here: saturation pressure, humidity ratio, relative humidity, dew point, and the constants of air and water.
Not here, on purpose: `gillhouse.core.air`. The two use different equations, so neither can hide the other's
error; `tests/sim` checks these against psychrolib.
"""

from math import exp, log

PRESSURE_PA = 101_325.0
"""Standard atmosphere at sea level."""
AIR_KG_M3 = 1.19
"""Dry air in a cubic metre of room air at about 18 C."""
AIR_J_KGK = 1_006.0
"""Heat capacity of dry air."""
LATENT_J_KG = 2.45e6
"""Latent heat of water at about 20 C (2501 - 2.326 T kJ/kg gives 2.459e6 at 18 C)."""

_A_PA = 610.94
_B = 17.625
_C = 243.04
_MASS_RATIO = 0.622
"""Molar mass of water over that of dry air."""


def saturation_pa(temperature_c: float) -> float:
    """Saturation vapour pressure over water, Pa, within 0.4 % from 0 to 40 C.

    Source: Magnus form, coefficients of Alduchov and Eskridge 1996 (from memory; checked against psychrolib).
    """
    return _A_PA * exp(_B * temperature_c / (temperature_c + _C))


def saturation_ratio(temperature_c: float) -> float:
    """Humidity ratio of saturated air, kg of water per kg of dry air."""
    vapour = _A_PA * exp(_B * temperature_c / (temperature_c + _C))
    return _MASS_RATIO * vapour / (PRESSURE_PA - vapour)


def saturation_ratio_slope(temperature_c: float, ratio: float) -> float:
    """How fast `saturation_ratio` grows with temperature, 1/K, where its value is `ratio`.

    The derivative of the Magnus form, carried through w = 0.622 e / (p - e).
    """
    per_k = _B * _C / (temperature_c + _C) ** 2
    return ratio * per_k * (1.0 + ratio / _MASS_RATIO)


def humidity_pct(temperature_c: float, ratio: float) -> float:
    """Relative humidity of air at `temperature_c` that holds `ratio`; over 100 where it is fog."""
    vapour = PRESSURE_PA * ratio / (_MASS_RATIO + ratio)
    return 100.0 * vapour / saturation_pa(temperature_c)


def ratio_of(temperature_c: float, humidity: float) -> float:
    """Humidity ratio of air at `temperature_c` and `humidity` percent."""
    vapour = humidity / 100.0 * saturation_pa(temperature_c)
    return _MASS_RATIO * vapour / (PRESSURE_PA - vapour)


def dew_point_c(ratio: float) -> float:
    """Temperature at which air holding `ratio` is saturated: the Magnus form, inverted."""
    vapour = PRESSURE_PA * ratio / (_MASS_RATIO + ratio)
    x = log(vapour / _A_PA)
    return _C * x / (_B - x)
