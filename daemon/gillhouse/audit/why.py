"""Why a relay stood as it did: from the command back to the reading or due time, and on to the answer.

Here: the chain of one moment, as values. All of it is looked up in the store by the sequence numbers the
command itself names; nothing is worked out anew. Not here: its telling (`why_told`), the night's figures.
"""

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from datetime import tzinfo
from typing import Any

from gillhouse.audit import told
from gillhouse.audit.corrections import corrections
from gillhouse.audit.evidence import RUNS_BEFORE_MS, config_at
from gillhouse.audit.night import AuditError
from gillhouse.audit.runs import Run, runs
from gillhouse.audit.wording import DOUBT_WORD
from gillhouse.core import inputs
from gillhouse.core.calibration import correct
from gillhouse.core.instant import Instant
from gillhouse.core.outputs import EventKind
from gillhouse.core.quantities import MEASURES
from gillhouse.core.readings import Mark, Quality
from gillhouse.core.settings import FarmSettings, RelaySettings
from gillhouse.store.reader import Reader
from gillhouse.store.records import CommandAt, EventAt, ReadingAt

AFTER_MS = 6 * 3_600_000
"""A run's end is looked for this long after the moment asked about."""
ECHO_MS = 60_000
ECHO_INPUTS = 2_000
"""A board's answer is looked for this long, and among so many inputs, after the command."""


@dataclass(frozen=True, slots=True)
class Row:
    """One input of the journal."""

    seq: int
    now: Instant
    item: inputs.Input


@dataclass(frozen=True, slots=True)
class Link:
    """One input a command named as its cause."""

    seq: int
    at_ms: int
    kind: str
    """reading, due time, person, board, link, clock, start or settings."""
    words: str
    facts: Mapping[str, Any]


@dataclass(frozen=True, slots=True)
class Chain:
    """All that led to, and followed from, one command."""

    relay: RelaySettings
    place: str
    asked_ms: int
    on: bool
    """At the moment asked about; False too where it was never told anything."""
    command: CommandAt | None
    run: Run | None
    """The run the command opened, where it is an ON."""
    causes: tuple[Link, ...]
    held_back: tuple[EventAt, ...]
    """Why the wish was not met before, or is not met now."""
    standing: EventAt | None
    """Off: the last 'no change because' of what steers it, before the moment."""
    echo: Row | None
    zone: tzinfo


def why(reader: Reader, relay: str, from_ms: int, to_ms: int) -> Chain:
    """The chain of what a relay did at a moment.

    Args:
        from_ms, to_ms: the moment as typed: a minute or a second. On at its begin comes first, then the first
            run that began within it, then the last command before.
    Raises:
        AuditError: no such relay; the message names those there are.
    """
    farm = config_at(reader, to_ms).farm
    settings = farm.relays.get(relay)
    if settings is None:
        raise AuditError(f"relay {relay!r} is not in this farm; there are: {', '.join(farm.relays)}")
    command, run = _found(reader, relay, from_ms, to_ms)
    on = run is not None
    asked_ms = max(from_ms, run.from_ms) if run is not None else from_ms
    place = farm.spaces[settings.space].name if settings.space else "shared"
    return Chain(
        relay=settings,
        place=place,
        asked_ms=asked_ms,
        on=on,
        command=command,
        run=run,
        causes=() if command is None else tuple(_causes(reader, farm, command)),
        held_back=tuple(_held_back(reader, relay, command, (from_ms, on))),
        standing=None if on else _standing_decision(reader, settings, from_ms),
        echo=None if command is None else _echo(reader, command),
        zone=farm.zone,
    )


def _found(reader: Reader, relay: str, from_ms: int, to_ms: int) -> tuple[CommandAt | None, Run | None]:
    """The command that explains the moment, and its run if the relay was on."""
    begin, end = from_ms - RUNS_BEFORE_MS, to_ms + AFTER_MS
    issued = list(reader.commands(begin, end, relay))
    kinds = (EventKind.STARTED, EventKind.STOPPED)
    stops = sorted(one.ts for kind in kinds for one in reader.events(begin, end, kind))
    # driven and advised runs are kept apart: a relay let go tonight was only advised before
    apart = [[one for one in issued if one.command.advise is advise] for advise in (False, True)]
    found = sorted((run for some in apart for run in runs(some, stops, end)), key=lambda run: run.from_ms)
    touching = [run for run in found if run.to_ms > from_ms and run.from_ms < to_ms]
    if touching:
        return touching[0].began, touching[0]
    return reader.last_command(relay, from_ms), None


