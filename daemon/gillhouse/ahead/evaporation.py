"""Drying outdoors: dryness of the air, dew point, and what wet things lose in shade and wind, for whole
years.

Here: the sums of FAO Irrigation and Drainage Paper 56 that season tables are made of, with its own
formula for saturation; the constants of the wind term are `core.drying`'s, which serves the hose hour by
hour with the formula used everywhere else in the house (they differ by less than 0.3 % between 0 and 40
degrees C). Not here: what lies on any cap.

Weakness: such equations rank days, they do not promise litres. Thirteen of them were compared in Ontario:
the dryness matters most, wind about half as much, and constants do not travel between places (Singh and
Xu, Hydrol. Process. 11:311 and 11:1465, 1997, abstracts).
"""

from dataclasses import dataclass
from enum import StrEnum
from math import exp, log
from typing import Final

from gillhouse.core.drying import (
    LATENT_MJ_PER_KG,
    PSYCHROMETRIC_KPA_PER_K,
    STILL_MM_PER_DAY_MJ,
    WIND_FACTOR,
)


class Cover(StrEnum):
    """What stands between the crop and the weather."""

    OPEN = "open"
    NETTED = "netted"
    SHADED = "shaded"


@dataclass(frozen=True, slots=True)
class Shelter:
    wind_share: float
    """Of the wind outdoors that is felt at the crop."""
    source: str


SHELTERS: Final = {
    Cover.OPEN: Shelter(1.0, "the wind as it is"),
    Cover.NETTED: Shelter(0.5, "our assumption: insect net lets half of the wind through"),
    Cover.SHADED: Shelter(0.2, "our assumption: a shaded barn lets a fifth of the wind through"),
}


def saturation_kpa(temp_c: float) -> float:
    """Source: FAO-56 equation 11."""
    return 0.6108 * exp(17.27 * temp_c / (temp_c + 237.3))


def dryness_kpa(temp_c: float, humidity_pct: float) -> float:
    """How much water the air still takes, as a pressure (vapour pressure deficit)."""
    return saturation_kpa(temp_c) * (1.0 - humidity_pct / 100.0)


def dew_point_c(temp_c: float, humidity_pct: float) -> float:
    """The same formula turned round.

    Raises:
        ValueError: humidity of 0 or less.
    """
    if humidity_pct <= 0.0:
        raise ValueError(f"humidity {humidity_pct:g} % has no dew point; give a value over 0")
    ratio = log(saturation_kpa(temp_c) * humidity_pct / 100.0 / 0.6108)
    return 237.3 * ratio / (17.27 - ratio)


def kept_warm_mm_day(temp_c: float, humidity_pct: float, wind_m_s: float) -> float:
    """Ea: what a surface held at the air's own temperature would lose, mm a day. An upper limit.

    Args:
        wind_m_s: at 2 m, or at the crop.
    Source: Penman's wind term as restated by Shuttleworth 1993.
    """
    pull = STILL_MM_PER_DAY_MJ * (1.0 + WIND_FACTOR * max(wind_m_s, 0.0))
    return pull * dryness_kpa(temp_c, humidity_pct) / LATENT_MJ_PER_KG


def shade_mm_day(temp_c: float, humidity_pct: float, wind_m_s: float) -> float:
    """E0: what a wet thing in the shade loses, mm a day; it cools while it dries, so it is less than Ea.

    Source: Penman without sunshine; slope by FAO-56 equation 13, psychrometric constant at sea level.
    """
    slope = 4098.0 * saturation_kpa(temp_c) / (temp_c + 237.3) ** 2
    share = PSYCHROMETRIC_KPA_PER_K / (slope + PSYCHROMETRIC_KPA_PER_K)
    return share * kept_warm_mm_day(temp_c, humidity_pct, wind_m_s)
