"""What warmth does for cobweb and green mould: hours told, no forecast of an outbreak.

Here: hours of temperature summed up against published figures. No published hours of wetness that start
either on mushrooms were found, so wetness is left to `cap_wet`.
"""

from collections.abc import Iterable
from itertools import pairwise
from typing import Final

GREEN_MOULD_C: Final = (30.0, 33.0, 36.0)
"""Inside a block. Oyster mycelium that has seen 36 C is infected more by Trichoderma asperellum, whose spores
also form and sprout faster there (abstract summary of a study on T. asperellum and heat). 30 and 33: steps on
the way, our choice; 30 is where this program calls somebody anyway."""

COBWEB: Final = ((15.0, 0.0), (18.0, 0.25), (25.0, 1.0), (31.0, 1 / 92.5), (34.5, 0.0))
"""Growth of Cladobotryum dendroides beside its best, at 25 C: 3 to 5 times slower at 18, none at 15 or
below, 65 to 120 times slower at 31, 34 to 35 its limit; five strains (temperature study of C. dendroides, a
Volyn university journal, abstract). The middles are taken, and straight lines between."""

SETTLE_MIN: Final = 15
SETTLED_PCT: Final = (91, 97)
NEAR_PCT: Final = 85
NEAR_M: Final = 0.5
SPORES_PER_M3: Final = 25_000
SETTLE_SOURCE: Final = "Adie, Grogan, Archer and Mills, Appl. Environ. Microbiol. 72:7212, 2006"
"""Watering or salting a cobweb patch put up to 25,000 spores into each m3 of a 75 m3 room within the hour; 91
to 97 % settled within 15 min; with fans off 85 % came down within half a metre. Damp paper over the patch
first, then salt: none found in the air."""


def hours_over(hourly_c: Iterable[float], limits_c: Iterable[float] = GREEN_MOULD_C) -> dict[float, int]:
    """How many hours were over each limit."""
    temps = list(hourly_c)
    return {limit: sum(temp > limit for temp in temps) for limit in limits_c}


def cobweb_share(temp_c: float) -> float:
    """How fast cobweb grows at a temperature beside its best: 0 to 1."""
    for (cool, slow), (warm, fast) in pairwise(COBWEB):
        if cool <= temp_c <= warm:
            return slow + (fast - slow) * (temp_c - cool) / (warm - cool)
    return 0.0


def cobweb_hours(hourly_c: Iterable[float]) -> float:
    """Hours of growth, counted as hours at its best temperature."""
    return sum(cobweb_share(temp_c) for temp_c in hourly_c)
