"""Several crops in one space: the band all of them can live with, or who gives way and why.

Here: one pure function, `meet`, and the words for what it could not reconcile. Not here: who grows where
(config and batches say so), the ramp from an old band to a new one, control.

How it works: the crops are ranked, the one with declared priority first, then by kilograms. For each quantity
the first one's band is narrowed by the next ones as long as something is left of it. A crop whose band would
leave nothing gives way for that quantity and is told of as a `Clash`; those of its alarm limits that lie well
outside the band that is held (half the way to the held crops' own limit) still call somebody. Bands that only
touch leave nothing: no room can be held at a point.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from gillhouse.core.crops import Band, LightWish, Stage, StageProfile
from gillhouse.core.quantities import Quantity

UNITS: dict[Quantity, str] = {Quantity.HUMIDITY: "%", Quantity.TEMPERATURE: "degrees C", Quantity.CO2: "ppm"}
"""The quantities that have a band, and their units as a grower reads them."""


@dataclass(frozen=True, slots=True)
class CropHere:
    """One crop in the space."""

    species: str
    """Id of its species file."""
    stage: Stage
    kg: float
    """Wet blocks, kg."""
    priority: bool
    """It wins where the bands of two crops have nothing in common."""
    profile: StageProfile


@dataclass(frozen=True, slots=True)
class Clash:
    """Two crops that cannot both have what they want of one quantity."""

    quantity: Quantity
    kept: str
    """Species id of the crop whose band is held."""
    kept_stage: Stage
    kept_edges: tuple[float | None, float | None]
    """Its low and high."""
    gives_way: str
    gives_way_stage: Stage
    gives_way_edges: tuple[float | None, float | None]
    declared: bool
    """The grower gave it priority; False: it only weighs more, or comes first by name."""


@dataclass(frozen=True, slots=True)
class Met:
    """What the space should hold for all its crops."""

    bands: dict[Quantity, Band]
    fresh_air_ach: float
    """Least fresh air, air changes per hour: the highest floor of all crops."""
    light: LightWish
    notes: tuple[Clash, ...]
    fresh_air_m3_per_h: float = 0.0
    """Least fresh air by weight, all crops together; 0: no figure."""
    block_core_c: float | None = None
    """Over this inside a block somebody is called: the lowest limit of all crops."""


def meet(crops: Sequence[CropHere]) -> Met:
    """The bands, fresh air and light for all crops in one space. The order of `crops` does not matter.

    Raises:
        ValueError: `crops` is empty.
    """
    if not crops:
        raise ValueError("no crop to find a band for; give at least one")
    ranked = sorted(crops, key=_rank)
    met = {quantity: _narrow(quantity, ranked) for quantity in UNITS}
    return Met(
        bands={quantity: band for quantity, (band, _) in met.items()},
        fresh_air_ach=max(crop.profile.fresh_air_ach for crop in ranked),
        light=_light(ranked),
        notes=tuple(note for _, notes in met.values() for note in notes),
        fresh_air_m3_per_h=sum(crop.kg * crop.profile.fresh_air_m3_per_h_kg for crop in ranked),
        block_core_c=_least([core.alarm_high for crop in ranked if (core := crop.profile.block_core)]),
    )


def leader(crops: Sequence[CropHere]) -> CropHere:
    """The crop that gives way to none: the one with priority, else the heaviest, else the first by name."""
    return min(crops, key=_rank)


def explain(clash: Clash, names: Mapping[str, str]) -> str:
    """The clash in a grower's words, one line. `names`: species id -> what it is called."""
    kept, gives_way = (names.get(each, each) for each in (clash.kept, clash.gives_way))
    why = "which has priority" if clash.declared else "of which there is more; set priority to choose"
    return (
        f"{clash.quantity}: {kept} ({clash.kept_stage}) wants {_span(clash.kept_edges, clash.quantity)},"
        f" {gives_way} ({clash.gives_way_stage}) wants {_span(clash.gives_way_edges, clash.quantity)};"
        f" both cannot be had, it is kept for {kept}, {why}"
    )


def band_of(profile: StageProfile, quantity: Quantity) -> Band:
    """The profile's band of `quantity`, one of `UNITS`."""
    return {
        Quantity.HUMIDITY: profile.humidity,
        Quantity.TEMPERATURE: profile.temperature,
        Quantity.CO2: profile.co2,
    }[quantity]


def _rank(crop: CropHere) -> tuple[bool, float, str, str]:
    return (not crop.priority, -crop.kg, crop.species, crop.stage)


def _narrow(quantity: Quantity, ranked: list[CropHere]) -> tuple[Band, list[Clash]]:
    """The band of one quantity, and the crops that had to give way for it."""
    held: list[CropHere] = []
    out: list[CropHere] = []
    notes: list[Clash] = []
    for crop in ranked:
        other = next((each for each in held if _apart(quantity, each, crop)), None)
        if other is None:
            held.append(crop)
        else:
            out.append(crop)
            notes.append(_clash(quantity, other, crop))
    return _together(quantity, held, out), notes


