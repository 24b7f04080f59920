"""What the journal says of one space as plain series: good readings by quantity, and when relays were on.

Here: asking the store, for the commands that fit something to it. Not here: any fit.
"""

from collections.abc import Iterable, Sequence
from statistics import fmean

from gillhouse.audit.runs import runs
from gillhouse.config import Config
from gillhouse.core.outputs import EventKind
from gillhouse.core.quantities import Quantity
from gillhouse.core.readings import Quality
from gillhouse.core.settings import Role, SensorSettings
from gillhouse.store.reader import Reader

OUTSIDE_ZONES = ("intake", "outdoor")
LEASE_BEFORE_MS = 6 * 3_600_000
"""Commands this long before are read too: longer than any lease."""
NEAR_MS = 5_000
"""Readings of several sensors this near in time count as one moment."""

Series = list[tuple[int, float]]
Span = tuple[int, int]


def sensors_of(config: Config, space: str, quantity: Quantity) -> list[SensorSettings]:
    """The sensors that measure the space's own air, or its switches."""
    return [
        sensor
        for sensor in config.farm.sensors.values()
        if sensor.space == space and sensor.quantity is quantity and sensor.zone not in OUTSIDE_ZONES
    ]


def relays_of(config: Config, space: str, role: Role) -> list[str]:
    """Relays of one role that belong to the space alone."""
    return [relay.id for relay in config.farm.relays.values() if relay.space == space and relay.role is role]


def series(reader: Reader, sensors: Iterable[SensorSettings], span: Span) -> Series:
    """Good readings in order of time; those of one moment are averaged."""
    names = {sensor.id for sensor in sensors}
    traces = reader.quick_series(span[0], span[1], names) if names else {}
    good = sorted(
        (ms, value)
        for trace in traces.values()
        for ms, value, quality in zip(trace.ts, trace.value, trace.quality, strict=True)
        if quality == Quality.GOOD
    )
    found: Series = []
    together: list[float] = []
    for ms, value in good:
        if found and ms - found[-1][0] < NEAR_MS:
            together.append(value)
            found[-1] = (found[-1][0], fmean(together))
        else:
            together = [value]
            found.append((ms, value))
    return found


def on_spans(reader: Reader, relays: Sequence[str], span: Span) -> list[Span]:
    """When any of the relays was on, as far as it was driven."""
    stops = [
        one.ts
        for one in reader.events(span[0] - LEASE_BEFORE_MS, span[1])
        if one.event.kind in {EventKind.STOPPED, EventKind.STARTED}
    ]
    found: list[Span] = []
    for relay in relays:
        issued = [
            one
            for one in reader.commands(span[0] - LEASE_BEFORE_MS, span[1], relay)
            if not one.command.advise
        ]
        found += [(run.from_ms, run.to_ms) for run in runs(issued, stops, span[1]) if run.to_ms > span[0]]
    return joined(found)


def switched_spans(reader: Reader, sensors: Sequence[SensorSettings], span: Span) -> list[Span]:
    """When a door was open or somebody inside, by their switches."""
    found: list[Span] = []
    for sensor in sensors:
        begin: int | None = None
        for one in reader.readings(sensor.id, span[0], span[1]):
            if one.value >= 0.5 and begin is None:
                begin = one.ts
            elif one.value < 0.5 and begin is not None:
                found.append((begin, one.ts))
                begin = None
        if begin is not None:
            found.append((begin, span[1]))
    return joined(found)


def joined(spans: Iterable[Span]) -> list[Span]:
    """Overlapping spans made one, in order of time."""
    found: list[Span] = []
    for begin, end in sorted(spans):
        if found and begin <= found[-1][1]:
            found[-1] = (found[-1][0], max(found[-1][1], end))
        else:
            found.append((begin, end))
    return found
