"""What the store's tests share: a writer with its callbacks noted, and rows of an invented tent."""

from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path

from gillhouse.clock import Clock, SystemClock
from gillhouse.core.edges import StoreSettings
from gillhouse.core.inputs import Reading
from gillhouse.core.instant import Instant
from gillhouse.core.outputs import Authority, Command
from gillhouse.core.readings import GOOD, Verdict
from gillhouse.core.reasons import Reason
from gillhouse.store.reader import Reader
from gillhouse.store.rows import CommandRow, ReadingRow
from gillhouse.store.writer import Writer

T0_MS = 1_790_000_000_000
"""21 September 2026, early afternoon in Europe; any moment would do."""


@dataclass
class Noted:
    """A writer and what it told."""

    writer: Writer
    tokens: list[object] = field(default_factory=list)
    states: list[tuple[bool, str]] = field(default_factory=list)


@contextmanager
def writing(path: Path, clock: Clock | None = None, settings: StoreSettings | None = None) -> Iterator[Noted]:
    """A started writer, closed at the end."""
    tokens: list[object] = []
    states: list[tuple[bool, str]] = []
    writer = Writer(
        path,
        clock or SystemClock(),
        settings or StoreSettings(),
        tokens.extend,
        lambda ok, why: states.append((ok, why)),
    )
    writer.start()
    try:
        yield Noted(writer, tokens, states)
    finally:
        writer.close()


def reading(
    seq: int, value: float = 91.2, sensor: str = "tent-1", token: object = None, verdict: Verdict = GOOD
) -> ReadingRow:
    """A reading a second after the one before it."""
    ts = T0_MS + seq * 1000
    return ReadingRow(seq, Instant(ts, seq * 1000), Reading(sensor, value, ts), verdict, token)


def command(seq: int, renewal: bool = False) -> CommandRow:
    told = Command("tent-fan", True, 60_000, Authority.DEMAND, Reason.CO2_HIGH, (seq,), {}, renewal)
    return CommandRow(seq, T0_MS + seq * 1000, told)


def seqs(path: Path) -> list[int]:
    """Numbers of all stored readings, in order of time."""
    with Reader(path) as reader:
        return [at.seq for _, at in reader.all_readings(0, 2 * T0_MS)]
