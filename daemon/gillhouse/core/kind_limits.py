"""The limits a space has by its kind: the heat inside a block, the warmth of a cold store.

Here: the figures, and which space and sensor they hold for. Not here: comparing and telling (`watch`).

A block makes its own heat and runs some 5 degrees warmer than the air around it (a European spawn
laboratory's sheets: room 20-22, core 25-30), so a temperature sensor pushed into one (zone `core`) has a
limit of its own, in any space. A cold store keeps what was picked; shorter spells than its delay are a door,
which has its own alarm.
"""

from dataclasses import dataclass

from gillhouse.core.alarm_kinds import KINDS, MINUTE_MS
from gillhouse.core.quantities import Quantity
from gillhouse.core.settings import (
    CORE_ZONE,
    LINE_ZONE,
    FarmSettings,
    SensorSettings,
    SpaceKind,
    SpaceSettings,
)

CORE_LIMIT_C = 30.0
"""Where the crop has no figure of its own: not over 30 for long, a European substrate producer's sheets, for
oyster blocks."""
STORE_LIMIT_C = 5.0
"""Common practice, no source. The half hour it must last is the alarm's: loading warms a store for less."""
DEADBAND_C = 0.5
"""So far below the limit before it counts as over. Our choice, as for a room's temperature."""


@dataclass(frozen=True, slots=True)
class KindLimit:
    """A temperature over which somebody is called, degrees C."""

    kind: str
    """Of its alarm."""
    space: str
    sensor: str | None
    """The one sensor it is about; None: the space's air."""
    limit_c: float


def kind_limits(settings: FarmSettings, space: SpaceSettings) -> tuple[KindLimit, ...]:
    """The limits of one space, in the order of its sensors."""
    limit_c = core_limit_c(space)
    found = [
        KindLimit("block-hot", space.id, sensor.id, limit_c)
        for sensor in settings.sensors.values()
        if in_block(sensor) and sensor.space == space.id
    ]
    if space.kind is SpaceKind.COLD_STORE:
        found.append(KindLimit("store-warm", space.id, None, STORE_LIMIT_C))
    return tuple(found)


def in_block(sensor: SensorSettings) -> bool:
    """Whether it sits inside a block and says nothing of the space's air."""
    return sensor.zone == CORE_ZONE and sensor.quantity is Quantity.TEMPERATURE


def not_air(sensor: SensorSettings) -> bool:
    """Whether it sits inside a block or on a water line, and says nothing of any air."""
    return in_block(sensor) or (sensor.zone == LINE_ZONE and sensor.quantity is Quantity.TEMPERATURE)


def core_limit_c(space: SpaceSettings) -> float:
    """Over this inside a block somebody is called: the crop's figure, else the usual one."""
    return CORE_LIMIT_C if space.block_core_c is None else space.block_core_c


def limit_words(space: SpaceSettings) -> tuple[str, ...]:
    """What a grower should know of them."""
    if space.kind is SpaceKind.COLD_STORE:
        wait_min = KINDS["store-warm"].on_delay_ms // MINUTE_MS
        return (f"too warm: over {STORE_LIMIT_C:g} C for {wait_min} min calls somebody",)
    if space.kind is SpaceKind.SPAWN_RUN or space.block_core_c is not None:
        return (f"inside a block: over {core_limit_c(space):g} C calls somebody (a sensor with zone: core)",)
    return ()
