"""Invented weather: seeded, smooth, the same for the same seed. No place on earth had it.

Here: the air outdoors, and the air of the house a tent stands in. Each is a few slow waves plus a drift with
a memory of some minutes, laid out minute by minute at the start and read between minutes in straight lines.
Indoor ranges follow the trial's room reference: 17 to 23 C, as much water as outdoors and 0.5 to 2 g/kg more,
450 to 900 ppm and higher in the evening [invented].
"""

from dataclasses import dataclass
from math import cos, exp, pi
from random import Random

from gillhouse.sim.moist import ratio_of, saturation_ratio
from gillhouse.sim.room import Outside

MINUTE_S = 60
COLDEST_HOUR = 5.5
"""Local hour at which the invented day is coldest."""


def drift(rng: Random, minutes: int, spread: float, memory_min: float) -> list[float]:
    """A wandering value around 0, one per minute.

    Args:
        spread: its standard deviation in the long run.
        memory_min: time over which it forgets (first order).
    """
    keep = exp(-1.0 / memory_min)
    push = spread * (1.0 - keep * keep) ** 0.5
    value = rng.gauss(0.0, spread)
    values = []
    for _ in range(minutes):
        values.append(value)
        value = keep * value + rng.gauss(0.0, push)
    return values


@dataclass(frozen=True, slots=True)
class Climate:
    """What kind of day is invented."""

    mean_c: float = 14.5
    swing_c: float = 2.0
    """Half of the difference between afternoon and before dawn."""
    dew_gap_c: float = 5.0
    """How far the dew point lies below the day's mean temperature."""
    wind_m_s: float = 2.0
    co2_ppm: float = 428.0


AUTUMN = Climate()
"""A mild, overcast night in October."""
FROST = Climate(mean_c=-2.0, swing_c=3.0, dew_gap_c=3.0, wind_m_s=3.0)
"""A hard winter night: cold, dry and windy. Every cubic metre of fresh air has to be warmed and wetted."""
SPRING = Climate(mean_c=11.0, swing_c=6.0, dew_gap_c=9.0, wind_m_s=3.5)
"""Sun by day, clear at night: dry air, and much to and fro."""
SUMMER = Climate(mean_c=24.0, swing_c=5.0, dew_gap_c=4.0, wind_m_s=1.5)
"""Warm and close. Fresh air brings water and heat into a cool room."""
SEASONS: dict[str, Climate] = {"winter": FROST, "spring": SPRING, "summer": SUMMER, "autumn": AUTUMN}
"""Invented, each a kind of night and not a place's."""


class Weather:
    """Air outdoors and indoors at any second of the trial."""

    def __init__(self, seed: int, start_hour: float, hours: float, climate: Climate = AUTUMN) -> None:
        """
        Args:
            start_hour: local hour of the day at second 0.
            hours: how long it is laid out for.
        """
        self.climate = climate
        self._start_hour = start_hour
        minutes = int(hours * 60) + 3
        rng = Random(f"weather {seed}")
        self._temperature = drift(rng, minutes, 0.8, 90.0)
        self._dew = drift(rng, minutes, 0.6, 120.0)
        self._gust = drift(rng, minutes, 0.4, 4.0)
        self._calm = drift(rng, minutes, 12.0, 40.0)
        self._house = drift(rng, minutes, 0.4, 60.0)
        self._people = drift(rng, minutes, 25.0, 30.0)

    def _hour(self, second: float) -> float:
        return (self._start_hour + second / 3600.0) % 24.0

    def outdoors(self, second: float) -> Outside:
        """The open air."""
        climate, hour = self.climate, self._hour(second)
        wave = cos(2.0 * pi * (hour - COLDEST_HOUR) / 24.0)
        temperature = climate.mean_c - climate.swing_c * wave + _between(self._temperature, second)
        dew = climate.mean_c - climate.dew_gap_c + _between(self._dew, second)
        ratio = min(saturation_ratio(dew), 0.99 * saturation_ratio(temperature))
        breeze = climate.wind_m_s * (1.0 - 0.45 * wave)
        wind = max(0.1, breeze * (1.0 + _between(self._gust, second)))
        # At night the air near the ground keeps what soil breathes out [common practice, no source].
        co2 = climate.co2_ppm + 25.0 * max(0.0, wave) + abs(_between(self._calm, second))
        sun_w = max(0.0, -wave - 0.1) * 600.0
        return Outside(temperature, ratio, co2, wind, sun_w)

    def indoors(self, second: float) -> Outside:
        """The heated shed a tent stands in: somebody works there in the evening, it is shut at night."""
        hour = self._hour(second)
        evening = exp(-(((hour - 21.0 + 12.0) % 24.0 - 12.0) ** 2) / 8.0)
        temperature = 19.5 + 1.2 * evening + _between(self._house, second)
        ratio = self.outdoors(second).ratio + 0.0008 + 0.0008 * evening
        ratio = min(ratio, ratio_of(temperature, 90.0))
        co2 = 460.0 + 150.0 * evening + _between(self._people, second)
        return Outside(temperature, ratio, co2, 0.1)


def _between(values: list[float], second: float) -> float:
    place = second / MINUTE_S
    index = min(int(place), len(values) - 2)
    share = min(1.0, place - index)
    return values[index] + (values[index + 1] - values[index]) * share
