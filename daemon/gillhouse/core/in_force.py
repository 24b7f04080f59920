"""What each space should hold now: its bands, light and fresh air, from the batches in it.

Here: the farm's settings as the controllers are to see them. A space with batches takes its figures from
them (several meet, see `bands_meet`), with the grower's own figures for the space on top; a space without
keeps what the config says. Bands under way (`ramps`) lie between. Pure: the same settings and the same crops
give the same figures, whatever the clock says; `advance` in `batch_acts` brings ramps on.
"""

from dataclasses import replace

from gillhouse.core.bands_meet import CropHere, Met, leader, meet
from gillhouse.core.batches import Batch, CropState
from gillhouse.core.crops import Band
from gillhouse.core.ramps import Ramp, between, length_ms
from gillhouse.core.settings import FarmSettings, LightSettings, SpaceKind, SpaceSettings


def in_force(settings: FarmSettings, crops: CropState) -> FarmSettings:
    """`settings` with every space as its crop wants it at this moment of its ramp."""
    if not crops.batches and not crops.ramps:
        return settings
    return replace(settings, spaces={space: held(settings, crops, space) for space in settings.spaces})


def held(settings: FarmSettings, crops: CropState, space: str) -> SpaceSettings:
    """One space as it is held at this moment."""
    wish = wished(settings, crops, space)
    ramp = crops.ramps.get(space)
    if ramp is None:
        return wish
    bands = {
        quantity: between(quantity, ramp.old.get(quantity, band), band, ramp.reached_ms)
        for quantity, band in wish.bands.items()
    }
    return replace(wish, bands=bands)


def wished(settings: FarmSettings, crops: CropState, space: str) -> SpaceSettings:
    """One space as its crop wants it, ramps left out."""
    own = settings.spaces[space]
    here = [crop for batch in crops.in_space(space) if (crop := crop_here(settings, batch)) is not None]
    if not here or own.kind is SpaceKind.COLD_STORE:  # what is kept cold no longer grows
        return own
    first, met = leader(here), meet(here)
    return replace(
        own,
        species=first.species,
        stage=first.stage,
        crop_kg=sum(crop.kg for crop in here),
        bands={
            quantity: laid_over(own.own.bands.get(quantity), band) for quantity, band in met.bands.items()
        },
        fresh_air_ach=_floor(own, met),
        light=_light(own, met),
        clashes=met.notes,
        fresh_air_m3_per_h=0.0 if own.kind is SpaceKind.OPEN else met.fresh_air_m3_per_h,
        block_core_c=met.block_core_c,
    )


def crop_here(settings: FarmSettings, batch: Batch) -> CropHere | None:
    """A batch as one crop of its space; None where its species file or stage is gone from the config."""
    species = settings.species.get(batch.species)
    profile = species.stages.get(batch.stage) if species else None
    if profile is None:
        return None
    return CropHere(batch.species, batch.stage, batch.kg, batch.priority, profile)


def way_ms(settings: FarmSettings, crops: CropState, space: str, ramp: Ramp) -> int:
    """How long the whole way of a ramp is."""
    bands = wished(settings, crops, space).bands
    return max(
        (length_ms(quantity, ramp.old.get(quantity, band), band) for quantity, band in bands.items()),
        default=0,
    )


def _floor(own: SpaceSettings, met: Met) -> float:
    if own.own.fresh_air_ach is not None:
        return own.own.fresh_air_ach
    return 0.0 if own.kind is SpaceKind.OPEN else met.fresh_air_ach


def _light(own: SpaceSettings, met: Met) -> LightSettings | None:
    if own.light is None:
        return None
    hours = met.light.hours if own.own.light_hours is None else own.own.light_hours
    return replace(own.light, hours=hours, wish=met.light)


_ORDER = ("alarm_low", "low", "target", "high", "alarm_high")
"""From the lowest edge of a band to the highest."""


def laid_over(own: Band | None, base: Band) -> Band:
    """The grower's edges over another band's, which make room where the two would cross.

    An edge of `base` on the wrong side of one of the grower's is moved to it; the other target edge keeps
    `base`'s width from the grower's, since no room can be held at a point.
    """
    mine = [] if own is None else [name for name in _ORDER if getattr(own, name) is not None]
    if own is None or not mine:
        return base
    edges: dict[str, float | None] = {name: getattr(own if name in mine else base, name) for name in _ORDER}
    width = base.high - base.low if base.low is not None and base.high is not None else 0.0
    low, high = edges["low"], edges["high"]
    if low is not None and high is not None and low >= high and not {"low", "high"} <= set(mine):
        edges["low"], edges["high"] = (low, low + width) if "low" in mine else (high - width, high)
    for name in ("low", "high", "target", "alarm_low", "alarm_high"):  # what is held comes first
        value, place = edges[name], _ORDER.index(name)
        if name in mine or value is None:
            continue
        firm = mine if name in {"low", "high"} else [*mine, "low", "high"]
        under, over = (
            [edge for other in side if other in firm and (edge := edges[other]) is not None]
            for side in (_ORDER[:place], _ORDER[place + 1 :])
        )
        edges[name] = min([max([value, *under]), *over])
    left = any(getattr(base, name) is not None for name in _ORDER if name not in mine)
    others = f"; the others: {base.source}" if left else ""
    return Band(**edges, source=f"{', '.join(mine)} {own.source}{others}")
