"""Small invented farms for the tests of the core, built by hand so that every figure is in sight."""

from dataclasses import replace
from datetime import UTC, tzinfo

from gillhouse.core.crops import Band, Stage
from gillhouse.core.farm import Farm
from gillhouse.core.inputs import DEADLINE, Due, Input, Reading, Started
from gillhouse.core.instant import Instant
from gillhouse.core.outputs import AlarmNotice, Command, Event, Outcome
from gillhouse.core.quantities import Quantity
from gillhouse.core.settings import (
    AlarmSettings,
    FarmSettings,
    IntakeSettings,
    LightSettings,
    LimitTiming,
    ProgrammeSettings,
    RelaySettings,
    Role,
    SensorSettings,
    SpaceKind,
    SpaceSettings,
)

WALL_MS = 1_760_000_000_000
"""2025-10-09T08:53:20Z; nothing depends on it."""

HUMIDITY = Band(85.0, 95.0, 90.0, 80.0, 98.0, "invented")
TEMPERATURE = Band(14.0, 20.0, 17.0, 10.0, 25.0, "invented")
CO2 = Band(None, 1000.0, None, None, 1500.0, "invented")

_SENSORS = (("rh", Quantity.HUMIDITY), ("temp", Quantity.TEMPERATURE), ("co2", Quantity.CO2))
_RELAYS = (
    RelaySettings("mist", Role.MIST, "", litres_per_h=6.0, longest_run_ms=60_000, pulse_ms=8_000),
    RelaySettings("fan", Role.FAN, "", air_m3_per_h=120.0, least_on_ms=30_000, least_off_ms=30_000),
    RelaySettings("heater", Role.HEATER, "", least_on_ms=60_000, least_off_ms=60_000),
    RelaySettings("light", Role.LIGHT, ""),
)


def sensor(
    id: str, quantity: Quantity, space: str | None, zone: str = "middle", **more: object
) -> SensorSettings:
    base = SensorSettings(
        id, quantity, space, zone, every_ms=30_000, silent_after_ms=120_000, calibrated=True
    )
    return replace(base, **more)  # type: ignore[arg-type]


def space(id: str = "room", kind: SpaceKind = SpaceKind.ROOM, **more: object) -> SpaceSettings:
    base = SpaceSettings(
        id=id,
        name=id.title(),
        kind=kind,
        walk_in=True,
        volume_m3=20.0,
        species="grey-oyster",
        stage=Stage.FRUITING,
        crop_kg=60.0,
        bands={Quantity.HUMIDITY: HUMIDITY, Quantity.TEMPERATURE: TEMPERATURE, Quantity.CO2: CO2},
        fresh_air_ach=2.0,
        intake=IntakeSettings(12.0, 70.0),
        light=LightSettings(8 * 60, 12.0),
        combine={},
    )
    return replace(base, **more)  # type: ignore[arg-type]


def farm(
    *spaces: SpaceSettings,
    sensors: tuple[SensorSettings, ...] = (),
    relays: tuple[RelaySettings, ...] = (),
    programmes: tuple[ProgrammeSettings, ...] = (),
    zone: tzinfo = UTC,
    **more: object,
) -> FarmSettings:
    """Each space gets `ID-rh`, `ID-temp`, `ID-co2` and `ID-mist`, `ID-fan`, `ID-heater`, `ID-light`."""
    own = spaces or (space(),)
    all_sensors = [sensor(f"{s.id}-{tail}", quantity, s.id) for s in own for tail, quantity in _SENSORS]
    all_relays = [
        replace(relay, id=f"{s.id}-{relay.id}", space=s.id, advise_only=False)
        for s in own
        for relay in _RELAYS
    ]
    timing = {Quantity.HUMIDITY: LimitTiming(3.0, 600_000, 300_000)}
    base = FarmSettings(
        name="Invented farm",
        zone=zone,
        spaces={s.id: s for s in own},
        sensors={s.id: s for s in (*all_sensors, *sensors)},
        relays={r.id: r for r in (*all_relays, *relays)},
        programmes={p.id: p for p in programmes},
        alarms=AlarmSettings(timing, {1: 300_000, 2: 1_200_000, 3: 14_400_000}),
    )
    return replace(base, **more)  # type: ignore[arg-type]


class Bench:
    """A farm on the bench: inputs by hand, deadlines by themselves, everything that came of it kept."""

    def __init__(self, settings: FarmSettings, started: bool = True) -> None:
        self.farm = Farm(settings)
        self.seq = 0
        self.ms = 0
        self.commands: list[tuple[int, Command]] = []
        self.events: list[tuple[int, Event]] = []
        self.notices: list[tuple[int, AlarmNotice]] = []
        self.inputs: list[tuple[int, Instant, Input]] = []
        if started:
            self.give(Started("test", "digest", True))

    def now(self) -> Instant:
        return Instant(WALL_MS + self.ms, self.ms)

    def give(self, item: Input) -> Outcome:
        self.seq += 1
        self.inputs.append((self.seq, self.now(), item))
        out = self.farm.handle(self.seq, self.now(), item)
        self.commands += [(self.ms, command) for command in out.commands]
        self.events += [(self.ms, event) for event in out.events]
        self.notices += [(self.ms, notice) for notice in out.notices]
        return out

    def wait(self, seconds: float) -> None:
        """Lets time pass; the core is called at each of its deadlines.

        The next millisecond now and then is a deadline like another; a row of them is one that never ends.
        """
        end, row = self.ms + int(seconds * 1000), 0
        while (due := self.farm.next_deadline_ms()) is not None and due <= end:
            assert due > self.ms
            row = row + 1 if due == self.ms + 1 else 0
            assert row < 10, f"a deadline every millisecond from {self.ms - row} ms on"
            self.ms = due
            self.give(Due(DEADLINE, WALL_MS + due))
        self.ms = end

    def read(self, **values: float) -> Outcome:
        """Readings by sensor id, with `_` for `-`; returns the last outcome."""
        out = Outcome()
        for name, value in values.items():
            out = self.give(Reading(name.replace("_", "-"), value, WALL_MS + self.ms))
        return out

    def every(self, seconds: float, times: int, **values: float) -> None:
        """The same air for a while; the last digit trembles, as of a live sensor."""
        for n in range(times):
            self.wait(seconds)
            self.read(**{name: round(value + (0.1 if n % 2 else 0.0), 2) for name, value in values.items()})

    def on(self, relay: str) -> list[tuple[int, Command]]:
        return [(ms, c) for ms, c in self.commands if c.relay == relay and c.on and not c.renewal]

    def off(self, relay: str) -> list[tuple[int, Command]]:
        return [(ms, c) for ms, c in self.commands if c.relay == relay and not c.on]
