"""Moist air: what a humidity reading means as water, as dew point and as drying power.

Nothing here knows of sensors, bands or relays. Equations: ASHRAE Handbook, Fundamentals 2017, chapter 1,
SI edition (saturation pressure after Hyland and Wexler, 1983). Temperatures in degrees Celsius, relative
humidity in percent, pressures in pascal, humidity ratio in kg of water per kg of dry air.
"""

from math import exp, log

AIR_KG_PER_M3 = 1.19
"""Dry air in a cubic metre near 18 C and 90 % (1 / 0.840 m3/kg, ASHRAE 2017 ch. 1 eqn 26)."""

STANDARD_PA = 101_325.0
"""Standard atmosphere at sea level, Pa (ASHRAE 2017 ch. 1 eqn 3 at 0 m)."""

RATIO_OF_MASSES = 0.621945
"""Molar mass of water over that of dry air (ASHRAE 2017 ch. 1 eqn 20)."""

_KELVIN = 273.15
_TRIPLE_C = 0.01
"""Triple point of water: above it the air is saturated over liquid, at or below it over ice."""


def _ln_over_water(kelvin: float) -> float:
    return (
        -5.8002206e3 / kelvin
        + 1.3914993
        + kelvin * (-4.8640239e-2 + kelvin * (4.1764768e-5 - kelvin * 1.4452093e-8))
        + 6.5459673 * log(kelvin)
    )


def _ln_over_ice(kelvin: float) -> float:
    return (
        -5.6745359e3 / kelvin
        + 6.3925247
        + kelvin * (-9.677843e-3 + kelvin * (6.2215701e-7 + kelvin * (2.0747825e-9 - kelvin * 9.484024e-13)))
        + 4.1635019 * log(kelvin)
    )


def _slope_over_water(kelvin: float) -> float:
    return (
        5.8002206e3 / (kelvin * kelvin)
        - 4.8640239e-2
        + kelvin * (8.3529536e-5 - kelvin * 4.3356279e-8)
        + 6.5459673 / kelvin
    )


def _slope_over_ice(kelvin: float) -> float:
    return (
        5.6745359e3 / (kelvin * kelvin)
        - 9.677843e-3
        + kelvin * (1.24431402e-6 + kelvin * (6.2243475e-9 - kelvin * 3.7936096e-12))
        + 4.1635019 / kelvin
    )


def saturation_pa(temperature_c: float) -> float:
    """Pressure of water vapour in saturated air.

    Args:
        temperature_c: -100..200.
    Returns: Pa.
    Source: ASHRAE 2017 ch. 1 eqn 5 (ice) and 6 (water).
    """
    kelvin = temperature_c + _KELVIN
    return exp(_ln_over_water(kelvin) if temperature_c > _TRIPLE_C else _ln_over_ice(kelvin))


def vapour_pa(temperature_c: float, humidity_pct: float) -> float:
    """Pressure of the water vapour in the air, Pa. Source: ASHRAE 2017 ch. 1 eqn 22."""
    return humidity_pct / 100.0 * saturation_pa(temperature_c)


def ratio_from_vapour(vapour: float, pressure_pa: float = STANDARD_PA) -> float:
    """Humidity ratio, kg/kg dry air. Source: ASHRAE 2017 ch. 1 eqn 20."""
    return RATIO_OF_MASSES * vapour / (pressure_pa - vapour)


def humidity_ratio(temperature_c: float, humidity_pct: float, pressure_pa: float = STANDARD_PA) -> float:
    """Kilograms of water carried by a kilogram of dry air.

    Args:
        humidity_pct: 0..100.
    Source: ASHRAE 2017 ch. 1 eqn 20 and 22.
    """
    return ratio_from_vapour(vapour_pa(temperature_c, humidity_pct), pressure_pa)


def humidity_pct(temperature_c: float, ratio: float, pressure_pa: float = STANDARD_PA) -> float:
    """Relative humidity of air that carries `ratio`, percent; over 100 means it cannot carry it."""
    return 100.0 * pressure_pa * ratio / (RATIO_OF_MASSES + ratio) / saturation_pa(temperature_c)


def dew_point_c(temperature_c: float, humidity_pct: float) -> float:
    """The temperature at which this air begins to wet surfaces (frost point below 0.01 C).

    Args:
        humidity_pct: over 0; dry air has no dew point.
    Raises:
        ValueError: humidity of 0 or less.
    Source: ASHRAE 2017 ch. 1 eqn 5 and 6, inverted by Newton's method to 1 mK.
    """
    if humidity_pct <= 0.0:
        raise ValueError(f"humidity {humidity_pct} % has no dew point; give a value over 0")
    wanted = log(vapour_pa(temperature_c, humidity_pct))
    # Start from the Magnus form (within 0.02 K here), so that one or two steps are enough.
    magnus = wanted - log(610.94)
    guess = 243.04 * magnus / (17.625 - magnus)
    for _ in range(8):
        kelvin = guess + _KELVIN
        if guess > _TRIPLE_C:
            step = (_ln_over_water(kelvin) - wanted) / _slope_over_water(kelvin)
        else:
            step = (_ln_over_ice(kelvin) - wanted) / _slope_over_ice(kelvin)
        guess -= step
        if abs(step) < 0.001:
            break
    return guess


def deficit_kpa(temperature_c: float, humidity_pct: float) -> float:
    """Vapour pressure deficit of the air: how strongly it dries a surface of its own temperature, kPa."""
    return saturation_pa(temperature_c) * (1.0 - humidity_pct / 100.0) / 1000.0


def volume_m3_per_kg(temperature_c: float, ratio: float, pressure_pa: float = STANDARD_PA) -> float:
    """Volume of moist air that holds one kilogram of dry air, m3. Source: ASHRAE 2017 ch. 1 eqn 26."""
    return 287.042 * (temperature_c + _KELVIN) * (1.0 + 1.607858 * ratio) / pressure_pa


def grams_per_m3(temperature_c: float, humidity_pct: float) -> float:
    """Water in a cubic metre of air, g/m3. Source: the ideal gas law; molar mass of water 18.015268 g/mol."""
    return (
        1000.0
        * vapour_pa(temperature_c, humidity_pct)
        * 0.018015268
        / (8.314462618 * (temperature_c + _KELVIN))
    )
