"""Sensors and relays of `farm.yaml`: one class for each format a board may write, one for each relay role.

Here: their keys, bounds and defaults. A key that means nothing for a format or role does not exist for it.
Not here: whatever needs two entries to judge (`checks`), and what becomes of the values (`convert`).

Default run times: starting values of our own, set after what motors, compressors and small relays stand
(a pump's rest of 75 s and 12 starts an hour lie inside the NEMA MG 10 starts table as quoted by trade
pages; 300 s of rest is the usual figure for a compressor; the rest is common practice, no source).
"""

from typing import Annotated, Literal

from pydantic import BeforeValidator, Field, Strict

from gillhouse.config.fields import (
    Count,
    Duration,
    Group,
    Host,
    Ident,
    LocalMoment,
    NotNegative,
    Number,
    Pointer,
    Positive,
    Topic,
    WireText,
    YesNo,
    between,
    duration_ms,
    refuse,
)
from gillhouse.config.guard_file import LimiterGroup, ProofGroup
from gillhouse.core.quantities import Quantity


class SensorGroup(Group):
    space: Ident | None = None
    zone: Ident = "middle"
    quantity: Quantity
    topic: Topic
    every: Annotated[Duration, between("1 s", "1 d")]
    silent_after: Annotated[Duration, between("2 s", "7 d")] | None = None
    """None: three intervals and a quarter (radio loses two in a row now and then), at least 2 min."""
    since: LocalMoment | None = None
    """It was carried here then. None: it has always stood here."""
    on_change: YesNo = False
    """Of an on/off input: the board reports a change at once, beside its interval."""


class MeasuredGroup(SensorGroup):
    unit: WireText | None = None
    """Must be given but for an on/off input that comes as a number."""
    pulses: Positive | None = None
    """Of an on/off input that comes as a growing count: so much more since the last report means on."""
    over: Number | None = None
    """Of an on/off input that comes as a number: over this means on."""
    error: NotNegative = 0.0
    calibrated: YesNo = False
    self_calibrating: YesNo = False
    """CO2 alone: its module takes the lowest of some days for fresh air, and moves its scale there."""


class NumberSensor(MeasuredGroup):
    format: Literal["number"]


class JsonSensor(MeasuredGroup):
    format: Literal["json"]
    path: Pointer
    time: Pointer | None = None
    seq: Pointer | None = None


class SenmlSensor(MeasuredGroup):
    format: Literal["senml"]
    record: WireText


class WordsSensor(SensorGroup):
    format: Literal["words"]
    words: dict[str, WireText]
    path: Pointer | None = None
    button: YesNo = False
    """Of people: a push button beside the door; each press begins the time of somebody inside."""


SENSORS: dict[str, type[SensorGroup]] = {
    "number": NumberSensor,
    "json": JsonSensor,
    "senml": SenmlSensor,
    "words": WordsSensor,
}

WORD_KEYS: dict[Quantity, tuple[str, str]] = {
    Quantity.DOOR: ("open", "closed"),
    Quantity.TANK: ("water", "empty"),
    Quantity.PEOPLE: ("inside", "nobody"),
    Quantity.MAINS: ("present", "gone"),
    Quantity.FLOW: ("flows", "still"),
    Quantity.CURRENT: ("flows", "none"),
    Quantity.WATER_PRESSURE: ("pressed", "slack"),
    Quantity.RUNNING: ("runs", "stands"),
    Quantity.LEAK: ("wet", "dry"),
    Quantity.EMERGENCY_STOP: ("pressed", "released"),
}
"""The keys under `words`, 1.0 first."""


def _lease(value: object) -> int | None:
    if value == "none":
        return None
    lease_ms = duration_ms(value)
    if not 10_000 <= lease_ms <= 900_000:
        raise refuse("should be from 10 s to 15 min, or none where the board cannot drop out by itself")
    return lease_ms


Lease = Annotated[int | None, BeforeValidator(_lease)]


class CommandGroup(Group):
    topic: Topic
    on: WireText = '{"on": true, "seconds": {seconds}, "until": {until}}'
    off: WireText = '{"on": false}'


class StateGroup(Group):
    topic: Topic
    path: Pointer | None = None
    on: WireText = "ON"
    off: WireText = "OFF"
    within: Annotated[Duration, between("1 s", "5 min")] = 10_000


class AvailableGroup(Group):
    topic: Topic
    on: WireText = "online"
    off: WireText = "offline"


class GpioGroup(Group):
    """A pin of this machine."""

    pin: Annotated[Count, Field(ge=2, le=27)]
    """As the chip counts (BCM). 0 and 1 belong to the memory of boards that are put on top."""
    active_low: YesNo = True
    chip: Annotated[int, Strict(), Field(ge=0, le=15)] | None = None


class ModbusGroup(Group):
    """A coil of a Modbus board, over TCP (host) or a serial line (serial)."""

    coil: Annotated[int, Strict(), Field(ge=0, le=65_535)]
    """From 0, as in the protocol."""
    device: Annotated[Count, Field(ge=1, le=247)] = 1
    host: Host | None = None
    port: Annotated[Count, Field(ge=1, le=65_535)] = 502
    serial: Annotated[str, Field(pattern=r"^/dev/[\w./:-]+$", max_length=200)] | None = None
    baud: Literal[1_200, 2_400, 4_800, 9_600, 19_200, 38_400, 57_600, 115_200] = 9_600
    parity: Literal["none", "even", "odd"] = "none"
    stop_bits: Literal[1, 2] = 1
    timeout: Annotated[Duration, between("50 ms", "5 s")] = 1_000
    within: Annotated[Duration, between("1 s", "5 min")] = 10_000


