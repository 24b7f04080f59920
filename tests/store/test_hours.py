"""Sums of hours: worked by hand, recomputed naively, complete whatever happens, kept longer than readings."""

import sqlite3
import statistics
import time
from pathlib import Path

from hypothesis import given, settings
from hypothesis import strategies as st

from gillhouse.clock import VirtualClock
from gillhouse.core.edges import StoreSettings
from gillhouse.core.inputs import Delivery, Reading
from gillhouse.core.instant import Instant
from gillhouse.core.readings import GOOD, Mark, Quality, Verdict
from gillhouse.store.hours import GRACE_MS, HOLD_MS, HOUR_MS, Hours
from gillhouse.store.migrate import migrate
from gillhouse.store.packing import SERIES_BITS
from gillhouse.store.reader import Reader
from gillhouse.store.records import HourAt
from gillhouse.store.rows import ReadingRow, SeriesRow
from gillhouse.store.schema import MIGRATIONS
from store.kept import writing

H0_MS = 497_223 * HOUR_MS
"""21 September 2026, 15:00 UTC; any full hour would do."""
MIN = 60_000
LATE = Verdict(Quality.SUSPECT, Mark.LATE)
DOUBTED = Verdict(Quality.SUSPECT, Mark.JUMPED)
TENT = SeriesRow("tent-1", "humidity", "%", "tent", "middle")
DAY_MS = 86_400_000


def row(seq: int, ms: int, value: float, verdict: Verdict = GOOD, sensor: str = "tent-1") -> ReadingRow:
    ts, came = H0_MS + ms, Delivery.LATE if verdict is LATE else Delivery.LIVE
    return ReadingRow(seq, Instant(ts, ms), Reading(sensor, value, ts, True, None, came), verdict)


def hours(path: Path, sensor: str = "tent-1") -> list[HourAt]:
    with Reader(path) as reader:
        return list(reader.hours(sensor, 0, 1 << 48))


def test_an_hour_by_hand(tmp_path: Path) -> None:
    """90 from 14:55 (before the hour), 80 at 15:10, 86 at 15:20; then nothing, so 86 holds 15 min, to 15:35.

    Known 15:00-15:35. Mean: (10 min x 90 + 10 min x 80 + 15 min x 86) / 35 min = 85.4286. A doubted reading
    and an impossible late one do not count."""
    path, clock = tmp_path / "journal.db", VirtualClock(H0_MS)
    with writing(path, clock) as kept:
        kept.writer.put(
            TENT, row(1, -5 * MIN, 90.0), row(2, 10 * MIN, 80.0), row(3, 12 * MIN, 20.0, DOUBTED),
            row(4, 15 * MIN, 130.0, LATE), row(5, 20 * MIN, 86.0),
        )  # fmt: skip
        assert kept.writer.flush()
        assert hours(path) == []  # still under way
        for _ in range(3):
            clock.advance_to(clock.now().mono_ms + HOUR_MS + GRACE_MS)
            kept.writer.put(row(clock.now().mono_ms, clock.now().mono_ms, 88.0, sensor="room-1"))
            assert kept.writer.flush()
    before, found = hours(path)
    assert (before.begin_ms, before.n, before.known_ms, before.mean) == (H0_MS - HOUR_MS, 1, 5 * MIN, 90.0)
    assert (found.begin_ms, found.n, found.known_ms) == (H0_MS, 2, 35 * MIN)
    assert (found.least, found.most) == (80.0, 90.0)
    assert round(found.mean, 4) == 85.4286


def test_a_late_reading_has_its_hour_summed_up_again(tmp_path: Path) -> None:
    path, clock = tmp_path / "journal.db", VirtualClock(H0_MS)
    with writing(path, clock) as kept:
        kept.writer.put(TENT, row(1, 0, 90.0))
        for seq in range(2, 6):
            clock.advance_to(seq * HOUR_MS)
            kept.writer.put(row(seq, seq * HOUR_MS, 91.0))
            assert kept.writer.flush()
        assert [(one.n, one.known_ms) for one in hours(path)][:1] == [(1, HOLD_MS)]
        kept.writer.put(row(9, 20 * MIN, 70.0, LATE))
        assert kept.writer.flush()
        clock.advance_to(6 * HOUR_MS)
        kept.writer.put(row(10, 6 * HOUR_MS, 91.0))
        assert kept.writer.flush()
    first = hours(path)[0]
    assert (first.n, first.known_ms, first.least, first.mean) == (2, 2 * HOLD_MS, 70.0, 80.0)


def naive(readings: list[tuple[int, float]], begin: int) -> tuple[int, int, float, float, float] | None:
    """The hour's sums second by second, as a child would do it; all times are whole seconds."""
    held = []
    for ms in range(begin, begin + HOUR_MS, 1000):
        known = [(at, value) for at, value in readings if at <= ms < at + HOLD_MS]
        if known:
            held.append(max(known)[1])
    if not held:
        return None
    n = sum(begin <= at < begin + HOUR_MS for at, _ in readings)
    return n, len(held) * 1000, min(held), max(held), statistics.fmean(held)


