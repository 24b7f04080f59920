"""What is known of each water line, and what follows from it alone: cold, lime, water that stood.

Here: state and small rules. Not here: who tells them and what is done (`plumbing`). A line is what one mist
relay feeds. Times are wall time, for lines freeze and stand whether or not we run.

Lime: what a litre leaves behind grows with its hardness, so nozzles are descaled by litres times hardness.
Standing: water that stands warm in a pipe lets germs grow, and a nozzle makes breathable drops of it (HSE,
Legionnaires' disease; horticultural misting is named in HSG274 part 3). How often a line must run, be
cleaned and be looked at is for the grower's own risk assessment and local rules; 72 h is our reminder.
"""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Final

from gillhouse.core.quantities import Quantity
from gillhouse.core.settings import (
    CORE_ZONE,
    LINE_ZONE,
    FarmSettings,
    RelaySettings,
    Role,
    SensorSettings,
    SpaceKind,
)

BACK_K: Final = 1.0
"""So far over the limit, and the line is safe again. Our choice."""
REMEMBERED_MS: Final = 24 * 3_600_000
"""Where no thermometer says anything any more, cold is believed for so long. Our choice."""
LIME_G_PER_LITRE_H: Final = 20.0
"""Lime through nozzles of 1 l/h after which they want descaling: with hard water, 250 mg/l, after 80 hours of
spraying. Our choice, no source; nozzles and water differ, so look at yours."""
OUTSIDE: Final = ("intake", "outdoor")


@dataclass(slots=True)
class LineState:
    """One line."""

    flowing: bool = False
    """As it was when last looked at."""
    at_ms: int = 0
    """Monotonic time of that."""
    litres: float = 0.0
    """Since its nozzles were cleaned."""
    fallen_l: float = 0.0
    """Not yet booked to the caps under it."""
    cleaned_wall_ms: int | None = None
    flowed_wall_ms: int | None = None
    """Fresh water last came through, or we began to watch."""
    drained: bool = False
    """Somebody emptied it, and nothing has flowed since."""
    freezing: bool = False
    coldest_c: float | None = None
    """What was last measured for it, the least of its thermometers..."""
    sensor: str = ""
    """... and by which."""
    cold_wall_ms: int = 0
    """When that was."""
    stood: bool = False
    """Its water has stood for too long, as last told."""


def line_sensors(settings: FarmSettings) -> dict[str, tuple[str, ...]]:
    """By mist or pump relay: the thermometers that say whether its water may freeze.

    Those strapped to a line, of its space or of the whole farm, and those in the air it runs through; for an
    open space also those outdoors. A pump without a space has the farm's line thermometers alone.
    """
    return {
        relay.id: tuple(
            sensor.id
            for sensor in settings.sensors.values()
            if sensor.quantity is Quantity.TEMPERATURE and _says(settings, relay, sensor)
        )
        for relay in settings.relays.values()
        if relay.role in (Role.MIST, Role.PUMP)
    }


def _says(settings: FarmSettings, relay: RelaySettings, sensor: SensorSettings) -> bool:
    if sensor.zone == LINE_ZONE:
        return sensor.space in (None, relay.space)
    space = settings.spaces.get(relay.space or "")
    if space is None or sensor.zone == CORE_ZONE or sensor.space not in (None, space.id):
        return False
    outside = sensor.space is None or sensor.zone in OUTSIDE
    return space.kind is SpaceKind.OPEN if outside else True


def chills(sensors: Mapping[str, Iterable[str]]) -> dict[str, tuple[str, ...]]:
    """The same the other way round: by thermometer, the relays it speaks for."""
    found: dict[str, tuple[str, ...]] = {}
    for relay, own in sensors.items():
        for sensor in own:
            found[sensor] = (*found.get(sensor, ()), relay)
    return found


def feel(line: LineState, values: Mapping[str, float], limit_c: float, wall_ms: int) -> bool:
    """Takes in what the thermometers say. Returns whether `line.freezing` changed.

    Args:
        values: of those that can be trusted now, by id; empty: none can.
    """
    was = line.freezing
    if not values:
        if line.freezing and wall_ms - line.cold_wall_ms >= REMEMBERED_MS:
            line.freezing = False
        return line.freezing is not was
    line.sensor = min(values, key=lambda sensor: (values[sensor], sensor))
    line.coldest_c, line.cold_wall_ms = values[line.sensor], wall_ms
    line.freezing = line.coldest_c < limit_c + BACK_K if was else line.coldest_c <= limit_c
    return line.freezing is not was


def lime_litres(relay: RelaySettings, hardness_mg_l: float | None) -> float | None:
    """After how many litres the nozzles want descaling; None where hardness or flow is not known."""
    hardness = relay.hardness_mg_l if relay.hardness_mg_l is not None else hardness_mg_l
    if not hardness or not relay.litres_per_h:
        return None
    return LIME_G_PER_LITRE_H * relay.litres_per_h * 1000.0 / hardness
