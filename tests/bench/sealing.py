"""What the chain costs the writer: the same rows stored with and without their seals, in turns.

`python -m tests.bench.sealing`. Processor time of `StoreFile.commit` alone, on a disk in memory where there
is one, so that the card's waits do not drown it. The mix is a farm's own: that of a night of the trial run.
"""

import statistics
import tempfile
import time
from collections.abc import Iterable, Iterator, Sequence
from pathlib import Path
from unittest.mock import patch

from gillhouse.core.edges import StoreSettings
from gillhouse.core.inputs import Due, Reading
from gillhouse.core.instant import Instant
from gillhouse.core.outputs import Authority, Command, Event, EventKind
from gillhouse.core.readings import GOOD
from gillhouse.core.reasons import Reason
from gillhouse.store.backlog import Lost
from gillhouse.store.chain import Chain, readings_digest
from gillhouse.store.file import StoreFile
from gillhouse.store.rows import CommandRow, Entry, EventRow, InputRow, ReadingRow

T0_MS = 1_790_000_000_000 // 3_600_000 * 3_600_000
FACTS = {"co2": 1200.5, "band_high": 900.0, "space": "tent"}
MIX = {"readings": 412, "due times": 55, "commands": 24, "events": 11}
"""Of 500 rows; counted in a night of `gillhouse demo`."""
GROUPS, ROUNDS = 20, 9


def row(kind: str, seq: int) -> Entry:
    ts = T0_MS + seq
    now = Instant(ts, seq)
    if kind == "readings":
        return ReadingRow(seq, now, Reading(f"sensor-{seq % 30}", 91.2, ts), GOOD)
    if kind == "due times":
        return InputRow(seq, now, Due("deadline", ts))
    if kind == "commands":
        told = Command("tent-fan", True, 60_000, Authority.DEMAND, Reason.CO2_HIGH, (seq,), FACTS)
        return CommandRow(seq, ts, told)
    return EventRow(seq, ts, Event(EventKind.DECISION, "tent-fan", "tent", Reason.CO2_HIGH, FACTS, (seq,)))


def groups(kinds: dict[str, int]) -> Iterator[list[Entry]]:
    seq = 0
    for _ in range(GROUPS):
        group = []
        for kind, count in kinds.items():
            group += [row(kind, seq + at + 1) for at in range(count)]
            seq += count
        yield group


def numbered_only(chain: Chain, table: str, row: Iterable[object]) -> tuple[int, bytes]:
    """In place of `Chain.sealed`: the number alone."""
    chain.place += 1
    return chain.place, b""


def us_a_row(kinds: dict[str, int], sealed: bool) -> float:
    memory = Path("/dev/shm")
    made = Chain.sealed if sealed else numbered_only
    with (
        tempfile.TemporaryDirectory(dir=memory if memory.is_dir() else None) as place,
        patch.object(Chain, "sealed", made),
    ):
        store = StoreFile(Path(place) / "journal.db", Instant(T0_MS, 0), StoreSettings())
        spent = 0.0
        for group in groups(kinds):
            begin = time.process_time()
            store.commit(group, Lost(), Instant(T0_MS + 10, 10))
            spent += time.process_time() - begin
        store.close(clean=True)
    return spent / GROUPS / sum(kinds.values()) * 1e6


def told(name: str, kinds: dict[str, int]) -> str:
    pairs = [(us_a_row(kinds, False), us_a_row(kinds, True)) for _ in range(ROUNDS)]
    bare, sealed = (min(column) for column in zip(*pairs, strict=True))
    return f"{name:>10}: {bare:5.2f} us a row without, {sealed:5.2f} us with its seal"


def hour_us(rows: int = 3_600) -> float:
    """One hour's readings, looked through and sealed: microseconds a reading."""
    with tempfile.TemporaryDirectory() as place:
        store = StoreFile(Path(place) / "journal.db", Instant(T0_MS, 0), StoreSettings())
        some: Sequence[Entry] = [row("readings", seq) for seq in range(1, rows)]
        store.commit(some, Lost(), Instant(T0_MS + 10, 10))
        assert store._db is not None
        took = []
        for _ in range(ROUNDS):
            begin = time.process_time()
            readings_digest(store._db, T0_MS)
            took.append(time.process_time() - begin)
        store.close(clean=True)
    return statistics.median(took) / rows * 1e6


if __name__ == "__main__":
    for each in MIX:
        print(told(each, {each: 500}))
    print(told("a farm's", MIX))
    print(f"an hour's readings, once it is over: {hour_us():.2f} us a reading")