def _causes(reader: Reader, farm: FarmSettings, command: CommandAt) -> list[Link]:
    found = []
    for seq in command.command.causes:
        stored = reader.input(seq)
        if stored is None:
            lost = f"input {seq} is no longer in the store"
            found.append(Link(seq, command.ts, "lost", lost, {}))
            continue
        row = Row(*stored)
        if isinstance(row.item, inputs.Reading):
            found.append(_reading(reader, farm, row, row.item))
        else:
            kind, words, facts = _OTHERS[type(row.item)](row.item, farm.zone)
            found.append(Link(seq, row.now.wall_ms, kind, words, facts))
    return found


def _reading(reader: Reader, farm: FarmSettings, row: Row, item: inputs.Reading) -> Link:
    stored = next(
        (
            one
            for one in reader.readings(item.sensor, item.sensed_ms, item.sensed_ms + 1)
            if one.seq == row.seq
        ),
        None,
    )
    sensor = farm.sensors.get(item.sensor)
    space = farm.spaces.get(sensor.space) if sensor and sensor.space else None
    band = space.bands.get(sensor.quantity) if space and sensor else None
    low, high = (band.low, band.high) if band else (None, None)
    unit = MEASURES[sensor.quantity].unit if sensor else ""
    shown = {"%": " %", "Cel": " C", "[ppm]": " ppm"}.get(unit, "")
    known = corrections(reader, row.now.wall_ms, row.seq).at(sensor, row.seq) if sensor else None
    value = item.value if known is None else round(correct(known, item.value), 2)
    fixed = "" if known is None else f" ({value:g}{shown} by its last check)"
    words = (
        f"sensor {item.sensor} said {item.value:g}{shown}{fixed}, {_standing(stored)}"
        f"{_band_words(low, high, shown)}"
    )
    facts = {
        "sensor": item.sensor,
        "value": value,
        "raw": item.value,
        "sensed_ms": item.sensed_ms,
        "unit": unit,
        "quality": stored.quality.name if stored else None,
        "mark": stored.mark.value if stored else None,
        "delivery": item.delivery.value,
        "low": low,
        "high": high,
    }
    return Link(row.seq, item.sensed_ms, "reading", words, facts)


def _standing(stored: ReadingAt | None) -> str:
    if stored is None or stored.quality is Quality.GOOD:
        return "wet through" if stored is not None and stored.mark is Mark.SATURATED else "trusted"
    return f"not trusted ({DOUBT_WORD.get(stored.mark.value, stored.mark.value)})"


def _band_words(low: float | None, high: float | None, unit: str) -> str:
    if low is not None and high is not None:
        return f"; it should be {low:g}-{high:g}{unit}"
    if low is not None:
        return f"; it should be over {low:g}{unit}"
    return "" if high is None else f"; it should be under {high:g}{unit}"


def _due(item: inputs.Due, zone: tzinfo) -> tuple[str, str, dict[str, Any]]:
    at = f"{told.local(item.due_ms, zone):%H:%M:%S}"
    words = (
        f"a time to look again came at {at}"
        if item.what == inputs.DEADLINE
        else f"{item.what} was due at {at}"
    )
    return "due time", words, {"what": item.what, "due_ms": item.due_ms}


def _person(item: inputs.OperatorAction, zone: tzinfo) -> tuple[str, str, dict[str, Any]]:
    facts = {"who": item.who, "act": item.act.value, "subject": item.subject, "text": item.text}
    return "person", f"{item.who} asked: {item.act.value} {item.subject} {item.text}".rstrip(), facts


def _batch(item: inputs.BatchAction, zone: tzinfo) -> tuple[str, str, dict[str, Any]]:
    facts = {"who": item.who, "act": item.act.value, "subject": item.batch, "text": item.text}
    more = " ".join(str(word) for word in (item.stage, item.space, item.text) if word)
    return "person", f"{item.who} asked: batch {item.act.value} {item.batch} {more}".rstrip(), facts


def _check(item: inputs.Calibrated, zone: tzinfo) -> tuple[str, str, dict[str, Any]]:
    did = "took back the last check of" if item.calibration is None else "checked"
    return "check", f"{item.who} {did} {item.sensor}", {"who": item.who, "sensor": item.sensor}


