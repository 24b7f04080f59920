"""The invented farm as it truly is: each space's room, the equipment in it, and what stands around it.

How it works: the farm's settings say which spaces and relays there are and what their labels promise; here
each gets a true size and a true figure off its label, drawn from the seed. `House.switch` is the one way to
move a relay, `House.advance` the one way to move time. Spaces run on their own, so a relay that switches in
one costs the others nothing. A pump feeds its valves, a shared fan blows through the open dampers.
Not here: MQTT and messages (`boards`), what goes wrong when (`story`).
"""

from collections.abc import Callable, Iterable
from dataclasses import dataclass, field
from random import Random

from gillhouse.core.crops import Stage
from gillhouse.core.quantities import PROOFS, Quantity
from gillhouse.core.settings import (
    FarmSettings,
    RelaySettings,
    Role,
    SensorSettings,
    SpaceKind,
    SpaceSettings,
)
from gillhouse.sim.moist import humidity_pct
from gillhouse.sim.room import STEP_S, Outside, Room, RoomPlan
from gillhouse.sim.score import Fault, Score
from gillhouse.sim.sensors import SimSensor
from gillhouse.sim.weather import Weather

STEP_MS = int(STEP_S * 1000)
WEATHER_EVERY_MS = 10_000
OUTSIDE_ZONES = frozenset({"intake", "outdoor"})
STAGES: dict[Stage, float] = {
    # breath over the flush, relative [0.4 to 1.8]
    Stage.SPAWN_RUN: 0.6,
    Stage.PINNING: 0.9,
    Stage.FRUITING: 1.4,
    Stage.REST: 0.5,
}
BREATH_G_KGH: tuple[tuple[str, float], ...] = (
    # Oyster breathes about five times as much as shiitake in fruiting: Meilleur, Bastien and Monfet,
    # Sustainability 15(24):16740, 2023 (abstract). Sizes invented inside 0.03 to 0.30 g/kg h.
    ("oyster", 0.12),
    ("shiitake", 0.035),
    ("lion", 0.06),
    ("", 0.08),
)
COOLING_PER_WATT = 2.6
"""Heat a cooler takes out per watt on its label [common practice, no source]."""
CROP_M2_KG = 0.03
"""Mushroom surface per kg of substrate [0.02 to 0.06]."""


@dataclass(frozen=True, slots=True)
class Build:
    """How spaces of one kind are made; all invented inside the ranges of `room.RoomPlan`."""

    leak_per_m3: float
    shell_w_m2k: float
    structure_j_m2k: float
    drop_um: float
    fall_m: float
    door_m3_s: float
    wind_share: float
    air_factor: float


BUILDS: dict[SpaceKind, Build] = {
    SpaceKind.ROOM: Build(3.0e-4, 0.5, 25_000.0, 40.0, 2.0, 0.15, 0.010, 3.0),
    SpaceKind.TENT: Build(9.0e-4, 2.5, 4_000.0, 28.0, 1.2, 0.06, 0.003, 3.0),
    SpaceKind.OPEN: Build(1.5e-2, 3.0, 12_000.0, 75.0, 2.5, 0.30, 0.020, 2.0),
    SpaceKind.SPAWN_RUN: Build(3.0e-4, 0.5, 25_000.0, 40.0, 2.0, 0.15, 0.010, 3.0),
    SpaceKind.COLD_STORE: Build(1.0e-4, 0.3, 15_000.0, 40.0, 2.0, 0.15, 0.010, 3.0),
}


def _plan(space: SpaceSettings) -> RoomPlan:
    build = BUILDS[space.kind]
    shell_m2 = 6.3 * space.volume_m3 ** (2 / 3)
    breath = next(rate for word, rate in BREATH_G_KGH if word in space.species)
    kg = max(space.crop_kg, 1.0)
    return RoomPlan(
        volume_m3=space.volume_m3,
        leak_m2=build.leak_per_m3 * space.volume_m3,
        shell_m2=shell_m2,
        shell_w_m2k=build.shell_w_m2k,
        structure_j_k=build.structure_j_m2k * shell_m2,
        substrate_kg=kg,
        crop_m2=CROP_M2_KG * kg,
        floor_m2=shell_m2 / 5.0,
        breath_g_kgh=breath,
        stage=STAGES[space.stage],
        air_factor=build.air_factor,
        skin_w_k=0.15 * kg,
        drop_um=build.drop_um,
        fall_m=build.fall_m,
        door_m3_s=build.door_m3_s,
        wind_share=build.wind_share,
    )


