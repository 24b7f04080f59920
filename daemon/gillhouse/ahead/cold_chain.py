"""The clock that runs after picking: weight lost, days left, hours too warm.

Here: published points and the sums over the hours since the pick. Not here: where temperatures come from.

Life is used up hour by hour: an hour takes 1/life of its temperature, straight between published points
in 1/life, and held at the ends. Hours warmer than the warmest point cannot be reckoned truly: what is left
is then an upper limit and says so. Weight loss is straight between the ends printed. Weakness:
"life" depends on whose standard it is (another test kept button 10 days at 1 to 5 C and 4 at 25), so the
source stands with the number; loss does not stop at 100 % humidity, since mushrooms make their own heat,
so humidity alone promises nothing.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Final

WILTED_PCT: Final = 5.0
"""Looks wilted (Mahajan, Oliveira and Macedo, J. Food Eng., doi 10.1016/j.jfoodeng.2007.05.021, abstract)."""
WARM_C: Final = 5.0
"""Hours over this since picking are told: at 20 C button breathes some four times as much (UC Davis)."""
BEYOND_C: Final = 1.0
"""So much over the warmest published point still counts as it."""
NOT_SOURCED: Final = "not sourced: uses your log only"


@dataclass(frozen=True, slots=True)
class LifePoint:
    temp_c: float
    least_days: float
    most_days: float


@dataclass(frozen=True, slots=True)
class LossPoint:
    temp_c: float
    g_per_kg_h: float


@dataclass(frozen=True, slots=True)
class Keeping:
    """What is published of a species after picking."""

    life: Sequence[LifePoint] = ()
    life_source: str = ""
    loss: Sequence[LossPoint] = ()
    loss_source: str = ""
    chills_under_c: float | None = None
    chills_source: str = ""


_KING = "Jitareerat and others, Acta Hortic. 1213:251, 2018, abstract: wrapped trays"
KEEPING: Final = {
    "button": Keeping(
        (LifePoint(1.5, 5.0, 7.0), LifePoint(4.5, 2.0, 2.0)),
        "Suslow and Cantwell, UC Davis: Mushroom produce facts",
        (LossPoint(4.0, 0.108), LossPoint(20.0, 0.792)),
        "Rux and others, Postharvest Biol. Technol. 108:102, 2015, abstract; at 100 %, drier takes more",
    ),
    "grey-oyster": Keeping(
        (LifePoint(4.0, 15.0, 15.0),),
        _KING,
        (LossPoint(2.0, 0.52), LossPoint(18.0, 3.88)),
        "J. Food Eng., doi 10.1016/j.jfoodeng.2017.05.026: 2 C at 100 % to 18 C at 86 %; between, ours",
    ),
    "king-oyster": Keeping((LifePoint(4.0, 28.0, 28.0),), _KING),
    "shiitake": Keeping(
        (LifePoint(4.0, 10.0, 12.0), LifePoint(27.5, 2.0, 3.0)),
        "a growers' page, weak",
    ),
}


@dataclass(frozen=True, slots=True)
class Kept:
    """Hours at one temperature, in order since the pick."""

    hours: float
    temp_c: float


@dataclass(frozen=True, slots=True)
class Clock:
    """How a picked lot stands."""

    hours: float
    warm_h: float
    """Over 5 C."""
    lost_pct: float | None
    """Of its weight, reckoned; None: not sourced."""
    hours_to_wilted: float | None
    """At the last temperature."""
    days_left: tuple[float, float] | None
    """At the last temperature; (0, 0): over."""
    is_upper_limit: bool
    """Hours too warm to reckon are in it."""
    sources: tuple[str, ...]


def clock(species: str, kept: Sequence[Kept]) -> Clock:
    """The clock of a lot.

    Args:
        kept: one at least.
    Raises:
        ValueError: no hours, negative ones, or a temperature no store has.
    """
    if not kept:
        raise ValueError("no hours since the pick; give at least one temperature")
    for one in kept:
        if one.hours < 0.0 or not -10.0 <= one.temp_c <= 50.0:
            raise ValueError(
                f"{one.hours:g} h at {one.temp_c:g} C cannot be; hours from 0 on, temperatures from -10 to 50"
            )
    known = KEEPING.get(species, Keeping())
    hours = sum(one.hours for one in kept)
    warm_h = sum(one.hours for one in kept if one.temp_c > WARM_C)
    lost = (
        None
        if not known.loss
        else sum(one.hours * loss_g_per_kg_h(known.loss, one.temp_c) for one in kept) / 10.0
    )
    to_wilted = None
    if lost is not None:
        to_wilted = max(WILTED_PCT - lost, 0.0) * 10.0 / loss_g_per_kg_h(known.loss, kept[-1].temp_c)
    sources = tuple(source for source in (known.life_source, known.loss_source) if source) or (NOT_SOURCED,)
    left, upper = _days_left(known.life, kept)
    return Clock(hours, warm_h, lost, to_wilted, left, upper, sources)


def loss_g_per_kg_h(points: Sequence[LossPoint], temp_c: float) -> float:
    """Weight lost, straight between the printed ends; held beyond them."""
    first, last = points[0], points[-1]
    share = min(max((temp_c - first.temp_c) / (last.temp_c - first.temp_c), 0.0), 1.0)
    return first.g_per_kg_h + share * (last.g_per_kg_h - first.g_per_kg_h)


def hours_to_loss(g_per_kg_h: float, lost_pct: float = WILTED_PCT) -> float:
    """Hours until so much of the weight is gone at one pace.

    Raises:
        ValueError: nothing is lost.
    """
    if g_per_kg_h <= 0.0:
        raise ValueError(f"a loss of {g_per_kg_h:g} g/kg/h never gets anywhere; give one over 0")
    return lost_pct * 10.0 / g_per_kg_h


def _days_left(points: Sequence[LifePoint], kept: Sequence[Kept]) -> tuple[tuple[float, float] | None, bool]:
    if not points:
        return None, False
    upper = any(one.hours > 0.0 and one.temp_c > points[-1].temp_c + BEYOND_C for one in kept)
    left = []
    for ends in ([point.least_days for point in points], [point.most_days for point in points]):
        temps = [point.temp_c for point in points]
        used = sum(one.hours / 24.0 / _life_days(temps, ends, one.temp_c) for one in kept)
        left.append(max(1.0 - used, 0.0) * _life_days(temps, ends, kept[-1].temp_c))
    return (left[0], left[1]), upper


def _life_days(temps: Sequence[float], days: Sequence[float], temp_c: float) -> float:
    """Straight in 1/days between points, held at the ends."""
    if temp_c <= temps[0]:
        return days[0]
    for (low_c, high_c), (low, high) in zip(pairwise(temps), pairwise(days), strict=True):
        if temp_c <= high_c:
            share = (temp_c - low_c) / (high_c - low_c)
            return 1.0 / (1.0 / low + share * (1.0 / high - 1.0 / low))
    return days[-1]