def _moved(item: inputs.SensorsAway, zone: tzinfo) -> tuple[str, str, dict[str, Any]]:
    did = "took out" if item.for_ms else "put back"
    facts = {"who": item.who, "sensors": list(item.sensors), "for_ms": item.for_ms}
    return "sensors", f"{item.who} {did} {', '.join(item.sensors)}", facts


def _measuring(item: inputs.Measure, zone: tzinfo) -> tuple[str, str, dict[str, Any]]:
    did = "began" if item.begin else "ended"
    return "measuring", f"{item.who} {did} to measure {item.space}", {"who": item.who, "space": item.space}


def _measured(item: inputs.Measured, zone: tzinfo) -> tuple[str, str, dict[str, Any]]:
    did = "went back to the labels in" if item.found is None else "put measured figures to use in"
    return "measuring", f"{item.who} {did} {item.space}", {"who": item.who, "space": item.space}


def _board(item: inputs.RelayReport, zone: tzinfo) -> tuple[str, str, dict[str, Any]]:
    facts = {"relay": item.relay, "on": item.on, "available": item.available}
    return "board", f"the board of {item.relay} {_said(item)}", facts


def _said(item: inputs.RelayReport) -> str:
    if not item.available:
        return "was gone"
    return {True: "said on", False: "said off", None: "was there"}[item.on]


def _link(item: inputs.LinkChange, zone: tzinfo) -> tuple[str, str, dict[str, Any]]:
    state = "came back" if item.up else "was lost"
    return "link", f"the {item.link.value} {state}", {"link": item.link.value, "up": item.up}


def _clock(item: inputs.ClockStep, zone: tzinfo) -> tuple[str, str, dict[str, Any]]:
    if item.by_ms == 0:
        return "clock", "the clock was found to be set", {"by_ms": 0}
    return "clock", f"the clock was set by {item.by_ms / 1000:g} s", {"by_ms": item.by_ms}


def _settings(item: inputs.SettingsChange, zone: tzinfo) -> tuple[str, str, dict[str, Any]]:
    return "settings", "the settings were read anew", {"digest": item.digest}


def _start(item: inputs.Started, zone: tzinfo) -> tuple[str, str, dict[str, Any]]:
    return "start", "this box started", {"version": item.version, "clean": item.clean}


_OTHERS: dict[type, Callable[[Any, tzinfo], tuple[str, str, dict[str, Any]]]] = {
    inputs.Due: _due,
    inputs.OperatorAction: _person,
    inputs.BatchAction: _batch,
    inputs.Calibrated: _check,
    inputs.SensorsAway: _moved,
    inputs.Measure: _measuring,
    inputs.Measured: _measured,
    inputs.RelayReport: _board,
    inputs.LinkChange: _link,
    inputs.ClockStep: _clock,
    inputs.SettingsChange: _settings,
    inputs.Started: _start,
}


def _held_back(
    reader: Reader, relay: str, command: CommandAt | None, moment: tuple[int, bool]
) -> list[EventAt]:
    """Refusals since the command before this one (it is on), or since the last command (it is off)."""
    at_ms, on = moment
    if command is None:
        begin, end = at_ms - AFTER_MS, at_ms
    elif on:
        before = reader.last_command(relay, command.ts)
        begin, end = (before.ts if before else command.ts - AFTER_MS), command.ts + 1
    else:
        begin, end = command.ts, at_ms
    rows = reader.events(begin, max(begin, end), EventKind.REFUSED)
    return [one for one in rows if one.event.subject == relay]


def _standing_decision(reader: Reader, relay: RelaySettings, at_ms: int) -> EventAt | None:
    found = None
    for one in reader.events(at_ms - AFTER_MS, at_ms, EventKind.DECISION):
        event = one.event
        by_role = event.space == relay.space and event.facts.get("role") == relay.role.value
        if event.reason is not None and (by_role or event.subject == relay.id):
            found = one
    return found


def _echo(reader: Reader, command: CommandAt) -> Row | None:
    """The first thing the board said after the command that agrees with it."""
    if command.command.advise or not command.seq:
        return None
    for seq, now, said in reader.inputs_of(inputs.RelayReport, command.seq + 1, command.seq + ECHO_INPUTS):
        if now.wall_ms > command.ts + ECHO_MS:
            return None
        if (said.relay, said.on) == (command.command.relay, command.command.on):
            return Row(seq, now, said)
    return None