class RelayGroup(Group):
    role: str
    space: Ident | None = None
    advise_only: YesNo | None = None
    """None: as the farm's."""
    driver: Literal["mqtt", "memory", "gpio", "modbus"] = "mqtt"
    gpio: GpioGroup | None = None
    modbus: ModbusGroup | None = None
    command: CommandGroup | None = None
    state: StateGroup | None = None
    available: AvailableGroup | None = None
    lease: Lease = 300_000
    run_time_limiter: LimiterGroup | None = None
    least_on: Annotated[Duration, between("0 s", "1 h")] = 0
    least_off: Annotated[Duration, between("0 s", "1 h")] = 0
    longest_run: Annotated[Duration, between("1 s", "1 d")] | None = None
    rest: Annotated[Duration, between("0 s", "1 d")] = 300_000
    """After a longest run."""
    starts_per_h: Annotated[Count, Field(le=3_600)] | None = None
    watts: NotNegative = 0.0
    never_with: tuple[Ident, ...] = ()
    only_door_closed: YesNo = False
    not_with_people: YesNo = False
    most_per_h: Annotated[Duration, between("1 s", "1 h")] | None = None
    """Longest running time in any hour, all runs together."""
    most_per_day: Annotated[Duration, between("1 s", "1 d")] | None = None
    proofs: tuple[ProofGroup, ...] = ()
    """Inputs that see whether its load runs."""
    only_with: tuple[Ident, ...] = ()
    """Relays whose loads must be seen to run while this one is on."""
    master: Ident | None = None
    """Relay of a valve or contactor upstream of this load."""
    mains: Ident | None = None
    """Sensor that says whether this load has mains."""


class MistRelay(RelayGroup):
    least_on: Annotated[Duration, between("0 s", "1 h")] = 1_000
    longest_run: Annotated[Duration, between("1 s", "10 min")] | None = 120_000
    pulse: Annotated[Duration, between("1 s", "10 min")] = 8_000
    pulse_gap: Annotated[Duration, between("1 s", "6 h")] = 60_000
    litres_per_h: Positive
    daily_litres: Positive | None = None
    tank: Ident | None = None
    hardness: Annotated[NotNegative, Field(le=2_000)] | None = None
    """mg/l as calcium carbonate, where it is not the farm's."""
    only_door_closed: YesNo = True
    not_with_people: YesNo = True


class FanRelay(RelayGroup):
    least_on: Annotated[Duration, between("0 s", "1 h")] = 30_000
    least_off: Annotated[Duration, between("0 s", "1 h")] = 30_000
    air_m3_per_h: Positive


class CirculationRelay(RelayGroup):
    least_on: Annotated[Duration, between("0 s", "1 h")] = 30_000
    least_off: Annotated[Duration, between("0 s", "1 h")] = 30_000


class HeaterRelay(RelayGroup):
    least_on: Annotated[Duration, between("0 s", "1 h")] = 60_000
    least_off: Annotated[Duration, between("0 s", "1 h")] = 60_000


class CoolerRelay(RelayGroup):
    least_on: Annotated[Duration, between("0 s", "1 h")] = 180_000
    least_off: Annotated[Duration, between("0 s", "1 h")] = 300_000


class LightRelay(RelayGroup):
    least_on: Annotated[Duration, between("0 s", "1 h")] = 60_000
    least_off: Annotated[Duration, between("0 s", "1 h")] = 60_000


class UvRelay(RelayGroup):
    """A lamp that harms eyes and skin. Its door must be proved shut and nobody inside, whatever these say."""

    least_on: Annotated[Duration, between("0 s", "1 h")] = 0
    least_off: Annotated[Duration, between("0 s", "1 h")] = 60_000
    longest_run: Annotated[Duration, between("1 s", "4 h")] | None = 3_600_000
    lease: Lease = 60_000
    only_door_closed: YesNo = True
    not_with_people: YesNo = True


class PumpRelay(RelayGroup):
    least_on: Annotated[Duration, between("0 s", "1 h")] = 5_000
    least_off: Annotated[Duration, between("0 s", "1 h")] = 75_000
    starts_per_h: Annotated[Count, Field(le=3_600)] | None = 12
    tank: Ident | None = None


class DamperRelay(RelayGroup):
    pass


class MasterRelay(RelayGroup):
    pass


class AlarmRelay(RelayGroup):
    lease: Lease = 60_000
    """Short: when we die it is the end of the lease that calls."""


RELAYS: dict[str, type[RelayGroup]] = {
    "mist": MistRelay,
    "fan": FanRelay,
    "heater": HeaterRelay,
    "cooler": CoolerRelay,
    "light": LightRelay,
    "circulation": CirculationRelay,
    "uv": UvRelay,
    "pump": PumpRelay,
    "damper": DamperRelay,
    "master": MasterRelay,
    "alarm": AlarmRelay,
}
