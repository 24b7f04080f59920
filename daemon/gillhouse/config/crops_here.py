"""The crops a space is said to hold, brought together: their shares, and the bands they can agree on.

Here: from the entries `crop` or `crops` of a space to what `core.bands_meet` makes of them, and the figures
of a space that grows nothing. Not here: whether the entries are sound (`checks`).
"""

from collections.abc import Mapping

from gillhouse.config import farm_file as ff
from gillhouse.core.bands_meet import CropHere, Met, leader, meet
from gillhouse.core.crops import Band, LightWish, Species, Stage, StageProfile
from gillhouse.core.settings import CropShare, SpaceKind

PICKED = "picked-mushrooms"
"""Stands for a species in a space where nothing grows."""
_OPEN = Band(None, None, None, None, None, "nothing grows here")
_COLD = Band(
    1.0,
    4.0,
    None,
    None,
    None,
    "common practice, no source: cold, and not frozen. The call for too warm comes by its own limit",
)


def entries(space: ff.SpaceGroup) -> tuple[ff.CropGroup, ...]:
    """`crop` or `crops`, whichever the grower wrote."""
    return space.crops if space.crop is None else (space.crop, *space.crops)


def shares(space: ff.SpaceGroup) -> tuple[CropShare, ...]:
    return tuple(CropShare(crop.species, crop.stage, crop.kg, crop.priority) for crop in entries(space))


def met_here(space: ff.SpaceGroup, species: Mapping[str, Species]) -> tuple[CropHere, Met] | None:
    """The crop that leads and what all agree on; None while a crop is missing, or has no figures."""
    if space.kind is SpaceKind.COLD_STORE:
        return _nothing_grows()
    crops = []
    for crop in entries(space):
        profile = species[crop.species].stages.get(crop.stage) if crop.species in species else None
        if profile is None:
            return None
        crops.append(CropHere(crop.species, crop.stage, crop.kg, crop.priority, profile))
    return (leader(crops), meet(crops)) if crops else None


def _nothing_grows() -> tuple[CropHere, Met]:
    dark = LightWish(0.0, None, "nothing grows here")
    profile = StageProfile(_OPEN, _COLD, _OPEN, 0.0, "nothing grows here", dark, None)
    crop = CropHere(PICKED, Stage.REST, 0.0, False, profile)
    return crop, meet([crop])
