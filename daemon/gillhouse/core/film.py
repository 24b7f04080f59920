"""How wet the caps are: what falls on them of each pulse, and what dries off again. An estimate, no sensor.

Liquid water on caps, not damp air, is what blotch lives on. Nothing here decides; see `misting`.
"""

from dataclasses import dataclass

from gillhouse.core.air import humidity_ratio

HOUR_MS = 3_600_000

CROP_M2_PER_KG = 0.03
"""Cap surface of a kilogram of substrate at harvest. An invented middle of 0.02 to 0.06."""

FALLS_ON_CROP = 0.3
"""Share of the fallen drops that meets caps, the rest meets floor and walls. Invented (0.2 to
0.45)."""

DRIES_G_M2_H = 6.5
"""A film loses so much for each g/kg the air lacks of saturation: 30 g/m2 at 90 % and 16 C take 4 h, and 7 to
3.4 h with 3 to 6 W/m2K of still air (surface equation, worked out in docs/reference/control.md)."""

WET_G_M2 = 20.0
"""From here on a cap counts as wet. The threshold is invented (10 to 30)."""

MOST_G_M2 = 150.0
"""More drips off. Invented (100 to 200)."""


@dataclass(slots=True)
class Film:
    g_m2: float = 0.0
    at_ms: int = 0
    air_takes: float = 1.0
    """What the air lacked of saturation when last looked at, kg/kg: no more of a mist becomes vapour."""


def fallen(film: Film, litres: float, useful: float, crop_kg: float) -> None:
    """Adds what falls on caps of `litres` sprayed, of which the share `useful` becomes vapour."""
    if crop_kg <= 0.0:
        return
    grams = 1000.0 * litres * max(1.0 - useful, 0.0) * FALLS_ON_CROP
    film.g_m2 = min(film.g_m2 + grams / (CROP_M2_PER_KG * crop_kg), MOST_G_M2)


def dry(film: Film, temperature_c: float, ratio: float, mono_ms: int) -> None:
    """Lets the time since the last call dry the film, or wet it where the air is over saturation."""
    hours = max(mono_ms - film.at_ms, 0) / HOUR_MS
    film.at_ms = mono_ms
    lacking = humidity_ratio(temperature_c, 100.0) - ratio
    film.air_takes = max(lacking, 0.0)
    film.g_m2 = min(max(film.g_m2 - DRIES_G_M2_H * 1000.0 * lacking * hours, 0.0), MOST_G_M2)


def is_wet(film: Film) -> bool:
    return film.g_m2 >= WET_G_M2
