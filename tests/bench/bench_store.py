"""What the store costs, beside a floor that does nothing else: bytes a reading, time a put, bytes a day.

Floor: ids, milliseconds and a REAL in one WITHOUT ROWID table keyed (ts, series), WAL, synchronous FULL, the
same rows in the same groups. Run `python tests/bench/bench_store.py`; the ratios are what counts.
"""

import random
import sqlite3
import statistics
import sys
import tempfile
import time
from collections.abc import Iterator
from pathlib import Path

from gillhouse.clock import SystemClock, VirtualClock
from gillhouse.core.edges import StoreSettings
from gillhouse.core.inputs import Reading
from gillhouse.core.instant import Instant
from gillhouse.core.readings import GOOD
from gillhouse.store.rows import ReadingRow, SegmentRow
from gillhouse.store.writer import Writer

SERIES = 30
EVERY_MS = 10_000
T0_MS = 1_790_000_000_000
KEEP = StoreSettings(queue_rows=5_000_000, keep_days=10_000)


def load(rows: int) -> Iterator[ReadingRow]:
    """`rows` readings of 30 sensors, one each 10 s in turn; the two clocks jitter by a millisecond."""
    chance = random.Random(1)
    for seq in range(1, rows + 1):
        turn, place = divmod(seq - 1, SERIES)
        ts = T0_MS + turn * EVERY_MS + place * (EVERY_MS // SERIES) + chance.randrange(-100, 100)
        now = Instant(ts, ts - T0_MS + chance.choice((-1, 0, 0, 1)))
        value = round(90 + chance.gauss(0, 2), 1)
        yield ReadingRow(seq, now, Reading(f"sensor-{place}", value, ts), GOOD, seq)


def floor_db(path: Path) -> sqlite3.Connection:
    db = sqlite3.connect(path, isolation_level=None)
    db.execute("PRAGMA journal_mode = WAL")
    db.execute("PRAGMA synchronous = FULL")
    db.execute(
        "CREATE TABLE r (ts INTEGER, series INTEGER, value REAL, PRIMARY KEY (ts, series)) WITHOUT ROWID"
    )
    return db


def floor_group(db: sqlite3.Connection, group: list[ReadingRow]) -> None:
    rows = [(row.reading.sensed_ms, row.seq % SERIES, row.reading.value) for row in group]
    db.execute("BEGIN")
    db.executemany("INSERT INTO r VALUES (?, ?, ?)", rows)
    db.execute("COMMIT")


def a_writer(path: Path, clock: VirtualClock | SystemClock | None = None) -> Writer:
    writer = Writer(path, clock or SystemClock(), KEEP, lambda _: None, lambda ok, why: None)
    writer.set_unacked_limit(10**9)
    writer.start()
    writer.put(SegmentRow(1, Instant(T0_MS, 0), "d", "0", "start", {}))
    writer.flush(60)
    return writer


def groups(rows: int, size: int = 3000) -> Iterator[list[ReadingRow]]:
    group: list[ReadingRow] = []
    for row in load(rows):
        group.append(row)
        if len(group) == size:
            yield group
            group = []
    if group:
        yield group


def written_bytes() -> int:
    """Handed to the disk by this process. Source: proc(5), /proc/pid/io, write_bytes."""
    fields = dict(line.split(": ") for line in Path("/proc/self/io").read_text().splitlines())
    return int(fields["write_bytes"])


def sizes(folder: Path, rows: int, size: int = SERIES) -> tuple[float, float]:
    """Bytes of file per reading beyond an empty file: ours, with the sums of all hours; floor.

    Committed in groups of `size`.
    """
    a_writer(folder / "empty.db", VirtualClock(T0_MS)).close()
    floor_db(folder / "nothing.db").close()
    after = T0_MS + rows // SERIES * EVERY_MS + 2 * 3_600_000  # every hour is over, and summed up
    writer, db = a_writer(folder / "ours.db", VirtualClock(after)), floor_db(folder / "floor.db")
    db.execute("PRAGMA synchronous = OFF")  # the size does not depend on it
    for group in groups(rows, size):
        writer.put(*group)
        writer.flush(60)
        floor_group(db, group)
    writer.close()
    db.close()

    def size_of(name: str) -> int:
        return (folder / name).stat().st_size

    ours, floor = size_of("ours.db") - size_of("empty.db"), size_of("floor.db") - size_of("nothing.db")
    return ours / rows, floor / rows


def speed(folder: Path, rows: int) -> tuple[float, float, float]:
    """Median microseconds a put costs its caller; rows a second until all are safe; the floor's."""
    made = list(load(rows))
    writer = a_writer(folder / "ours.db")
    costs = []
    begun = time.perf_counter()
    for at in range(0, rows, 100):
        before = time.perf_counter()
        for row in made[at : at + 100]:
            writer.put(row)
        costs.append((time.perf_counter() - before) / 100 * 1e6)
    writer.flush(120)
    ours = rows / (time.perf_counter() - begun)
    writer.close()
    db = floor_db(folder / "floor.db")
    begun = time.perf_counter()
    for at in range(0, rows, 3000):
        floor_group(db, made[at : at + 3000])
    floor = rows / (time.perf_counter() - begun)
    db.close()
    return statistics.median(costs), ours, floor


def wear(folder: Path, hours: float) -> tuple[float, float]:
    """MB written a day at 3 readings a second in 10 s groups: ours, floor."""
    days = hours / 24
    rows = int(hours * 3600 * SERIES / (EVERY_MS / 1000))
    writer = a_writer(folder / "ours.db", VirtualClock(T0_MS))
    before = written_bytes()
    for group in groups(rows, SERIES):
        writer.put(*group)
        writer.flush(60)
    ours = written_bytes() - before
    writer.close()
    db = floor_db(folder / "floor.db")
    before = written_bytes()
    for group in groups(rows, SERIES):
        floor_group(db, group)
    floor = written_bytes() - before
    db.close()
    return ours / days / 1e6, floor / days / 1e6


def main(rows: int = 1_000_000) -> None:
    with tempfile.TemporaryDirectory() as one:
        ours, floor = sizes(Path(one), rows)
        print(f"size:  {ours:.1f} B a reading, floor {floor:.1f}, ratio {ours / floor:.2f} ({rows} rows)")
    with tempfile.TemporaryDirectory() as two:
        put_us, ours, floor = speed(Path(two), 300_000)
        ratio = ours / floor
        print(f"speed: put {put_us:.2f} us (median), {ours:.0f} rows/s, floor {floor:.0f}, ratio {ratio:.2f}")
    with tempfile.TemporaryDirectory() as three:
        ours, floor = wear(Path(three), 4)
        ratio = ours / max(floor, 1e-9)  # 0 on a file system in memory
        print(f"wear:  {ours:.0f} MB a day at 3 readings/s, floor {floor:.0f}, ratio {ratio:.2f}")


if __name__ == "__main__":
    main(*(int(word) for word in sys.argv[1:2]))
