"""A night again: its journalled inputs through a fresh core, compared with what was decided then.

Under the same config the decisions are the same to the byte, or something is wrong with us. Under another
config the first decision that differs is named; from there on the air would have answered differently, so
nothing after it is claimed. Reads the store only.
"""

from collections.abc import Iterator
from dataclasses import dataclass

from gillhouse.config import load_files
from gillhouse.core.farm import Farm
from gillhouse.core.settings import FarmSettings
from gillhouse.errors import StoreError
from gillhouse.store.codec import outcome_lines
from gillhouse.store.reader import Reader
from gillhouse.store.records import Segment

HAND = "recorded by hand"
"""A stretch written while no daemon ran: no relay followed from it."""


@dataclass(frozen=True, slots=True)
class Difference:
    """The first input whose decisions differ."""

    seq: int
    wall_ms: int
    then: tuple[str, ...]
    """Canonical lines of what was decided, as `store.codec.outcome_lines` makes them."""
    now: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Replayed:
    """How far a replay got."""

    inputs: int
    decisions: int
    """Lines: the standing each reading was given, and every command, event and alarm notice."""
    first: Difference | None
    """None: every decision came out the same, byte for byte."""
    lines: tuple[str, ...]
    """Everything decided again, in order, in canonical form."""


def replay(reader: Reader, from_ms: int, to_ms: int, other: FarmSettings | None = None) -> Replayed:
    """Decides again all that was heard from the last snapshot before `from_ms` up to `to_ms` (wall, ms).

    Args:
        other: settings to decide under instead of those in force then.
    Raises:
        StoreError: nothing was kept from that time.
    """
    start = reader.segment_before(from_ms) or next(reader.segments(), None)
    if start is None:
        raise StoreError("the journal is empty: nothing to decide again")
    inputs, lines = 0, list[str]()
    for segment in reader.segments(start.first_seq):
        if segment.why == HAND or segment.now.wall_ms >= to_ms:
            continue
        then = reader.decisions(segment.first_seq, segment.last_seq)
        for seq, wall_ms, now in _again(reader, segment, other):
            if wall_ms >= to_ms:
                break
            inputs += 1
            lines += now
            if now != then.get(seq, ()):
                first = Difference(seq, wall_ms, then.get(seq, ()), now)
                return Replayed(inputs, len(lines), first, tuple(lines))
    return Replayed(inputs, len(lines), None, tuple(lines))


def _again(
    reader: Reader, segment: Segment, other: FarmSettings | None
) -> Iterator[tuple[int, int, tuple[str, ...]]]:
    """Each input of a segment: number, wall ms, and the lines of what a fresh core makes of it."""
    settings, state = _settings(reader, segment.digest), reader.state_at(segment)
    try:
        farm = Farm.restore(settings, state)
    except ValueError as error:
        raise StoreError(
            f"version {segment.version} decided then, and this one cannot go on from its state ({error}): "
            f"use that version to decide this night again"
        ) from error
    if other is not None:
        farm.resettle(other)
    for seq, now, item in reader.inputs_between(segment.first_seq, segment.last_seq):
        yield seq, now.wall_ms, outcome_lines(farm.handle(seq, now, item), item)


def _settings(reader: Reader, digest: str) -> FarmSettings:
    files = reader.config(digest)
    if files is None:
        raise StoreError(f"the config {digest[:12]} of that time is not in the journal")
    return load_files(files).farm
