"""Cold blocks in warm moist air: whether dew forms on them, and for how long.

Here: a block as one lump that warms up, and the watch over blocks that came in cold. Not here: what is done
about it (advice only). The lump errs on the safe side: a real block's skin warms before its core, and the dew
itself gives heat off, so the time told is rather too long. Blocks packed tightly are slower.
"""

from dataclasses import dataclass
from math import cbrt, exp, inf, log

from gillhouse.core.air import dew_point_c

HEAT_PER_KG = 3200.0
"""Of a wet block, J/(kg K): 65 % water at 4190 and 35 % dry wood at about 1300 to 1500. From memory."""

KG_PER_M3 = 600.0
"""A block with its pores. From memory."""

SURFACE_W_PER_M2_K = 1.0 / 0.13
"""Still indoor air at a wall, convection and radiation together: a surface resistance of 0.13 m2 K/W, as
ISO 6946 has it for heat flow sideways. From memory."""

BLOCK_KG = 3.0
"""Where the grower does not say: a common size. Common practice, no source."""

WATCH_MS = 86_400_000
"""Blocks that came in cold are watched for a day at most."""

MARGIN_K = 0.3
"""A surface this near to the dew point counts as wet: a cheap sensor's error."""


@dataclass(slots=True)
class ColdWatch:
    """Blocks of one batch on their way to the air's temperature."""

    begun_wall_ms: int
    start_c: float
    block_kg: float
    block_c: float
    """Where they are now, by reckoning."""
    reckoned_wall_ms: int


def time_constant_s(block_kg: float) -> float:
    """How slowly a block follows the air: after this time 63 % of the way is gone.

    A cube of the block's volume, air on all sides.
    """
    side_m = cbrt(block_kg / KG_PER_M3)
    return block_kg * HEAT_PER_KG / (SURFACE_W_PER_M2_K * 6.0 * side_m * side_m)


def warmed_c(block_c: float, air_c: float, seconds: float, block_kg: float) -> float:
    """The block's temperature after `seconds` in air of `air_c`."""
    return air_c + (block_c - air_c) * exp(-max(seconds, 0.0) / time_constant_s(block_kg))


def wet_h(block_c: float, air_c: float, humidity_pct: float, block_kg: float) -> float:
    """Hours until the block is warmer than the air's dew point (and a margin), if the air stays as it is.

    Returns: 0 where it is dry already; inf where air so near saturation never lets it dry.
    """
    if humidity_pct <= 0.0:
        return 0.0
    dew_c = dew_point_c(air_c, min(humidity_pct, 100.0)) + MARGIN_K
    if block_c >= dew_c:
        return 0.0
    if dew_c >= air_c:
        return inf
    return time_constant_s(block_kg) / 3600.0 * log((air_c - block_c) / (air_c - dew_c))
