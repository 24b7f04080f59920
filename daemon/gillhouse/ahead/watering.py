"""When an open space wants water next, from a fed forecast; a dry wind tomorrow; weighed logs and bags.

Here: how the account of the caps (`core.caps`, kept by the running daemon) goes on with the hours a
forecast gives, and what weighing says. The account itself is the daemon's alone: nothing here keeps a
second one. Not here: the call for the hose at the moment (`core.hosing`).

Weakness: the same equation as the account's, so it ranks hours better than it tells litres; how much rain
gets under a roof is not known, so rain counts only in an open space.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from itertools import pairwise
from statistics import fmean
from typing import Final

from gillhouse.ahead.evaporation import SHELTERS, Cover, shade_mm_day
from gillhouse.ahead.weather import GAUGE_M, WeatherHour
from gillhouse.core.caps import EDGE_WIND, GUESSED_WIND_M_S
from gillhouse.core.drying import wind_at_2m
from gillhouse.core.settings import HoseSettings

DRY_WIND_SHARE: Final = 1.5
"""So much more drying than lately is a dry wind. Our choice, no source."""
DRY_WIND_LEAST_MM_DAY: Final = 0.5
"""Under this no wind is called dry. Our choice, no source."""
COLDEST_HOSE_C: Final = 1.0
"""At or under it nobody hoses: ice on caps, burst nozzles. Common practice, no source."""
WEIGHT_LOSS_PCT: Final = 10.0
"""A log that lost so much of its first weight is watered (Hill, University of Kentucky FOR-83)."""


@dataclass(frozen=True, slots=True)
class DueWater:
    """One watering to come."""

    hour: int
    """Index in the forecast."""
    mm: float
    """What is gone then, and so what to put back."""
    why: str


@dataclass(frozen=True, slots=True)
class DryWind:
    mm_day: float
    usual_mm_day: float

    @property
    def times(self) -> float:
        return self.mm_day / self.usual_mm_day


def edge_mm_h(hour: WeatherHour, wind_share: float) -> float:
    """Drying in the shade at the windy edge, mm an hour."""
    wind = GUESSED_WIND_M_S if hour.wind_m_s is None else hour.wind_m_s
    felt = EDGE_WIND * wind_share * wind_at_2m(wind, GAUGE_M)
    return shade_mm_day(hour.temp_c, hour.humidity_pct, felt) / 24.0


def upcoming(
    left_mm: float, hours: Sequence[WeatherHour], hose: HoseSettings, cover: Cover, pace: float = 1.0
) -> list[DueWater]:
    """Every watering the forecast asks for, each taken as given when due.

    Args:
        left_mm: on the caps now by the daemon's account; under zero they have given of their own.
        pace: how much faster this place dries than reckoned, by the account.
    """
    water, found, taken = left_mm, [], 0.0
    share = hose.shelter if cover is Cover.SHADED else SHELTERS[cover].wind_share
    for at, hour in enumerate(hours):
        loss = edge_mm_h(hour, share) * pace
        rain = hour.rain_mm or 0.0
        water = min(water - loss + (rain if cover is Cover.OPEN else 0.0), hose.film_mm)
        taken += loss
        if water > -hose.spare_mm or hour.temp_c <= COLDEST_HOSE_C:
            continue
        wind = "wind guessed" if hour.wind_m_s is None else f"wind {hour.wind_m_s:.0f} m/s"
        why = f"{taken:.2f} mm dried since; {hour.temp_c:.0f} C, {hour.humidity_pct:.0f} %, {wind}"
        found.append(DueWater(at, hose.film_mm - water, why))
        water, taken = hose.film_mm, 0.0
    return found


def dry_wind(
    tomorrow: Sequence[WeatherHour], lately: Iterable[WeatherHour], wind_share: float
) -> DryWind | None:
    """A day that dries much more than the last ones; None where it does not, or nothing is known of them.

    Lately is reckoned with the same wind where it was not measured, so that a guess does not make a storm.
    """
    before = list(lately)
    if not tomorrow or not before:
        return None
    windless = all(hour.wind_m_s is None for hour in before)
    felt = [_with_wind(hour, None) for hour in tomorrow] if windless else list(tomorrow)
    coming = 24.0 * fmean(edge_mm_h(hour, wind_share) for hour in felt)
    usual = 24.0 * fmean(edge_mm_h(hour, wind_share) for hour in before)
    if usual <= 0.0 or coming < DRY_WIND_LEAST_MM_DAY or coming < DRY_WIND_SHARE * usual:
        return None
    return DryWind(coming, usual)


def _with_wind(hour: WeatherHour, wind_m_s: float | None) -> WeatherHour:
    return WeatherHour(
        hour.month, hour.day, hour.hour, hour.temp_c, hour.humidity_pct, wind_m_s, hour.sun_w_m2, hour.rain_mm
    )


@dataclass(frozen=True, slots=True)
class Weighed:
    """A log or bag on the scale."""

    kg: float
    mm_since: float
    """Shade evaporation reckoned since the weighing before; 0 at the first."""


@dataclass(frozen=True, slots=True)
class BagOutlook:
    lost_pct: float
    """Of its first weight."""
    is_due: bool
    kg_per_mm: float | None
    """What it truly gives for each reckoned mm; None until two weighings say so."""
    days_left: float | None


def bag_outlook(weighings: Sequence[Weighed], mm_day: float) -> BagOutlook:
    """What weighing says: water when a tenth of the first weight has gone.

    The reckoned drying is corrected by the scale: what the bag lost by reckoned mm since the first
    weighing. A gain of weight (rain, a soak) begins anew.

    Args:
        mm_day: reckoned drying a day from now on.
    Raises:
        ValueError: no weighing, or one of nothing.
    """
    if not weighings or any(one.kg <= 0.0 or one.mm_since < 0.0 for one in weighings):
        raise ValueError("weighings must be over 0 kg, one at least, and drying since is 0 or more")
    begun = weighings[0]
    lost_kg = mm = 0.0
    for before, after in pairwise(weighings):
        if after.kg > before.kg:
            begun, lost_kg, mm = after, 0.0, 0.0
            continue
        lost_kg, mm = lost_kg + before.kg - after.kg, mm + after.mm_since
    lost_pct = 100.0 * lost_kg / begun.kg
    pace = lost_kg / mm if mm > 0.0 and lost_kg > 0.0 else None
    left_kg = begun.kg * WEIGHT_LOSS_PCT / 100.0 - lost_kg
    days = None if pace is None or mm_day <= 0.0 else max(left_kg, 0.0) / (pace * mm_day)
    return BagOutlook(lost_pct, lost_pct > WEIGHT_LOSS_PCT, pace, days)
