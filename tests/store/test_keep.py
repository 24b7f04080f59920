"""Old readings go in small steps; the log stays; a clock that has jumped cannot eat the records."""

from pathlib import Path

import pytest

from gillhouse.clock import VirtualClock
from gillhouse.config import load_files, shipped_dir
from gillhouse.core.edges import StoreSettings
from gillhouse.core.inputs import BatchAct, BatchAction, Calibrated, Due
from gillhouse.core.instant import Instant
from gillhouse.errors import ConfigError
from gillhouse.store.keep import HISTORY_PACE, STEP_ROWS
from gillhouse.store.reader import Reader
from gillhouse.store.rows import InputRow, SegmentRow
from store.kept import T0_MS, command, reading, seqs, writing

DAY_MS = 86_400_000


def test_old_readings_go_a_few_at_a_commit_and_the_log_stays(tmp_path: Path) -> None:
    path = tmp_path / "journal.db"
    clock = VirtualClock(T0_MS)
    with writing(path, clock, StoreSettings(keep_days=30)) as kept:
        kept.writer.put(SegmentRow(1, Instant(T0_MS, 0), "d", "0", "start", {}))
        kept.writer.put(*(reading(seq) for seq in range(1, 1801)))
        kept.writer.put(command(1), InputRow(1801, Instant(T0_MS, 0), Due("x", 1)))
        kept.writer.put(SegmentRow(1802, Instant(T0_MS + DAY_MS, DAY_MS), "d", "0", "six hours", {}))
        assert kept.writer.flush()
        clock.advance_to(31 * DAY_MS + 1_000)
        before = len(seqs(path))
        steps = []
        for seq in range(5000, 5010):
            kept.writer.put(reading(seq + 31 * 86_400))
            assert kept.writer.flush()
            steps.append(before + 1 - len(seqs(path)))
            before = len(seqs(path))
            clock.advance_to(clock.now().mono_ms + 600_000)
        assert max(steps) == STEP_ROWS
        assert before == 10
        with Reader(path) as reader:
            assert len(list(reader.commands(0, 2 * T0_MS))) == 1
            assert [segment.first_seq for segment in reader.segments()] == [1802]
            assert reader.input(1801) is None


def test_how_long_is_a_setting() -> None:
    farm = (shipped_dir() / "farm.yaml").read_text(encoding="utf-8")
    assert load_files({"farm.yaml": farm}).store.keep_days == 400
    other = farm.replace("\nstore:\n", "\nstore:\n  keep: 60 d\n")
    assert load_files({"farm.yaml": other}).store.keep_days == 60
    with pytest.raises(ConfigError, match="keep"):
        load_files({"farm.yaml": other.replace("60 d", "7 d")})


def test_batches_and_corrections_outlast_their_time(tmp_path: Path) -> None:
    """What is in force until somebody says otherwise is needed for tonight, however long ago it was said."""
    path, clock = tmp_path / "journal.db", VirtualClock(T0_MS)
    added = BatchAction(BatchAct.ADD, "b1", "anna", kg=40.0)
    said = [added, Due("x", 1), Calibrated("tent-1", None, "anna")]
    with writing(path, clock, StoreSettings(keep_days=30)) as kept:
        kept.writer.put(SegmentRow(1, Instant(T0_MS, 0), "d", "0", "start", {}))
        kept.writer.put(*(reading(86_400 * day) for day in range(1, 31)))
        kept.writer.put(*(InputRow(1 + at, Instant(T0_MS, 0), item) for at, item in enumerate(said)))
        kept.writer.put(SegmentRow(10, Instant(T0_MS + DAY_MS, DAY_MS), "d", "0", "six hours", {}))
        assert kept.writer.flush()
        for day in range(31, 40):
            clock.advance_to(day * DAY_MS)
            kept.writer.put(reading(day * 86_400))
            assert kept.writer.flush()
    with Reader(path) as reader:
        assert reader.segment_before(T0_MS) is None
        assert [(seq, item) for seq, _, item in reader.lasting_inputs()] == [(1, said[0]), (3, said[2])]
        assert reader.input(2) is None


def test_readings_within_the_retention_stay(tmp_path: Path) -> None:
    path = tmp_path / "journal.db"
    clock = VirtualClock(T0_MS)
    with writing(path, clock, StoreSettings(keep_days=30)) as kept:
        kept.writer.put(reading(0), reading(1))
        assert kept.writer.flush()
        clock.advance_to(30 * DAY_MS + 500)
        kept.writer.put(reading(3_000_000))
        assert kept.writer.flush()
        assert seqs(path) == [1, 3_000_000]


def test_a_wall_clock_a_year_ahead_removes_next_to_nothing(tmp_path: Path) -> None:
    """The drill: a year's step, noticed after an hour. By the pace, 24 hours of history may be gone."""
    path = tmp_path / "journal.db"
    clock = VirtualClock(T0_MS)
    every_h = 3_600
    with writing(path, clock, StoreSettings(keep_days=30)) as kept:
        kept.writer.put(*(reading(seq) for seq in range(0, 20 * 24 * every_h, every_h)))
        assert kept.writer.flush()
        clock.step_wall(365 * DAY_MS)
        for minute in range(1, 61):
            clock.advance_to(minute * 60_000)
            kept.writer.put(reading(400 * 86_400 + minute))
            assert kept.writer.flush()
        kept_hours = [seq for seq in seqs(path) if seq < 400 * 86_400]
    assert len(kept_hours) >= 20 * 24 - HISTORY_PACE - 2
    assert len(kept_hours) < 20 * 24  # it does go on
