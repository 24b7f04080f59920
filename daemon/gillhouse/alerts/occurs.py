"""Which kinds of call a farm can get at all, and where, from what stands in its config.

Here: one row for each kind that needs something there; a kind without a row can always come. Not here: when a
call comes (`core.watch`), and what it says (`wording`).
"""

from collections.abc import Callable

from gillhouse.core.quantities import Quantity
from gillhouse.core.settings import CORE_ZONE, FarmSettings, Role, SpaceKind, SpaceSettings

Here = Callable[[FarmSettings, SpaceSettings], bool]


def _measures(quantity: Quantity, zone: str | None = None) -> Here:
    def check(farm: FarmSettings, space: SpaceSettings) -> bool:
        return any(
            one.space == space.id and one.quantity is quantity and zone in (None, one.zone)
            for one in farm.sensors.values()
        )

    return check


def _has(role: Role) -> Here:
    def check(farm: FarmSettings, space: SpaceSettings) -> bool:
        return any(one.space == space.id and one.role is role for one in farm.relays.values())

    return check


def _both(first: Here, second: Here) -> Here:
    return lambda farm, space: first(farm, space) and second(farm, space)


def _is(*kinds: SpaceKind) -> Here:
    return lambda farm, space: space.kind in kinds


def _grows(farm: FarmSettings, space: SpaceSettings) -> bool:
    return space.kind is not SpaceKind.COLD_STORE


def _people(farm: FarmSettings, space: SpaceSettings) -> bool:
    return space.walk_in and space.kind is not SpaceKind.OPEN and _CO2(farm, space)


_CO2 = _measures(Quantity.CO2)
_HUMIDITY = _both(_grows, _measures(Quantity.HUMIDITY))
_TEMPERATURE = _both(_grows, _measures(Quantity.TEMPERATURE))
_DOOR = _measures(Quantity.DOOR)

IN_SPACES: dict[str, Here] = {
    # kind: the spaces where it can come
    "humidity-low": _HUMIDITY,
    "humidity-high": _HUMIDITY,
    "temperature-low": _TEMPERATURE,
    "temperature-high": _TEMPERATURE,
    "co2-high": _both(_grows, _CO2),
    "co2-low": _both(_grows, _CO2),
    "co2-people-5000": _people,
    "co2-people-15000": _people,
    "co2-people-30000": _people,
    "co2-shift": _people,
    "co2-quarter": _people,
    "not-out": lambda farm, space: space.walk_in,
    "crop-drying": _both(_grows, _both(_DOOR, _has(Role.MIST))),
    "block-hot": _measures(Quantity.TEMPERATURE, CORE_ZONE),
    "store-warm": _is(SpaceKind.COLD_STORE),
    "store-open": _both(_is(SpaceKind.COLD_STORE), _DOOR),
    "door-open": _both(_grows, _DOOR),
    "hose": _is(SpaceKind.OPEN),
    "mist-without-effect": _both(_HUMIDITY, _has(Role.MIST)),
    "mist-unasked": _both(_HUMIDITY, _has(Role.MIST)),
    "fan-without-effect": _both(_CO2, _has(Role.FAN)),
    "fan-unasked": _both(_CO2, _has(Role.FAN)),
}

ON_FARM: dict[str, Callable[[FarmSettings], bool]] = {
    # kind: whether it can come at all
    "tank-empty": lambda farm: any(one.quantity is Quantity.TANK for one in farm.sensors.values()),
    "drain-down": lambda farm: any(one.role is Role.MIST for one in farm.relays.values()),
    "water-stood": lambda farm: any(one.role is Role.MIST for one in farm.relays.values()),
    "relay-silent": lambda farm: bool(farm.relays),
    "relay-stuck": lambda farm: bool(farm.relays),
    "sensor-silent": lambda farm: bool(farm.sensors),
    "sensor-flat": lambda farm: bool(farm.sensors),
}


def where(kind: str, farm: FarmSettings) -> tuple[str, ...] | None:
    """The names of the spaces where `kind` can come; empty: it is of the whole farm; None: nowhere."""
    here = IN_SPACES.get(kind)
    if here is not None:
        return tuple(space.name for space in farm.spaces.values() if here(farm, space)) or None
    check = ON_FARM.get(kind)
    return () if check is None or check(farm) else None
