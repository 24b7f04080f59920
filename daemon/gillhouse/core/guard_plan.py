"""What follows from the settings for the inputs that protect: which speaks for what.

Worked out once from any settings, like the rest of the plan. A farm that declares none of it has an empty
plan, and costs nothing.
"""

from collections.abc import Iterable
from dataclasses import dataclass

from gillhouse.core.quantities import Quantity
from gillhouse.core.settings import FarmSettings, RelaySettings, Role, SensorSettings

WATER_ROLES = (Role.MIST, Role.PUMP, Role.MASTER)
"""What brings water, and is kept off by a leak."""


@dataclass(frozen=True, slots=True)
class GuardPlan:
    """Ids only; `settings` has the rest."""

    proved: tuple[str, ...]
    """Relays with proof inputs."""
    trips: dict[str, tuple[str, ...]]
    """Emergency stop or leak -> the relays it keeps off."""
    circuits: dict[str, tuple[str, ...]]
    """Mains input -> the relays whose loads it feeds."""
    flows: dict[str, tuple[str, ...]]
    """Flow input -> the valves that explain its water."""
    upstream: dict[str, tuple[str, ...]]
    """Master or pump -> the relays behind it."""
    masters: dict[str, tuple[str, ...]]
    """Master -> the relays it goes on with."""
    companions: dict[str, tuple[str, ...]]
    """Relay that must be seen to run -> the relays that need it."""
    inputs: dict[str, tuple[str, ...]]
    """Relay -> the on/off inputs it waits for at the start."""
    alarm_relays: tuple[str, ...]
    sensors: frozenset[str]
    """All inputs whose news matter here."""

    @property
    def any(self) -> bool:
        """There is something to look after."""
        return bool(self.sensors or self.masters or self.alarm_relays)


def guard_plan(farm: FarmSettings) -> GuardPlan:
    """The plan of a farm."""
    relays = farm.relays.values()
    trips = {
        sensor.id: tuple(relay.id for relay in relays if _stops(sensor, relay))
        for sensor in farm.sensors.values()
        if sensor.quantity in (Quantity.EMERGENCY_STOP, Quantity.LEAK)
    }
    circuits = {
        sensor.id: tuple(relay.id for relay in relays if relay.mains == sensor.id)
        for sensor in farm.sensors.values()
        if sensor.quantity is Quantity.MAINS
    }
    flows = {
        sensor.id: _valves(farm, sensor)
        for sensor in farm.sensors.values()
        if sensor.quantity is Quantity.FLOW and _valves(farm, sensor)
    }
    masters = _grouped((relay.master, relay.id) for relay in relays if relay.master is not None)
    upstream = dict(masters)
    for supply in farm.supplies.values():
        upstream[supply.pump] = (*upstream.get(supply.pump, ()), *supply.valves)
    proofs = {proof.sensor for relay in relays for proof in relay.proofs}
    return GuardPlan(
        proved=tuple(relay.id for relay in relays if relay.proofs),
        trips=trips,
        circuits=circuits,
        flows=flows,
        upstream=upstream,
        masters=masters,
        companions=_grouped((other, relay.id) for relay in relays for other in relay.only_with),
        inputs={relay.id: _inputs(farm, relay, trips) for relay in relays},
        alarm_relays=tuple(relay.id for relay in relays if relay.role is Role.ALARM),
        sensors=frozenset({*proofs, *trips, *circuits, *flows}),
    )


def _grouped(pairs: Iterable[tuple[str, str]]) -> dict[str, tuple[str, ...]]:
    found: dict[str, tuple[str, ...]] = {}
    for key, value in pairs:
        found[key] = (*found.get(key, ()), value)
    return found


def _stops(sensor: SensorSettings, relay: RelaySettings) -> bool:
    """Whether this trip keeps this relay off. The alarm relay is no load: it stays free to call."""
    if relay.role is Role.ALARM or sensor.space not in (None, relay.space):
        return False
    return sensor.quantity is Quantity.EMERGENCY_STOP or relay.role in WATER_ROLES


def _valves(farm: FarmSettings, sensor: SensorSettings) -> tuple[str, ...]:
    """Those that name it as their proof; where none does, the mist relays of its space, or all of them."""
    valves = [relay for relay in farm.relays.values() if relay.role is Role.MIST]
    named = [relay.id for relay in valves if any(proof.sensor == sensor.id for proof in relay.proofs)]
    return tuple(named or [relay.id for relay in valves if sensor.space in (None, relay.space)])


def _inputs(farm: FarmSettings, relay: RelaySettings, trips: dict[str, tuple[str, ...]]) -> tuple[str, ...]:
    wanted = [sensor for sensor, kept in trips.items() if relay.id in kept]
    wanted += [one for one in (relay.mains, relay.tank) if one is not None]
    for wants, quantity in (
        (relay.only_door_closed, Quantity.DOOR),
        (relay.not_with_people, Quantity.PEOPLE),
    ):
        if wants and relay.space is not None:
            wanted += [
                sensor.id
                for sensor in farm.sensors.values()
                if sensor.quantity is quantity and sensor.space == relay.space
            ]
    return tuple(dict.fromkeys(wanted))
