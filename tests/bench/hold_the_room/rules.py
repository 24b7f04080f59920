"""The rules that see what a farm sees: a timer, on and off with a gap, and ours.

A rule is told readings and moves relays of the plant; `due_ms` says when it wants to be asked without one.
Nothing here may look at the plant's truth.
"""

from typing import Protocol

from tests.bench.hold_the_room.plant import Plant
from tests.bench.hold_the_room.spaces import ALARM_HIGH_PCT, ALARM_K, ALARM_LOW_PCT, ALARM_PPM, HIGH_PPM

from gillhouse.core.farm import Farm
from gillhouse.core.inputs import DEADLINE, Due, Input, Reading, Started
from gillhouse.core.instant import Instant
from gillhouse.core.outputs import AlarmNotice, EventKind, Transition
from gillhouse.core.settings import FarmSettings

WALL_MS = 1_760_032_800_000
"""2025-10-09T18:00:00Z: every cell begins at six in the evening, local time being UTC."""
MINUTE_MS = 60_000


NEAR_PCT, NEAR_K, NEAR_PPM = 3.0, 1.0, 150.0
"""A limit alarm is no false one while the true air is so near its limit: deadband and sensor error."""


def is_true(kind: str, plant: Plant) -> bool:
    """Whether an alarm has something to do with the true air. No fault is put in where this is asked."""
    room, site = plant.room, plant.site
    holds = {
        "humidity-low": room.humidity_pct < ALARM_LOW_PCT + NEAR_PCT,
        "humidity-high": room.humidity_pct > ALARM_HIGH_PCT - NEAR_PCT,
        "temperature-low": room.temperature_c < site.low_c - ALARM_K + NEAR_K,
        "temperature-high": room.temperature_c > site.high_c + ALARM_K - NEAR_K,
        "co2-high": room.co2_ppm > ALARM_PPM - NEAR_PPM,
        # What a person should know that is no fault of anything.
        "drain-down": room.temperature_c < 4.0 or room.outside.temperature_c < 4.0,
        "at-capacity": True,
        "water-stood": True,
    }
    return holds.get(kind, False)


class Rule(Protocol):
    def read(self, at_ms: int, sensor: str, value: float) -> None: ...
    def due_ms(self) -> int | None: ...
    def wake(self, at_ms: int) -> None: ...


class Thermostat:
    """Heat on and off with half a kelvin of swing, as a plug-in thermostat does it."""

    def __init__(self, plant: Plant) -> None:
        self._plant, self._set_c = plant, plant.site.low_c + 1.0

    def read(self, value: float) -> None:
        if value < self._set_c - 0.5:
            self._plant.switch("heater", True)
        elif value > self._set_c + 0.5:
            self._plant.switch("heater", False)


class Timer:
    """Mist for some seconds every 15 minutes, fan for some minutes every hour, whatever the air is like.

    Twice the nozzles' ordinary pulse and ten minutes of fan: common practice, no source.
    """

    def __init__(self, plant: Plant) -> None:
        self._plant, self._next_ms = plant, MINUTE_MS
        self._heat = Thermostat(plant)

    def read(self, at_ms: int, sensor: str, value: float) -> None:
        if sensor == "temp" and self._plant.site.heater_w:
            self._heat.read(value)

    def due_ms(self) -> int | None:
        return self._next_ms

    def wake(self, at_ms: int) -> None:
        self._plant.switch("mist", True, at_ms + 2_000 * self._plant.site.pulse_s)
        if (at_ms - MINUTE_MS) % (60 * MINUTE_MS) == 0 and self._plant.site.fan_m3_h:
            self._plant.switch("fan", True, at_ms + 10 * MINUTE_MS)
        self._next_ms = at_ms + 15 * MINUTE_MS


class OnOff:
    """Two humidistats, so to speak: on at one value, off at another, from the same sensors as ours."""

    MIST_ON_PCT, MIST_OFF_PCT = 88.0, 92.0
    FAN_ON_PPM, FAN_OFF_PPM = HIGH_PPM - 50.0, HIGH_PPM - 200.0

    def __init__(self, plant: Plant) -> None:
        self._plant = plant
        self._heat = Thermostat(plant)

    def read(self, at_ms: int, sensor: str, value: float) -> None:
        if sensor == "rh":
            self._between("mist", self.MIST_ON_PCT - value, value - self.MIST_OFF_PCT)
        elif sensor == "co2" and self._plant.site.fan_m3_h:
            self._between("fan", value - self.FAN_ON_PPM, self.FAN_OFF_PPM - value)
        elif sensor == "temp" and self._plant.site.heater_w:
            self._heat.read(value)

    def _between(self, relay: str, over: float, under: float) -> None:
        if over > 0.0:
            self._plant.switch(relay, True)
        elif under > 0.0:
            self._plant.switch(relay, False)

    def due_ms(self) -> int | None:
        return None

    def wake(self, at_ms: int) -> None:
        raise AssertionError("it waits for nothing")


class Ours:
    """`core.farm.Farm` through its one entry: inputs with an instant in, commands with leases out."""

    def __init__(self, plant: Plant, settings: FarmSettings) -> None:
        self._plant, self._settings = plant, settings
        self.farm = Farm(settings)
        self.notices: list[tuple[int, AlarmNotice]] = []
        self._seq = 0
        self._programmes = {
            id: held.every_min * MINUTE_MS for id, held in settings.programmes.items() if held.every_min
        }
        self.feed(0, Started("bench", "bench", True))

    def read(self, at_ms: int, sensor: str, value: float) -> None:
        self.feed(at_ms, Reading(sensor, value, WALL_MS + at_ms))

    def due_ms(self) -> int | None:
        moments = [due for due in (self.farm.next_deadline_ms(), self._next_programme()) if due is not None]
        return min(moments, default=None)

    def wake(self, at_ms: int) -> None:
        for id, every_ms in self._programmes.items():
            if at_ms % every_ms == 0:
                self.feed(at_ms, Due(id, WALL_MS + at_ms))
        deadline = self.farm.next_deadline_ms()
        if deadline is not None and deadline <= at_ms:
            self.feed(at_ms, Due(DEADLINE, WALL_MS + at_ms))

    def _next_programme(self) -> int | None:
        at_ms = self._plant.at_ms
        return min(((at_ms // every + 1) * every for every in self._programmes.values()), default=None)

    def feed(self, at_ms: int, item: Input) -> None:
        self._seq += 1
        outcome = self.farm.handle(self._seq, Instant(WALL_MS + at_ms, at_ms), item)
        for command in outcome.commands:
            until = at_ms + command.lease_ms if command.on else None
            if self._plant.online and not command.advise:
                self._plant.switch(command.relay, command.on, until)
        scored = at_ms > self._plant.merits.from_ms
        self._plant.merits.refused += scored * sum(e.kind is EventKind.REFUSED for e in outcome.events)
        for notice in outcome.notices:
            self.notices.append((at_ms, notice))
            if scored and notice.transition is Transition.ACT and notice.announce:
                self._plant.merits.false_alerts += not is_true(notice.kind, self._plant)
