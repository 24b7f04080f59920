"""The journal gives every input back, in order, with both clocks of its moment, whatever happened to them."""

import os
import subprocess
import sys
import tempfile
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from gillhouse.core.edges import StoreSettings
from gillhouse.core.inputs import Delivery, Due, Input, Reading
from gillhouse.core.instant import Instant
from gillhouse.core.outputs import (
    AlarmNotice,
    Authority,
    Command,
    Event,
    EventKind,
    Outcome,
    Transition,
)
from gillhouse.core.readings import Mark, Quality, Verdict
from gillhouse.core.reasons import Reason
from gillhouse.store.codec import outcome_lines
from gillhouse.store.packing import pack, unpack
from gillhouse.store.reader import Reader
from gillhouse.store.rows import (
    AlarmRow,
    CommandRow,
    ConfigRow,
    EventRow,
    InputRow,
    MetaRow,
    ReadingRow,
    SegmentRow,
    SeriesRow,
)
from store.kept import T0_MS, reading, writing

HOUR_MS = 3_600_000
KEEP_ALL = StoreSettings(keep_days=10_000)
"""Some of the drawn readings are years late, and would be removed as soon as they are in."""

gaps_ms = st.integers(1, 90_000)
late_ms = st.one_of(st.just(0), st.integers(0, 5_000), st.integers(0, 400 * 86_400_000))
steps_ms = st.one_of(st.integers(-2_000, 2_000), st.integers(-86_400_000, 366 * 86_400_000))
verdicts = st.builds(Verdict, st.sampled_from(Quality), st.sampled_from(Mark))


@st.composite
def days(draw: st.DrawFn) -> list[tuple[SegmentRow | ReadingRow | InputRow, Input | None]]:
    """Rows as a service would put them: segments, clock steps between them, readings on time and late."""
    rows: list[tuple[SegmentRow | ReadingRow | InputRow, Input | None]] = []
    wall, mono, begun, taken = T0_MS, draw(st.integers(0, 10_000)), -1, set()
    for seq in range(1, draw(st.integers(2, 41))):
        gap = draw(gaps_ms)
        wall, mono = wall + gap + draw(st.integers(-1, 1)), mono + gap
        kind = draw(st.integers(0, 9))
        if kind == 0 or begun < 0 or mono - begun > 6 * HOUR_MS:
            if begun >= 0 and draw(st.booleans()):
                wall += draw(steps_ms)
            rows.append((SegmentRow(seq, Instant(wall, mono), "d", "0", "start", {}), None))
            begun = mono
        now = Instant(wall, mono)
        if kind < 8:
            own = draw(st.booleans())
            ts = max(0, wall - (draw(late_ms) if own else 0))
            sensor = draw(st.sampled_from(["a", "b"]))
            while (sensor, ts) in taken:
                ts += 1
            taken.add((sensor, ts))
            delivery = draw(st.sampled_from(Delivery))
            board_seq = draw(st.none() | st.integers(0, 2**40))
            item: Input = Reading(sensor, draw(st.floats(-1e6, 1e6)), ts, own, board_seq, delivery)
            rows.append((ReadingRow(seq, now, item, draw(verdicts)), item))  # type: ignore[arg-type]
        else:
            item = Due("mist", wall)
            rows.append((InputRow(seq, now, item), item))
    return rows


@settings(max_examples=60)
@given(days(), st.data())
def test_every_input_comes_back_exactly(
    rows: list[tuple[SegmentRow | ReadingRow | InputRow, Input | None]], data: st.DataObject
) -> None:
    put = [(row.seq, row.now, item) for row, item in rows if not isinstance(row, SegmentRow)]
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "journal.db"
        with writing(path, settings=KEEP_ALL) as kept:
            kept.writer.put(*(row for row, _ in rows))
        with Reader(path) as reader:
            assert list(reader.inputs_between(0, None)) == put
            first = data.draw(st.integers(0, len(put) + 1))
            last = data.draw(st.integers(first, len(put) + 2))
            wanted = [row for row in put if first <= row[0] <= last]
            assert list(reader.inputs_between(first, last)) == wanted
            assert reader.last_seq() == (put[-1][0] if put else 0)
            verdict = {row.seq: row.verdict for row, _ in rows if isinstance(row, ReadingRow)}
            assert reader.decisions(0, None) == {
                seq: outcome_lines(Outcome(verdict=what), Reading("", 0.0, 0))
                for seq, what in verdict.items()
            }


