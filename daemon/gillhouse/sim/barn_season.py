"""A made-up season of an open barn, hour by hour: its weather, its caps, its slugs and its gnats as they
truly are.

Here: what happens, seeded, the same for the same seed. Not here, on purpose: anything of
`gillhouse.ahead` or of the core's physics, so that what is foretold can be wrong. Every figure is
invented but the gnats' days (Bradysia on oyster mycelium, Korean J. Appl. Entomol. 1998,
JAKO199811920246943): each gnat needs somewhat more or less than printed, and caps dry by a factor of the
place that nobody is told.
"""

from dataclasses import dataclass
from itertools import pairwise
from math import cos, exp, pi
from random import Random

from gillhouse.sim.moist import saturation_pa
from gillhouse.sim.weather import drift

DAYS = 84
HOURS = DAYS * 24
FIRST_C, LAST_C = 8.0, 18.0
SWING_C = 5.0
OPENED_DAY = 3
EGGS = 40
LAID_OVER_H = 120
GNAT_DAYS = ((10.0, 60.8), (15.0, 40.6), (20.0, 22.2), (25.0, 19.9), (28.0, 19.1))
GNAT_ZERO_C = 2.0
GNAT_SPREAD = 0.08
FILM_MM = 0.15
EDGE_SHARE = 0.5
"""Of the wind outdoors, over the caps of the windy edge."""
COOLED_SHARE = 0.38
"""Of what a warm surface would lose."""
WET_FLOOR_H = 3
"""The floor stays wet so long after the hose."""
SLUGS_AN_HOUR = 1.6


@dataclass(frozen=True, slots=True)
class BarnHour:
    temp_c: float
    humidity_pct: float
    wind_m_s: float
    """Outdoors."""


class BarnSeason:
    """From the first hour to the last; `pass_hour` goes through them in order."""

    def __init__(self, seed: int) -> None:
        self._rng = Random(f"barn season {seed}")
        self._dries = self._rng.uniform(0.75, 1.35)
        self.hours = self._laid_out()
        self.flies_at = self._gnats()
        """Hours at which a gnat comes out, in order; those of the season only."""
        self.water_mm = 0.0
        self._hosed_at = -WET_FLOOR_H - 1

    def _laid_out(self) -> list[BarnHour]:
        """Weather comes and goes over days: damp and mild, then dry and windy."""
        warm = drift(self._rng, HOURS, 2.5, 60.0)
        damp = drift(self._rng, HOURS, 10.0, 36.0)
        gust = drift(self._rng, HOURS, 1.6, 12.0)
        found = []
        for at in range(HOURS):
            middle = FIRST_C + (LAST_C - FIRST_C) * at / HOURS + warm[at]
            daily = cos(2.0 * pi * (at % 24 - 15) / 24.0)
            humidity = min(max(82.0 - 13.0 * daily + damp[at], 25.0), 99.0)
            wind = max(3.0 + gust[at] - 0.12 * damp[at], 0.0)
            found.append(BarnHour(middle + SWING_C * daily, humidity, wind))
        return found

    def _gnats(self) -> list[int]:
        found = []
        for _ in range(EGGS):
            at = OPENED_DAY * 24 + self._rng.randrange(LAID_OVER_H)
            left = min(max(self._rng.gauss(1.0, GNAT_SPREAD), 0.8), 1.25)
            while left > 0.0 and at < HOURS:
                left -= _grown(self.hours[at].temp_c) / 24.0
                at += 1
            if left <= 0.0:
                found.append(at)
        return sorted(found)

    def hose(self, at: int) -> None:
        self.water_mm, self._hosed_at = FILM_MM, at

    def pass_hour(self, at: int) -> None:
        """Caps of the windy edge lose what this hour takes; under zero they give of their own."""
        hour = self.hours[at]
        dry_kpa = saturation_pa(hour.temp_c) / 1000.0 * (1.0 - hour.humidity_pct / 100.0)
        pull = 2.6 * (1.0 + 0.54 * EDGE_SHARE * hour.wind_m_s) * dry_kpa
        self.water_mm = max(self.water_mm - self._dries * COOLED_SHARE * pull / 24.0, -1.0)

    def slugs_in(self, at: int) -> int:
        """Slugs a torch would find on account of this hour."""
        hour = self.hours[at]
        wet = hour.humidity_pct >= 88.0 or at - self._hosed_at <= WET_FLOOR_H
        if not is_dark(at) or not wet or not 3.0 <= hour.temp_c <= 22.0 or hour.wind_m_s > 5.0:
            return 0
        return _poisson(self._rng, SLUGS_AN_HOUR)


def is_dark(at: int) -> bool:
    """Of the season's hours; the year is around its equinox."""
    return at % 24 < 6 or at % 24 >= 19


def _grown(temp_c: float) -> float:
    """Share of a gnat's life a day."""
    first_c, first_days = GNAT_DAYS[0]
    if temp_c <= first_c:
        return max(temp_c - GNAT_ZERO_C, 0.0) / (first_c - GNAT_ZERO_C) / first_days
    for (low_c, low), (high_c, high) in pairwise(GNAT_DAYS):
        if temp_c <= high_c:
            share = (temp_c - low_c) / (high_c - low_c)
            return 1.0 / low + share * (1.0 / high - 1.0 / low)
    return 1.0 / GNAT_DAYS[-1][1]


def _poisson(rng: Random, mean: float) -> int:
    """Knuth's way (The Art of Computer Programming, volume 2, 3.4.1)."""
    limit, product, count = exp(-mean), rng.random(), 0
    while product > limit:
        product *= rng.random()
        count += 1
    return count
