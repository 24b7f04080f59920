"""How long a fan should run each hour while nothing commands it: the box dead, the board alone.

Here: the sum, from the weight of the crop. Not here: making it run; that is a repeat timer's or the board's
own work, and the config says so (`SafeAir`). Too little harms people, too much dries the crop, so it is never
all the time unless the fan is too small. The most the batch may breathe counts, no leakage (a guess) and no
crop's ceiling, but half of the limit for people over 8 hours: the other half is for the minutes between two
runs and for corners that are badly mixed. Our choice.
"""

from math import ceil, isinf
from typing import Final

from gillhouse.core.breath import breath
from gillhouse.core.quantities import Quantity
from gillhouse.core.settings import FarmSettings, Role, SpaceKind, SpaceSettings
from gillhouse.core.sizing import BALANCE, Line, Question
from gillhouse.core.ventilation import needed_flow, source_m3_per_h

CEILING_PPM: Final = 2_500.0
"""Half of 5,000 ppm, the 8-hour limit of OSHA, NIOSH, ACGIH and HSE."""
ASSUMED_C: Final = 18.0
LEAST_MIN: Final = 1
HOUR_MIN: Final = 60.0


def minutes_per_h(grams_per_h: float, temperature_c: float, intake_ppm: float, fan_m3_per_h: float) -> float:
    """Minutes of fan in each hour that hold CO2 at `CEILING_PPM` in the mean; 60 where the fan is too small.

    Source: the mean flow of a fully mixed space, Q = 1e6 G / (C - Co) (S. Batterman, Int. J. Environ. Res.
    Public Health 14:145, 2017), as a share of the hour.
    """
    flow = needed_flow(source_m3_per_h(grams_per_h, temperature_c), CEILING_PPM, intake_ppm)
    if fan_m3_per_h <= 0.0 or isinf(flow):
        return HOUR_MIN
    return min(HOUR_MIN * flow / fan_m3_per_h, HOUR_MIN)


def fan_of(farm: FarmSettings, space: SpaceSettings) -> float:
    """Flow of a space's fresh-air fans, a shared one's included, m3/h."""
    own = sum(
        relay.air_m3_per_h
        for relay in farm.relays.values()
        if relay.space == space.id and relay.role is Role.FAN
    )
    shared = [air.fan for air in farm.shared_air.values() if space.id in air.dampers]
    return own + sum(farm.relays[fan].air_m3_per_h for fan in shared)


def minutes_for(farm: FarmSettings, space: SpaceSettings) -> int | None:
    """Whole minutes of fan an hour for a space; None where it has no fan to run, or no crop."""
    fan_m3_per_h = fan_of(farm, space)
    if fan_m3_per_h <= 0.0 or space.crop_kg <= 0.0 or space.kind is SpaceKind.OPEN:
        return None
    band = space.bands.get(Quantity.TEMPERATURE)
    edges = [edge for edge in (band.low, band.high) if edge is not None] if band else []
    warm_c = sum(edges) / len(edges) if edges else ASSUMED_C
    warm_c = band.target if band is not None and band.target is not None else warm_c
    most = breath(space.species, space.stage).grams_per_h(space.crop_kg, warm_c)[2]
    minutes = minutes_per_h(most, warm_c, space.intake.co2_ppm, fan_m3_per_h)
    return max(ceil(round(minutes, 6)), LEAST_MIN)


def line(asked: Question) -> Line | None:
    """The working of it, for `gillhouse size`; None without a fan."""
    if asked.fan_m3_per_h <= 0.0:
        return None
    inside_c = asked.inside.temperature_c
    grams = asked.breath.grams_per_h(asked.kg, inside_c)
    few, likely, most = (minutes_per_h(one, inside_c, asked.intake_ppm, asked.fan_m3_per_h) for one in grams)
    return Line(
        "fan while this box is dead, a minutes-per-hour timer of its own",
        "60 x 1e6 G / (C - Co) / fan, with the most G may be",
        f"60 x 1e6 x {source_m3_per_h(grams[2], inside_c):.4g} / ({CEILING_PPM:g} - {asked.intake_ppm:g}) /"
        f" {asked.fan_m3_per_h:g}; likely {likely:.2g}",
        most,
        few,
        most,
        "min each hour",
        f"{BALANCE}; C is half of the 8-hour limit for people, no leak counted (our choice)",
        "as sure as G; for people and crop to get through a night, not to grow",
    )