@given(
    st.sampled_from(Quality),
    st.booleans(),
    st.integers(0, 63),
    st.integers(0, 63),
    st.none() | st.integers(0, 2**47),
)
def test_particulars_share_a_number_without_touching(
    quality: Quality, own_time: bool, mark: int, delivery: int, board_seq: int | None
) -> None:
    fate = pack(quality, own_time, mark, delivery, board_seq)
    words = {code: Mark.FLAT.value if code == mark else Delivery.LATE.value for code in (mark, delivery)}
    if mark == delivery and mark:
        words[mark] = Mark.RETAINED.value  # the one word that is both a mark and a delivery
    at = unpack(5, 1.5, 9, fate, words)
    assert (at.ts, at.value, at.seq, at.quality) == (5, 1.5, 9, quality)
    assert (at.own_time, at.board_seq) == (own_time, board_seq)
    assert (at.mark is Mark.NONE) == (mark == 0)
    assert (at.delivery is Delivery.LIVE) == (delivery == 0)
    assert 0 <= fate < 2**63


def test_a_plain_good_live_reading_costs_no_bytes_for_its_particulars() -> None:
    """Source: SQLite file format, section 2.1: the integer 0 has serial type 8, no content."""
    assert pack(Quality.GOOD, False, 0, 0, None) == 0


def test_the_named_view_says_the_same_as_the_reader(tmp_path: Path) -> None:
    path = tmp_path / "journal.db"
    odd = Reading("tent-1", 88.5, T0_MS - 900_000, True, 0, Delivery.LATE)
    with writing(path) as kept:
        kept.writer.put(
            SeriesRow("tent-1", "humidity", "%", "tent", "middle"),
            ReadingRow(1, Instant(T0_MS, 4), odd, Verdict(Quality.SUSPECT, Mark.LATE)),
            reading(2, 91.0),
        )
    with Reader(path) as reader:
        named = reader._db.execute("SELECT * FROM readings_named ORDER BY ts").fetchall()
        late, plain = reader.readings("tent-1", 0, 2 * T0_MS)
    assert named == [
        (
            "tent-1",
            "humidity",
            "%",
            "tent",
            "middle",
            T0_MS - 900_000,
            88.5,
            1,
            T0_MS,
            1,
            1,
            "arrived-late",
            "late",
            0,
        ),
        (
            "tent-1",
            "humidity",
            "%",
            "tent",
            "middle",
            T0_MS + 2000,
            91.0,
            2,
            T0_MS + 2000,
            0,
            0,
            None,
            "live",
            None,
        ),
    ]
    assert (late.quality, late.mark, late.delivery, late.own_time, late.board_seq) == (
        Quality.SUSPECT,
        Mark.LATE,
        Delivery.LATE,
        True,
        0,
    )
    assert (plain.quality, plain.mark, plain.delivery, plain.own_time, plain.board_seq) == (
        Quality.GOOD,
        Mark.NONE,
        Delivery.LIVE,
        False,
        None,
    )