@dataclass(slots=True)
class Probe:
    """A sensor where it hangs."""

    settings: SensorSettings
    sensor: SimSensor
    warmer_k: float
    """Its corner against the space's mean."""


Truth = Callable[["Place", Probe], float]


@dataclass(slots=True)
class Place:
    """One space: its room, its probes, how far it has come. The farm's outdoors is one without a room."""

    settings: SpaceSettings | None
    around: Callable[[float], Outside]
    room: Room | None = None
    score: Score | None = None
    probes: list[Probe] = field(default_factory=list)
    at_ms: int = 0
    lamp_on: bool = False
    air: Outside = field(default_factory=lambda: Outside(10.0, 0.006, 425.0))
    _looked_ms: int = -WEATHER_EVERY_MS

    def advance(self, to_ms: int) -> None:
        """Brings the space to `to_ms`, in steps of two seconds and one shorter rest."""
        while self.at_ms < to_ms:
            self._look_around()
            by_ms = min(STEP_MS if self.room else WEATHER_EVERY_MS, to_ms - self.at_ms)
            seconds = by_ms / 1000.0
            self.at_ms += by_ms
            if self.room and self.score:
                self.room.step(seconds)
                self.score.count(self.room, self.at_ms, seconds)
            for probe in self.probes:
                probe.sensor.feel(TRUTHS[probe.settings.quantity](self, probe), seconds)

    def _look_around(self) -> None:
        if self.at_ms - self._looked_ms >= WEATHER_EVERY_MS:
            self._looked_ms = self.at_ms
            self.air = self.around(self.at_ms / 1000.0)
            if self.room:
                self.room.outside = self.air


def _outside(place: Place, probe: Probe) -> bool:
    return place.room is None or probe.settings.zone in OUTSIDE_ZONES


def _temperature(place: Place, probe: Probe) -> float:
    if place.room is None or _outside(place, probe):
        return place.air.temperature_c
    return place.room.temperature_c + probe.warmer_k


def _humidity(place: Place, probe: Probe) -> float:
    ratio = place.air.ratio if place.room is None or _outside(place, probe) else place.room.ratio
    return min(100.0, humidity_pct(_temperature(place, probe), ratio))


def _co2(place: Place, probe: Probe) -> float:
    return place.air.co2_ppm if place.room is None or _outside(place, probe) else place.room.co2_ppm


def _light(place: Place, probe: Probe) -> float:
    return (600.0 if place.lamp_on else 0.0) + place.air.sun_w * 20.0


TRUTHS: dict[Quantity, Truth] = {
    Quantity.TEMPERATURE: _temperature,
    Quantity.HUMIDITY: _humidity,
    Quantity.CO2: _co2,
    Quantity.LIGHT: _light,
    Quantity.WIND: lambda place, _: place.air.wind_m_s,
    Quantity.PRESSURE: lambda _, __: 1013.0,
    Quantity.DOOR: lambda place, _: float(place.room is not None and place.room.drive.door_open),
    Quantity.PEOPLE: lambda _, __: 0.0,
    Quantity.MAINS: lambda _, __: 1.0,
    Quantity.LEAK: lambda _, __: 0.0,
    Quantity.EMERGENCY_STOP: lambda _, __: 0.0,
}


@dataclass(frozen=True, slots=True)
class Equipment:
    """A relay's load as it truly is, off its label."""

    settings: RelaySettings
    kg_s: float
    m3_s: float
    watts: float


def _proves(relay: RelaySettings, sensor: str) -> bool:
    return any(proof.sensor == sensor for proof in relay.proofs)


