"""What people inside a space need of the config: a lamp that is proved harmless, air while the box is dead.

Here: mistakes (`check_inside`), and what is worth a second look once the figures are known (`safe_air`). Not
here: the sums (`core.safe_air`), and what is done with people inside (`core.keeping`).
"""

from collections.abc import Iterator

from gillhouse.config.draft import Draft
from gillhouse.config.tree import Key
from gillhouse.core.quantities import Quantity
from gillhouse.core.safe_air import CEILING_PPM, minutes_for
from gillhouse.core.settings import FarmSettings, SpaceKind, SpaceSettings

CONTINUOUS_MIN = 60.0
FAR_UNDER = 0.8
"""Declared less than this share of what was worked out is told."""


def check_inside(draft: Draft) -> None:
    """Note every mistake about lamps, buttons and the fan of a dead box."""
    for ident, relay in draft.relays.items():
        if relay.role == "uv" and relay.space in draft.spaces:
            _lamp(draft, ("relays", ident), relay.space or "")
    for ident, sensor in draft.sensors.items():
        if getattr(sensor, "button", False) and sensor.quantity is not Quantity.PEOPLE:
            draft.sheet.add(
                ("sensors", ident, "button"),
                f"means nothing for {sensor.quantity}: a button says that somebody goes in; delete it",
            )
    for ident, space in draft.spaces.items():
        told = space.safe_air
        if told is not None and told.min_per_h == 0 and space.walk_in:
            draft.sheet.add(
                ("spaces", ident, "safe_air", "min_per_h"),
                "0 is for a space nobody can enter; people walk in here: write the minutes gillhouse size"
                " works out",
            )


def _lamp(draft: Draft, here: Key, space: str) -> None:
    own = [sensor for sensor in draft.sensors.values() if sensor.space == space]
    if not any(sensor.quantity is Quantity.DOOR for sensor in own):
        draft.sheet.add(
            (*here, "space"),
            f"{space} has no door switch, so this lamp would never come on: its light harms eyes and skin"
            " and the door must be proved shut; add a sensor with quantity: door",
        )
    counted = [sensor for sensor in own if sensor.quantity is Quantity.PEOPLE]
    if draft.spaces[space].walk_in and not any(not getattr(one, "button", False) for one in counted):
        draft.sheet.add(
            (*here, "space"),
            f"nothing says whether somebody is inside {space}, so this lamp would never come on; add a"
            " switch with quantity: people (a button alone cannot say that nobody is)",
        )


def safe_air(farm: FarmSettings) -> tuple[str, ...]:
    """What is worth saying of every space's fan while this box is dead."""
    return tuple(line for space in farm.spaces.values() for line in _of_space(farm, space))


def _of_space(farm: FarmSettings, space: SpaceSettings) -> Iterator[str]:
    wanted, told = minutes_for(farm, space), space.safe_air
    key = f"spaces.{space.id}.safe_air"
    if space.kind in (SpaceKind.OPEN, SpaceKind.COLD_STORE) or wanted is None:
        return
    if told is None:
        if space.walk_in:
            yield (
                f"{key}: nothing says how its fan runs while this box is dead, and people walk in; a repeat"
                f" timer of its own, or the board's own programme, with {wanted} min an hour keeps"
                f" CO2 under {CEILING_PPM:.0f} ppm (gillhouse size {space.id} shows how); then write"
                f" safe_air: {{min_per_h: {wanted}, by: timer, tested: a date}}"
            )
        return
    if told.min_per_h >= CONTINUOUS_MIN:
        yield (
            f"{key}.min_per_h: 60 runs the fan without a pause: the space dries out within hours;"
            f" {wanted} min an hour are worked out"
        )
    elif 0 < told.min_per_h < FAR_UNDER * wanted:
        yield (
            f"{key}.min_per_h: {told.min_per_h:g} is less than the {wanted} min an hour that are worked out"
            f" (gillhouse size {space.id})"
        )
    if told.min_per_h and told.tested is None:
        yield f"{key}.tested: nobody has seen it run with this box switched off; try it, and write the date"