def test_the_log_comes_back_as_it_was_put(tmp_path: Path) -> None:
    path = tmp_path / "journal.db"
    facts = {"value": 1250.0}
    told = Command("fan", True, 300_000, Authority.DEMAND, Reason.CO2_HIGH, (7, 3), facts, False, True)
    off = Command("fan", False, 0, Authority.DEFAULT, Reason.STOPPING)
    event = Event(EventKind.REFUSED, "mist", "tent", Reason.DOOR_OPEN, {"who": None, "open": True}, (7,))
    notice = AlarmNotice(
        "humidity-low:tent", "humidity-low", 2, Transition.ACT, 2, "B", True, "tent", {"value": 71.5}, "anna"
    )
    with writing(path) as kept:
        kept.writer.put(
            InputRow(7, Instant(T0_MS, 1), Due("x", T0_MS)),
            CommandRow(7, T0_MS, told),
            EventRow(7, T0_MS, event),
            AlarmRow(7, T0_MS, notice),
            CommandRow(0, T0_MS + 9, off),
        )
        for seq in range(8, 11):
            begun = Instant(T0_MS + seq, seq)
            kept.writer.put(SegmentRow(seq, begun, f"d{seq}", "0.1", "start", {"n": [seq]}))
        kept.writer.put(ConfigRow("d8", T0_MS, {"farm.yaml": "farm: x\n"}), ConfigRow("d8", T0_MS + 5, {}))
        kept.writer.put(MetaRow("checkpoint", {"seq": 1}), MetaRow("checkpoint", {"seq": 2}))
    with Reader(path) as reader:
        assert [at.command for at in reader.commands(T0_MS, T0_MS + 10)] == [told, off]
        assert [at.command for at in reader.commands(0, 2 * T0_MS, "mist")] == []
        last = reader.last_command("fan", T0_MS + 9)
        assert last is not None
        assert last.command == told
        assert reader.last_command("fan", T0_MS) is None
        assert [(at.seq, at.event) for at in reader.events(T0_MS, T0_MS + 1)] == [(7, event)]
        assert list(reader.events(0, 2 * T0_MS, EventKind.NOTE)) == []
        assert [at.notice for at in reader.alarms(T0_MS, T0_MS + 1)] == [notice]
        assert [at.notice for at in reader.alarms_open_at(T0_MS + 1)] == [notice]
        assert reader.alarms_open_at(T0_MS) == ()
        assert reader.decisions(1, None) == {7: outcome_lines(Outcome((told,), (event,), (notice,)))}
        segments = tuple(reader.segments())
        assert [(segment.first_seq, segment.last_seq) for segment in segments] == [(8, 8), (9, 9), (10, None)]
        assert reader.state_at(segments[1]) == {"n": [9]}
        assert reader.newest_segment() == segments[2]
        assert [segment.digest for segment in reader.segments(9)] == ["d9", "d10"]
        before = reader.segment_before(T0_MS + 9)
        assert before is not None
        assert (before.first_seq, before.last_seq) == (9, 9)
        assert reader.segment_before(T0_MS) is None
        assert reader.config("d8") == {"farm.yaml": "farm: x\n"}
        assert reader.config("other") is None
        assert reader.meta("checkpoint") == {"seq": 2}
        assert reader.meta("nothing") is None


def test_columns_for_charts_are_the_readings(tmp_path: Path) -> None:
    path = tmp_path / "journal.db"
    bad = Verdict(Quality.BAD, Mark.OUT_OF_RANGE)
    with writing(path) as kept:
        kept.writer.put(reading(1, 90.0), reading(2, 4.5, "room-1"), reading(3, 190.0, verdict=bad))
    with Reader(path) as reader:
        traces = reader.quick_series(T0_MS, T0_MS + 3001)
        assert list(traces) == ["room-1", "tent-1"]
        assert list(traces["tent-1"].ts) == [T0_MS + 1000, T0_MS + 3000]
        assert list(traces["tent-1"].value) == [90.0, 190.0]
        assert list(traces["tent-1"].quality) == [0, 2]
        assert list(reader.quick_series(T0_MS, T0_MS + 3000, ["tent-1"])["tent-1"].ts) == [T0_MS + 1000]
        last = reader.last("tent-1", T0_MS + 3000)
        assert last is not None
        assert last.seq == 1
        newest = reader.last("tent-1")
        assert newest is not None
        assert (newest.seq, newest.mark) == (3, Mark.OUT_OF_RANGE)
        assert reader.last("nobody") is None
        assert list(reader.readings("nobody", 0, 2 * T0_MS)) == []
        assert reader.newest_ms() == T0_MS + 3000


def test_one_moment_for_several_answers(tmp_path: Path) -> None:
    path = tmp_path / "journal.db"
    with writing(path) as kept, Reader(path) as reader:
        kept.writer.put(reading(1))
        assert kept.writer.flush()
        with reader.snapshot():
            kept.writer.put(reading(2))
            assert kept.writer.flush()
            assert reader.newest_ms() == T0_MS + 1000
        assert reader.newest_ms() == T0_MS + 2000


