"""How fast a wet cap dries in the shade: from the air's warmth and dryness, and the wind.

Here: equations alone. Not here: what lies on the caps of which space (`caps`). Penman's equation without
sunshine: the wind and the dryness pull water off, and the wet thing cools while it gives it, so it dries at
a third to a half of what its air would take from something kept warm. Constants of such equations do not
travel well from place to place (thirteen of them compared by Singh and Xu, Hydrol. Process. 11, 1997), so
the figures rank hours and days; how this barn really dries is learnt (see `caps`). A film one millimetre
thick is one kilogram of water per square metre.
"""

from math import log
from typing import Final

from gillhouse.core.air import deficit_kpa, saturation_pa

LATENT_MJ_PER_KG: Final = 2.45
PSYCHROMETRIC_KPA_PER_K: Final = 0.0674
"""At sea level (FAO Irrigation and Drainage Paper 56, table 2.2, 0 m)."""
WIND_FACTOR: Final = 0.536
"""Share added per m/s, Penman's wind term as restated by Shuttleworth (1993)."""
STILL_MM_PER_DAY_MJ: Final = 6.43
"""MJ per m2, day and kPa: the same term in still air."""
HOURS_A_DAY: Final = 24.0


def kept_warm_mm_per_day(temperature_c: float, humidity_pct: float, wind_m_s: float) -> float:
    """What the air would take from a surface that does not cool, mm a day: the upper limit.

    Args:
        wind_m_s: at the surface's own place, m/s.
    Source: 6.43 (1 + 0.536 u) D / L, Shuttleworth 1993.
    """
    pull = STILL_MM_PER_DAY_MJ * (1.0 + WIND_FACTOR * max(wind_m_s, 0.0))
    return pull * max(deficit_kpa(temperature_c, humidity_pct), 0.0) / LATENT_MJ_PER_KG


def shade_mm_per_day(temperature_c: float, humidity_pct: float, wind_m_s: float) -> float:
    """What a wet surface in the shade gives, mm a day. Arguments as above.

    Source: Penman without radiation, g / (D + g) times the upper limit; D, the slope of the saturation curve,
    after FAO-56 equation 13.
    """
    slope_kpa_k = 4098.0 * saturation_pa(temperature_c) / 1000.0 / (temperature_c + 237.3) ** 2
    share = PSYCHROMETRIC_KPA_PER_K / (slope_kpa_k + PSYCHROMETRIC_KPA_PER_K)
    return share * kept_warm_mm_per_day(temperature_c, humidity_pct, wind_m_s)


def wind_at_2m(wind_m_s: float, height_m: float) -> float:
    """Wind at 2 m over short grass from a wind gauge higher up, m/s.

    Args:
        height_m: of the gauge, over 0.1.
    Source: FAO-56 equation 47.
    """
    return wind_m_s * 4.87 / log(67.8 * height_m - 5.42)


def hours_to_dry(film_mm: float, mm_per_h: float) -> float:
    """How long a film lasts; 0 without one, infinite where nothing dries."""
    if film_mm <= 0.0:
        return 0.0
    return film_mm / mm_per_h if mm_per_h > 0.0 else float("inf")
