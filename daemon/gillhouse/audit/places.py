"""Where each sensor stood at each time: what a reading says of, when sensors are carried from space to space.

Here: the settings of then, corrected by the newest settings' dated moves (`since` of a sensor), for the file
is often written later than the board was carried. Not here: what readings say.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from gillhouse.core.settings import FarmSettings, SensorSettings
from gillhouse.records.crops_then import HeldFor

ELSEWHERE = ("intake", "outdoor", "core")
"""Zones whose sensors do not measure the room's own air (see `SensorSettings.zone`)."""

Span = tuple[int, int]


@dataclass(frozen=True, slots=True)
class Move:
    """A sensor stands here since a moment, whatever older settings say."""

    since_ms: int
    space: str | None
    zone: str


def moves(farm: FarmSettings) -> dict[str, Move]:
    """The dated moves that settings tell of."""
    return {
        sensor.id: Move(sensor.since_wall_ms, sensor.space, sensor.zone)
        for sensor in farm.sensors.values()
        if sensor.since_wall_ms is not None
    }


def stood(configs: Sequence[HeldFor], move: Move | None, sensor: str, space: str) -> list[Span]:
    """The times a sensor measured a space's own air, in order; touching ones are one."""
    found: list[Span] = []
    for stretch in configs:
        settings = stretch.farm.sensors.get(sensor)
        end = stretch.to_ms if move is None else min(stretch.to_ms, max(move.since_ms, stretch.from_ms))
        if settings is not None and _here(settings.space, settings.zone, space):
            _add(found, (stretch.from_ms, end))
        if move is not None and _here(move.space, move.zone, space):
            _add(found, (max(stretch.from_ms, move.since_ms), stretch.to_ms))
    return found


def sensors_of(
    configs: Sequence[HeldFor], moved: Mapping[str, Move], space: str
) -> dict[str, tuple[SensorSettings, list[Span]]]:
    """Every sensor that stood in a space at some time, with its newest settings and when."""
    named = {sensor.id: sensor for stretch in configs for sensor in stretch.farm.sensors.values()}
    found = {}
    for ident, sensor in named.items():
        spans = stood(configs, moved.get(ident), ident, space)
        if spans:
            found[ident] = (sensor, spans)
    return found


def _here(space: str | None, zone: str, wanted: str) -> bool:
    return space == wanted and zone not in ELSEWHERE


def _add(found: list[Span], span: Span) -> None:
    if span[1] <= span[0]:
        return
    if found and found[-1][1] >= span[0]:
        found[-1] = (found[-1][0], max(found[-1][1], span[1]))
    else:
        found.append(span)