@settings(max_examples=25)
@given(
    st.dictionaries(
        st.integers(0, 10_799), st.integers(0, 1000).map(lambda tenth: tenth / 10), min_size=1, max_size=20
    )
)
def test_hours_are_what_a_naive_pass_makes_of_them(drawn: dict[int, float]) -> None:
    readings = [(H0_MS + second * 1000, value) for second, value in sorted(drawn.items())]
    db = sqlite3.connect(":memory:", isolation_level=None)
    migrate(db, 0)
    keys = [ms << SERIES_BITS | 1 for ms, _ in readings]
    db.executemany(
        "INSERT INTO readings VALUES (?, ?, 1, 0, 0, 0)",
        [(key, value) for key, (_, value) in zip(keys, readings, strict=True)],
    )
    noted = Hours(db)
    noted.note(keys)
    for _ in range(5):
        noted.sum_up(H0_MS + DAY_MS, None)
    found = {
        key >> SERIES_BITS: sums
        for key, *sums in db.execute("SELECT id, n, known_ms, least, most, mean FROM hours")
    }
    db.close()
    for begin in range(H0_MS, H0_MS + 4 * HOUR_MS, HOUR_MS):
        wanted = naive(readings, begin)
        assert (begin in found) == (wanted is not None)
        if wanted is not None:
            assert found[begin][:4] == list(wanted[:4])
            assert abs(found[begin][4] - wanted[4]) < 1e-9


def test_an_hour_noted_before_a_crash_is_summed_up_after(tmp_path: Path) -> None:
    """The writer goes without closing, as with the plug pulled; another one opens what it left."""
    path, clock = tmp_path / "journal.db", VirtualClock(H0_MS)
    with writing(path, clock) as kept:
        kept.writer.put(TENT, row(1, MIN, 90.0))
        assert kept.writer.flush()
    later = VirtualClock(H0_MS + 2 * HOUR_MS)
    with writing(path, later) as kept:
        kept.writer.put(row(2, 2 * HOUR_MS, 91.0, sensor="room-1"))
        assert kept.writer.flush()
    assert [(one.begin_ms, one.n) for one in hours(path)] == [(H0_MS, 1)]


def test_a_store_from_before_has_all_its_hours_noted(tmp_path: Path) -> None:
    path = tmp_path / "journal.db"
    db = sqlite3.connect(path, isolation_level=None)
    migrate(db, 0, MIGRATIONS[:2])
    times = [0, MIN, 59 * MIN, 5 * HOUR_MS, 400 * 24 * HOUR_MS]
    keys = [((H0_MS + ms) << SERIES_BITS | 1,) for ms in times]
    db.executemany("INSERT INTO readings VALUES (?, 90.0, 1, 0, 0, 0)", keys)
    migrate(db, 0)
    noted = [begin - H0_MS for (begin,) in db.execute("SELECT begin FROM hours_due ORDER BY begin")]
    db.close()
    assert noted == [0, 5 * HOUR_MS, 400 * 24 * HOUR_MS]


def test_hours_stay_when_their_readings_go_and_say_that_these_went(tmp_path: Path) -> None:
    path, clock = tmp_path / "journal.db", VirtualClock(H0_MS)
    with writing(path, clock, StoreSettings(keep_days=30)) as kept:
        kept.writer.put(TENT, *(row(minute + 1, minute * MIN, 90.0) for minute in range(300)))
        assert kept.writer.flush()
        for step in range(40):
            clock.advance_to(31 * DAY_MS + step * HOUR_MS)
            kept.writer.put(row(1000 + step, clock.now().mono_ms, 92.0))
            assert kept.writer.flush()
        kept.writer.put(row(2000, 10 * MIN, 10.0, LATE))  # a month late: too late to change the sums
        assert kept.writer.flush()
        clock.advance_to(33 * DAY_MS)
        kept.writer.put(row(2001, 33 * DAY_MS, 92.0))
        assert kept.writer.flush()
    old = [one for one in hours(path) if one.begin_ms < H0_MS + DAY_MS]
    assert [(one.n, one.mean) for one in old if one.n] == [(60, 90.0)] * 5
    with Reader(path) as reader:
        assert list(reader.readings("tent-1", H0_MS, H0_MS + DAY_MS)) == []
        assert reader.removed_before_ms(H0_MS, H0_MS + DAY_MS) == H0_MS + DAY_MS
        assert reader.removed_before_ms(H0_MS + 32 * DAY_MS, H0_MS + 33 * DAY_MS) is None
        named = reader._db.execute("SELECT sensor, space, begin, n FROM hours_named").fetchone()
    assert named == ("tent-1", "tent", H0_MS, 60)


def test_it_costs_no_more_than_storing_the_bare_rows(tmp_path: Path) -> None:
    """Three readings a second for an hour: noting them as they are stored, and summing up, each beside
    a bare insert of the same rows in the same groups. Processor time, the least of three."""
    noting, summing, storing = zip(*(costs(tmp_path / f"{turn}.db") for turn in range(3)), strict=True)
    assert min(noting) < 0.3 * min(storing)
    assert min(summing) < min(storing)


def costs(path: Path) -> tuple[float, float, float]:
    """Seconds: noting, summing up, and storing the bare rows."""
    db = sqlite3.connect(path, isolation_level=None)
    migrate(db, 0)
    keys = [(H0_MS + place * 333) << SERIES_BITS | place % 30 + 1 for place in range(10_800)]
    groups = [keys[at : at + 30] for at in range(0, len(keys), 30)]
    db.execute("PRAGMA synchronous = OFF")
    began = time.thread_time()
    for group in groups:
        db.execute("BEGIN")
        db.executemany("INSERT INTO readings VALUES (?, 90.5, 1, 0, 0, 0)", [(key,) for key in group])
        db.execute("COMMIT")
    stored = time.thread_time()
    noted = Hours(db)
    for group in groups:
        noted.note(group)
    done = time.thread_time()
    noted.sum_up(H0_MS + 2 * HOUR_MS, None)
    summed = time.thread_time()
    db.close()
    return done - stored, summed - done, stored - began
