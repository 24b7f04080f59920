"""A night again: its journalled inputs through a fresh core, compared with what was decided then.

Under the same config the decisions are the same to the byte, or something is wrong with us. Under another
config the first decision that differs is named; from there on the air would have answered differently, so
nothing after it is claimed. Reads the store only.
"""

from collections import defaultdict
from collections.abc import Iterator, Mapping
from dataclasses import dataclass

from gillhouse.config import load_files
from gillhouse.core.farm import Farm
from gillhouse.core.outputs import AlarmNotice, Command, Event, Outcome
from gillhouse.core.settings import FarmSettings
from gillhouse.core.snapshot import to_plain
from gillhouse.errors import StoreError
from gillhouse.store.codec import canonical
from gillhouse.store.reader import Reader
from gillhouse.store.records import Segment

LAST = 1 << 62
HAND = "recorded by hand"
"""A stretch written while no daemon ran: no relay followed from it."""


@dataclass(frozen=True, slots=True)
class Difference:
    """The first input whose decisions differ."""

    seq: int
    wall_ms: int
    then: tuple[str, ...]
    """Canonical lines of what was decided."""
    now: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Replayed:
    """How far a replay got."""

    inputs: int
    decisions: int
    first: Difference | None
    """None: every decision came out the same, byte for byte."""
    lines: tuple[str, ...]
    """Everything decided again, in order, in canonical form."""


def line(what: Command | Event | AlarmNotice) -> str:
    """A decision in canonical form: the same decision always gives the same bytes."""
    return f"{type(what).__name__} {canonical(to_plain(what))}"


def decided(outcome: Outcome) -> tuple[str, ...]:
    made: list[Command | Event | AlarmNotice] = [*outcome.commands, *outcome.events, *outcome.notices]
    return tuple(map(line, made))


def replay(reader: Reader, from_ms: int, to_ms: int, other: FarmSettings | None = None) -> Replayed:
    """Decides again all that was heard from the last snapshot before `from_ms` up to `to_ms` (wall, ms).

    Args:
        other: settings to decide under instead of those in force then.
    Raises:
        StoreError: nothing was kept from that time.
    """
    start = reader.segment_before(from_ms) or next(iter(reader.segments()), None)
    if start is None:
        raise StoreError("the journal is empty: nothing to decide again")
    segments = [one for one in reader.segments(start.first_seq) if one.now.wall_ms < to_ms]
    # A stepped clock may have labelled rows of these stretches with another time: look at all from there.
    begin_ms = min([one.now.wall_ms for one in segments], default=0)
    then = _decided_then(reader, begin_ms if len(segments) == 1 else 0, LAST)
    inputs, lines = 0, list[str]()
    for segment, last in _stretches(segments):
        for seq, wall_ms, now in _again(reader, segment, last, other):
            if wall_ms >= to_ms:
                break
            inputs += 1
            lines += now
            if now != then.get(seq, ()):
                first = Difference(seq, wall_ms, then.get(seq, ()), now)
                return Replayed(inputs, len(lines), first, tuple(lines))
    return Replayed(inputs, len(lines), None, tuple(lines))


def _stretches(segments: list[Segment]) -> Iterator[tuple[Segment, int]]:
    """Each segment with its last sequence number."""
    ends = [one.first_seq - 1 for one in segments[1:]] + [LAST]
    for segment, last in zip(segments, ends, strict=True):
        if segment.why != HAND and last >= segment.first_seq:
            yield segment, last


def _again(
    reader: Reader, segment: Segment, last: int, other: FarmSettings | None
) -> Iterator[tuple[int, int, tuple[str, ...]]]:
    """Each input of a segment: number, wall ms, and the lines of what a fresh core makes of it."""
    farm = Farm.restore(_settings(reader, segment.digest), segment.snapshot)
    if other is not None:
        farm.resettle(other)
    for seq, now, item in reader.inputs_between(segment.first_seq, last):
        yield seq, now.wall_ms, decided(farm.handle(seq, now, item))


def _settings(reader: Reader, digest: str) -> FarmSettings:
    files = reader.config(digest)
    if files is None:
        raise StoreError(f"the config {digest[:12]} of that time is not in the journal")
    return load_files(files).farm


def _decided_then(reader: Reader, from_ms: int, to_ms: int) -> Mapping[int, tuple[str, ...]]:
    """By input, the lines of what was decided. Rows no core made (number 0) are left out."""
    found: dict[int, list[str]] = defaultdict(list)
    for command in reader.commands(from_ms, to_ms):
        found[command.seq].append(line(command.command))
    for event in reader.events(from_ms, to_ms):
        found[event.seq].append(line(event.event))
    for alarm in reader.alarms(from_ms, to_ms):
        found[alarm.seq].append(line(alarm.notice))
    found.pop(0, None)
    return {seq: tuple(lines) for seq, lines in found.items()}