def _apart(quantity: Quantity, one: CropHere, two: CropHere) -> bool:
    """Whether two bands have nothing in common. (Bands that meet two by two all meet: they are intervals.)"""
    first, second = band_of(one.profile, quantity), band_of(two.profile, quantity)
    if first == second:
        return False
    lows = [low for low in (_floor(first), _floor(second)) if low is not None]
    highs = [high for high in (_ceiling(first), _ceiling(second)) if high is not None]
    return bool(lows) and bool(highs) and max(lows) >= min(highs)


def _floor(band: Band) -> float | None:
    return band.alarm_low if band.low is None else band.low


def _ceiling(band: Band) -> float | None:
    return band.alarm_high if band.high is None else band.high


def _clash(quantity: Quantity, kept: CropHere, gives_way: CropHere) -> Clash:
    edges = [(_floor(band), _ceiling(band)) for band in _bands(quantity, [kept, gives_way])]
    return Clash(
        quantity,
        kept.species,
        kept.stage,
        edges[0],
        gives_way.species,
        gives_way.stage,
        edges[1],
        declared=kept.priority,
    )


def _bands(quantity: Quantity, crops: list[CropHere]) -> list[Band]:
    return [band_of(crop.profile, quantity) for crop in crops]


def _together(quantity: Quantity, held: list[CropHere], out: list[CropHere]) -> Band:
    inside, others = _bands(quantity, held), _bands(quantity, out)
    if all(band == inside[0] for band in (*inside, *others)):
        return inside[0]
    low = _most([band.low for band in inside])
    high = _least([band.high for band in inside])
    alarm_low = _most([band.alarm_low for band in inside])
    alarm_high = _least([band.alarm_high for band in inside])
    # an alarm limit without a wish on that side narrows what is held: it must not lie inside the band
    low = alarm_low if low is not None and alarm_low is not None and alarm_low > low else low
    high = alarm_high if high is not None and alarm_high is not None and alarm_high < high else high
    floor, ceiling = alarm_low if low is None else low, alarm_high if high is None else high
    outer_lows = [edge for band in others if _outside(edge := band.alarm_low, floor, alarm_low)]
    outer_highs = [edge for band in others if _outside(edge := band.alarm_high, ceiling, alarm_high)]
    aim = next((band.target for band in inside if band.target is not None), None)
    return Band(
        low=low,
        high=high,
        target=None if aim is None else _within(aim, floor, ceiling),
        alarm_low=_most([alarm_low, *outer_lows]),
        alarm_high=_least([alarm_high, *outer_highs]),
        source=_sources(quantity, held, out),
    )


def _outside(edge: float | None, held: float | None, alarm: float | None) -> bool:
    """Whether an alarm `edge` of a crop that gave way lies between half the way to `alarm` and `alarm`.

    Nearer to the edge that is held it would call somebody all the time, beyond `alarm` it changes nothing.
    """
    if edge is None or held is None or alarm is None:
        return False
    return min((held + alarm) / 2, alarm) <= edge <= max((held + alarm) / 2, alarm) and edge != held


def _most(edges: Sequence[float | None]) -> float | None:
    return max((edge for edge in edges if edge is not None), default=None)


def _least(edges: Sequence[float | None]) -> float | None:
    return min((edge for edge in edges if edge is not None), default=None)


def _within(aim: float, low: float | None, high: float | None) -> float:
    raised = aim if low is None else max(aim, low)
    return raised if high is None else min(raised, high)


def _sources(quantity: Quantity, held: list[CropHere], out: list[CropHere]) -> str:
    """Each crop's own source, once, under its name; and who gave way."""
    said = {
        f"for {crop.species}, {crop.stage}: {band_of(crop.profile, quantity).source}": None for crop in held
    }
    gone = ", ".join({f"{crop.species} ({crop.stage}) gives way": None for crop in out})
    return "; ".join((gone or "what all crops here share", *said))


def _light(ranked: list[CropHere]) -> LightWish:
    """The longest day and the brightest light any of them asks for.

    A crop that needs none takes no harm from what another needs: under 10,000 lux light does mycelium no harm
    (P. Stamets, "Growing Gourmet and Medicinal Mushrooms", 2000, p. 213).
    """
    wishes = [crop.profile.light for crop in ranked]
    longest = max(wishes, key=lambda wish: wish.hours)
    brightest = max((wish.lux for wish in wishes if wish.lux is not None), default=None)
    if brightest == longest.lux:
        return longest
    return LightWish(
        longest.hours, brightest, f"hours: {longest.source}; lux: the brightest any crop asks for"
    )


def _span(edges: tuple[float | None, float | None], quantity: Quantity) -> str:
    low, high = edges
    unit = UNITS[quantity]
    if low is not None and high is not None:
        return f"{low:g} to {high:g} {unit}"
    return f"{high:g} {unit} at most" if high is not None else f"at least {low:g} {unit}"