def test_a_series_is_known_by_its_newest_description(tmp_path: Path) -> None:
    path = tmp_path / "journal.db"
    with writing(path) as kept:
        kept.writer.put(reading(1))
        kept.writer.put(SeriesRow("tent-1", "humidity", "%", "tent", "middle"))
        kept.writer.put(SeriesRow("tent-1", "humidity", "%", "room", "door"))
    with writing(path) as kept:
        kept.writer.put(reading(2), reading(3, sensor="room-1"))
    with Reader(path) as reader:
        first, second = reader.series()
        assert (first.id, first.sensor, first.quantity, first.unit, first.space, first.zone) == (
            1,
            "tent-1",
            "humidity",
            "%",
            "room",
            "door",
        )
        assert (second.id, second.sensor, second.quantity) == (2, "room-1", "unknown")
        assert [at.seq for at in reader.readings("tent-1", 0, 2 * T0_MS)] == [1, 2]


DUMP = """
import sqlite3, sys
from pathlib import Path
from gillhouse.clock import VirtualClock
from gillhouse.store.rows import CounterRow, OutboxRow
from store.kept import T0_MS, command, reading, writing
with writing(Path(sys.argv[1]), VirtualClock(T0_MS)) as kept:
    kept.writer.put(*(reading(seq) for seq in range(1, 99)), command(99), CounterRow("n", "s", 1, T0_MS),
                    OutboxRow(1, T0_MS, "mail", "s", "t", T0_MS))
print("\\n".join(sqlite3.connect(sys.argv[1]).iterdump()))
"""


def test_the_store_does_not_depend_on_the_zone_or_the_hash_seed(tmp_path: Path) -> None:
    dumps = []
    zones = ("UTC", "Australia/Lord_Howe", "America/St_Johns")
    for place, zone in enumerate(zones):
        path = str(Path(__file__).parents[1])
        dumps.append(
            subprocess.run(
                [sys.executable, "-c", DUMP, str(tmp_path / f"{place}.db")],
                env={**os.environ, "TZ": zone, "PYTHONHASHSEED": str(place), "PYTHONPATH": path},
                capture_output=True,
                text=True,
                timeout=60,
                check=True,
            ).stdout
        )
    assert "2026-09-21" in dumps[0]
    assert dumps[0] == dumps[1] == dumps[2]


def test_a_store_on_a_medium_that_cannot_be_written_is_read(tmp_path: Path) -> None:
    """As root the permission is no hindrance, and the same answer must come."""
    path = tmp_path / "journal.db"
    with writing(path) as kept:
        kept.writer.put(reading(1))
    path.chmod(0o400)
    tmp_path.chmod(0o500)
    try:
        with Reader(path) as reader:
            assert reader.newest_ms() == T0_MS + 1000
            with pytest.raises(Exception, match=r"readonly|read-only"):
                reader._db.execute("DELETE FROM readings")
    finally:
        tmp_path.chmod(0o700)


def test_one_input_is_found_without_reading_its_whole_segment(tmp_path: Path) -> None:
    """Six hours of a reading a second, another input each five minutes: the readings within the margins of
    the inputs around it (11 min before the one before, 11 min after the one after) are read, not 21,600."""
    path, due_every = tmp_path / "journal.db", 300
    with writing(path) as kept:
        kept.writer.put(SegmentRow(0, Instant(T0_MS, 0), "d", "0", "start", {}))
        for seq in range(21_600):
            due = InputRow(seq, Instant(T0_MS + seq * 1000, seq * 1000), Due("x", T0_MS + seq * 1000))
            kept.writer.put(reading(seq) if seq % due_every else due)
    with Reader(path) as reader:
        found = reader.input(10_001)
        assert found is not None
        assert found[1] == Instant(T0_MS + 10_001_000, 10_001_000)
        (stretch,) = reader._stretches(10_001, 10_001)
        _, _, from_ms, to_ms, _ = stretch
        assert from_ms <= T0_MS + 10_001_000 - 660_000
        assert to_ms >= T0_MS + 10_001_000 + 660_000
        assert to_ms - from_ms <= (2 * 660 + due_every) * 1000