class House:  # over 12 methods: what boards, story and link may do to it, one each
    """All spaces, all equipment, one time."""

    def __init__(
        self, farm: FarmSettings, weather: Weather, seed: int, faults: Iterable[Fault] = (), night_ms: int = 0
    ) -> None:
        """`night_ms`: the scored night begins here, milliseconds since the trial began."""
        self.farm, self.weather = farm, weather
        self.at_ms = 0
        self.on: dict[str, bool] = dict.fromkeys(farm.relays, False)
        self.tank_full: dict[str, bool] = {
            id: True for id, sensor in farm.sensors.items() if sensor.quantity is Quantity.TANK
        }
        self.stuck: dict[str, bool] = {}
        """Relays whose contact does not follow any more, and where it stands."""
        self._equipment = {id: _true_load(relay, seed) for id, relay in farm.relays.items()}
        self._feeds = {valve: supply for supply in farm.supplies.values() for valve in supply.valves}
        held = tuple(faults)
        self.places: dict[str, Place] = {
            id: self._place(space, Score(space, held, night_ms), seed) for id, space in farm.spaces.items()
        }
        self.outdoors = Place(None, weather.outdoors)
        self.sensors: dict[str, SimSensor] = {}
        for sensor in farm.sensors.values():
            self._hang(sensor, seed)
        for place in (*self.places.values(), self.outdoors):
            place.air = place.around(0.0)
            for probe in place.probes:
                probe.sensor.feel(TRUTHS[probe.settings.quantity](place, probe), 0.0)

    def _place(self, space: SpaceSettings, score: Score, seed: int) -> Place:
        around = self.weather.indoors if space.kind is SpaceKind.TENT else self.weather.outdoors
        start = around(0.0)
        rng = Random(f"start {seed} {space.id}")
        if space.kind is SpaceKind.OPEN:
            temperature_c = start.temperature_c
            humidity = min(97.0, humidity_pct(start.temperature_c, start.ratio))
            co2_ppm = start.co2_ppm + 30.0
        else:
            temperature_c = _wished(space, Quantity.TEMPERATURE, 17.0)
            humidity = min(97.0, _wished(space, Quantity.HUMIDITY, 90.0) + rng.uniform(-3.0, 1.0))
            co2_ppm = start.co2_ppm + rng.uniform(150.0, 350.0)
        room = Room(_plan(space), start, temperature_c, humidity)
        room.co2_ppm = co2_ppm
        return Place(space, around, room, score)

    def _hang(self, settings: SensorSettings, seed: int) -> None:
        sensor = SimSensor(settings.id, settings.quantity, settings.error, seed)
        self.sensors[settings.id] = sensor
        if settings.quantity is Quantity.TANK:
            self._show_tank(settings.id)
            return
        if settings.quantity in PROOFS:
            self._show_proofs()
            return
        corner = Random(f"corner {seed} {settings.space} {settings.zone}")
        place = self.places[settings.space] if settings.space else self.outdoors
        place.probes.append(Probe(settings, sensor, corner.uniform(-0.25, 0.25)))

    def advance(self, to_ms: int) -> None:
        """Brings every space to `to_ms`, milliseconds since the trial began."""
        for place in self.places.values():
            place.advance(to_ms)
        self.outdoors.advance(to_ms)
        self.at_ms = to_ms

    def switch(self, relay: str, on: bool, at_ms: int) -> None:
        """Lets `relay` close or open at `at_ms`, after everything before that has run."""
        if self.on[relay] == on:
            return
        self.advance(at_ms)
        self.on[relay] = on
        for place in self.places.values():
            if place.score and (self.farm.relays[relay].space in (None, place.score.space.id)):
                place.score.switched(relay, at_ms)
        self._set_drives()

    def stick(self, relay: str, closed: bool | None, at_ms: int) -> None:
        """Welds or breaks the contact of `relay`, or mends it (None). Its board sees nothing of that."""
        self.advance(at_ms)
        if closed is None:
            self.stuck.pop(relay, None)
        else:
            self.stuck[relay] = closed
        self._set_drives()

    def has_current(self, relay: str) -> bool:
        """Whether the load behind `relay` runs."""
        return self.stuck.get(relay, self.on[relay])

    def open_door(self, space: str, is_open: bool, at_ms: int) -> None:
        """Opens or shuts the door of `space`; nobody stays inside."""
        self.advance(at_ms)
        room = self.places[space].room
        if room:
            room.drive.door_open = is_open

    def fill_tank(self, tank: str, full: bool, at_ms: int) -> None:
        self.advance(at_ms)
        self.tank_full[tank] = full
        self._show_tank(tank)
        self._set_drives()

    def _show_tank(self, tank: str) -> None:
        sensor = self.sensors[tank]
        sensor.feel(float(self.tank_full[tank]), 1.0)

    def _show_proofs(self) -> None:
        """Flow, current and running contacts say whether the loads they see run."""
        for id, sensor in self.sensors.items():
            if self.farm.sensors[id].quantity in PROOFS:
                seen = (relay for relay, own in self.farm.relays.items() if _proves(own, id))
                sensor.feel(float(any(self.has_current(relay) for relay in seen)), 1.0)

    def _set_drives(self) -> None:
        self._show_proofs()
        for id, place in self.places.items():
            if place.room:
                self._set_drive(id, place, place.room)

    def _set_drive(self, space: str, place: Place, room: Room) -> None:
        mine = [
            load
            for id, load in self._equipment.items()
            if load.settings.space == space and self.has_current(id)
        ]

        def of(*roles: Role) -> list[Equipment]:
            return [load for load in mine if load.settings.role in roles]

        drive = room.drive
        drive.mist_kg_s = sum(load.kg_s for load in of(Role.MIST) if self._has_water(load.settings))
        drive.fan_m3_s = sum(load.m3_s for load in of(Role.FAN)) + self._shared_air(space)
        drive.heater_w = sum(load.watts for load in of(Role.HEATER))
        drive.cooler_w = sum(load.watts for load in of(Role.COOLER)) * COOLING_PER_WATT
        drive.other_w = sum(load.watts for load in of(Role.LIGHT, Role.CIRCULATION, Role.FAN))
        drive.moving = bool(drive.fan_m3_s or of(Role.CIRCULATION))
        place.lamp_on = bool(of(Role.LIGHT))

    def _has_water(self, valve: RelaySettings) -> bool:
        supply = self._feeds.get(valve.id)
        pump = self.farm.relays[supply.pump] if supply else None
        tanks = {relay.tank for relay in (valve, pump) if relay and relay.tank}
        pumped = pump is None or self.has_current(pump.id)
        return pumped and all(self.tank_full.get(tank, True) for tank in tanks)

    def _shared_air(self, space: str) -> float:
        """A shared fan's flow goes in equal parts through the open dampers."""
        flow = 0.0
        for shared in self.farm.shared_air.values():
            open_to = [id for id, damper in shared.dampers.items() if self.has_current(damper)]
            if self.has_current(shared.fan) and space in open_to:
                flow += self._equipment[shared.fan].m3_s / len(open_to)
        return flow


def _wished(space: SpaceSettings, quantity: Quantity, otherwise: float) -> float:
    band = space.bands.get(quantity)
    if band is None:
        return otherwise
    if band.target is not None:
        return band.target
    edges = [edge for edge in (band.low, band.high) if edge is not None]
    return sum(edges) / len(edges) if edges else otherwise


def _true_load(relay: RelaySettings, seed: int) -> Equipment:
    """Labels flatter: filters and ducts slow a fan, lime narrows a nozzle [invented]."""
    rng = Random(f"label {seed} {relay.id}")
    return Equipment(
        relay,
        relay.litres_per_h / 3600.0 * rng.uniform(0.85, 1.0),
        relay.air_m3_per_h / 3600.0 * rng.uniform(0.75, 0.95),
        relay.watts * rng.uniform(0.95, 1.02),
    )
