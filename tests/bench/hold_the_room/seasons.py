"""A season's air: fifteen days of a typical year, hour by hour, with gusts and night-time CO2 laid over it.

Source: Typical Meteorological Years (TMY3) of Greensboro, North Carolina, 723170, and, for the held-back set,
Sand Point, Alaska, 703165, of the US National Solar Radiation Data Base, as pvlib's wheel carries them. Dry
bulb, dew point, wind and global radiation are used. Between hours: straight lines. Gusts (memory of four
minutes), CO2 (higher at night, common practice, no source) and house air (17 to 23 C, outdoors and 0.5 to 2
g/kg more, 450 to 900 ppm) are the simulator's invented ones.
"""

import csv
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache
from importlib.util import find_spec
from math import cos, exp, pi
from pathlib import Path
from random import Random

from gillhouse.sim.moist import ratio_of, saturation_ratio
from gillhouse.sim.room import Outside
from gillhouse.sim.weather import COLDEST_HOUR, drift

START_HOUR = 18
"""Local hour at which a cell begins; the six hours to midnight are not scored."""
STATIONS = {"main": "723170TYA.CSV", "held-back": "703165TY.csv"}
FIRST_DAY = {"winter": (1, 10), "spring": (4, 10), "summer": (7, 10), "autumn": (10, 10)}
"""Month and day a season's fifteen days begin at."""
SEASONS = tuple(FIRST_DAY)


@dataclass(frozen=True, slots=True)
class Hour:
    """One row of the year."""

    temperature_c: float
    ratio: float
    wind_m_s: float
    sun_w_m2: float


@cache
def _year(station: str) -> tuple[tuple[tuple[int, int], Hour], ...]:
    """All hours of a station's file with their (month, day), in its order."""
    spec = find_spec("pvlib")
    if spec is None or spec.origin is None:
        raise RuntimeError("the bench's weather comes with pvlib: pip install 'gillhouse[dev]'")
    path = Path(spec.origin).parent / "data" / STATIONS[station]
    with path.open(encoding="utf-8") as file:
        next(file)
        return tuple(_hour(row) for row in csv.DictReader(file))


def _hour(row: dict[str, str]) -> tuple[tuple[int, int], Hour]:
    month, day, _ = (int(part) for part in row["Date (MM/DD/YYYY)"].split("/"))
    temperature = float(row["Dry-bulb (C)"])
    ratio = min(saturation_ratio(float(row["Dew-point (C)"])), saturation_ratio(temperature))
    return (month, day), Hour(temperature, ratio, float(row["Wspd (m/s)"]), float(row["GHI (W/m^2)"]))


class Season:
    """Air outdoors and in the house, at any second from the cell's start."""

    def __init__(self, season: str, days: float, seed: int, station: str = "main") -> None:
        year = _year(station)
        first = next(place for place, (date, _) in enumerate(year) if date == FIRST_DAY[season])
        hours = int(days * 24) + 3
        begin = first + START_HOUR - 1  # a row stands at the end of its hour: 01:00 is the first of a day
        self._hours = [hour for _, hour in (year[begin : begin + hours])]
        minutes = hours * 60 + 3
        rng = Random(f"season {season} {seed}")
        self._gust = drift(rng, minutes, 0.35, 4.0)
        self._calm = drift(rng, minutes, 12.0, 40.0)
        self._house = drift(rng, minutes, 0.5, 240.0)
        self._people = drift(rng, minutes, 30.0, 30.0)
        self._damp = drift(rng, minutes, 0.25, 240.0)

    def outdoors(self, second: float) -> Outside:
        place = second / 3600.0
        at = min(int(place), len(self._hours) - 2)
        share = min(1.0, place - at)
        before, after = self._hours[at], self._hours[at + 1]
        temperature = before.temperature_c + (after.temperature_c - before.temperature_c) * share
        ratio = before.ratio + (after.ratio - before.ratio) * share
        wind = before.wind_m_s + (after.wind_m_s - before.wind_m_s) * share
        sun = before.sun_w_m2 + (after.sun_w_m2 - before.sun_w_m2) * share
        night = cos(2.0 * pi * (self._hour(second) - COLDEST_HOUR) / 24.0)
        co2 = 425.0 + 25.0 * max(0.0, night) + abs(_between(self._calm, second))
        gust = max(0.1, wind * 0.5 * (1.0 + _between(self._gust, second)))  # near the ground, half the mast's
        return Outside(temperature, min(ratio, saturation_ratio(temperature)), co2, gust, sun)

    def house(self, second: float) -> Outside:
        """A heated house: somebody is in it in the evening."""
        evening = exp(-(((self._hour(second) - 21.0 + 12.0) % 24.0 - 12.0) ** 2) / 8.0)
        out = self.outdoors(second)
        usual = min(max(19.0 + 0.12 * (out.temperature_c - 12.0), 17.5), 22.0)
        temperature = min(max(usual + evening + _between(self._house, second), 17.0), 23.0)
        more = min(max(0.0009 + 0.0006 * evening + 0.001 * _between(self._damp, second), 0.0005), 0.002)
        ratio = min(out.ratio + more, ratio_of(temperature, 75.0))
        co2 = min(max(520.0 + 220.0 * evening + _between(self._people, second), 450.0), 900.0)
        return Outside(temperature, ratio, co2, 0.1)

    @staticmethod
    def _hour(second: float) -> float:
        return (START_HOUR + second / 3600.0) % 24.0


def _between(values: Sequence[float], second: float) -> float:
    place = second / 60.0
    at = min(int(place), len(values) - 2)
    return values[at] + (values[at + 1] - values[at]) * min(1.0, place - at)
