"""A disk that refuses or hangs: sensors are not silenced, rows wait, what is lost is counted, all comes back.

The full disk is a real one: the kernel's limit on file size (setrlimit(2), RLIMIT_FSIZE) in a process of its
own, so that SQLite sees the write fail. The hanging disk is another process's transaction, which SQLite's own
locks make the writer wait for.
"""

import json
import os
import sqlite3
import subprocess
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from gillhouse.clock import VirtualClock
from gillhouse.core.edges import StoreSettings
from gillhouse.core.inputs import Due
from gillhouse.core.instant import Instant
from gillhouse.core.outputs import EventKind
from gillhouse.store.backlog import Backlog
from gillhouse.store.reader import Reader
from gillhouse.store.rows import EventRow, InputRow
from servers import wait_until
from store.kept import T0_MS, command, reading, seqs, writing


@contextmanager
def held(path: Path) -> Iterator[None]:
    """Somebody else's write transaction on the store."""
    other = sqlite3.connect(path, isolation_level=None)
    other.execute("BEGIN IMMEDIATE")
    try:
        yield
    finally:
        other.execute("ROLLBACK")
        other.close()


def test_a_hanging_disk_silences_no_sensor(tmp_path: Path) -> None:
    path = tmp_path / "journal.db"
    clock = VirtualClock(T0_MS)
    with writing(path, clock) as kept:
        wait_until(kept.writer.settled)
        with held(path):
            kept.writer.put(reading(1, token=1), reading(2, token=2), command(2))
            wait_until(lambda: clock.next_wake_ms() == 5_000, 5, "an attempt under way")
            assert not kept.writer.settled()
            clock.advance_to(4_999)
            assert kept.tokens == []
            clock.advance_to(5_000)
            wait_until(lambda: kept.tokens == [1, 2], 5, "tokens let go")
            ((ok, why),) = kept.states
            assert not ok
            assert why.startswith("nothing written for 5 s")
            kept.writer.put(reading(3, token=3))
            assert kept.tokens == [1, 2, 3]  # at once: nobody waits for a disk known to hang
        assert kept.writer.flush(10)
        assert kept.states[1:] == [(True, "")]
        kept.writer.put(reading(4, token=4))
        assert kept.tokens == [1, 2, 3]  # and from now on again only once stored
        assert kept.writer.flush()
        wait_until(lambda: kept.tokens == [1, 2, 3, 4])
    assert seqs(path) == [1, 2, 3, 4]


def test_an_answer_asked_for_during_a_write_comes_with_its_end(tmp_path: Path) -> None:
    path = tmp_path / "journal.db"
    clock = VirtualClock(T0_MS)
    with writing(path, clock) as kept:
        wait_until(kept.writer.settled)
        with held(path):
            kept.writer.put(reading(1, token="reading"), command(1))
            wait_until(lambda: clock.next_wake_ms() == 5_000, 5, "an attempt under way")
            kept.writer.release_after("reject")
            assert kept.tokens == []
        wait_until(lambda: kept.tokens == ["reading", "reject"], 10, "both answers")


def test_attempts_go_on_at_growing_waits(tmp_path: Path) -> None:
    path = tmp_path / "journal.db"
    clock = VirtualClock(T0_MS)
    with writing(path, clock) as kept:
        wait_until(kept.writer.settled)
        with held(path):
            kept.writer._file._db.execute("PRAGMA busy_timeout = 0")  # type: ignore[union-attr]
            kept.writer.put(command(1))
            wait_until(lambda: clock.next_wake_ms() == 1_000, 5, "the first retry planned")
        wait_until(kept.writer.settled, 5, "rest until the retry")
        clock.advance_to(1_000)
        wait_until(lambda: kept.writer.commits == 1, 10, "the retry")
        assert kept.states == []  # one second is no failure worth a call
    with Reader(path) as reader:
        assert len(list(reader.commands(0, 2 * T0_MS))) == 1


def test_memory_is_bounded_and_the_loss_counted(tmp_path: Path) -> None:
    path = tmp_path / "journal.db"
    clock = VirtualClock(T0_MS)
    with writing(path, clock, StoreSettings(queue_rows=100)) as kept:
        wait_until(kept.writer.settled)
        with held(path):
            kept.writer.put(command(1))
            wait_until(lambda: clock.next_wake_ms() == 5_000)
            clock.advance_to(5_000)
            wait_until(lambda: kept.states, 5, "the failure noticed")
            for seq in range(2, 1002):
                beside = command(seq) if seq % 100 == 0 else reading(seq + 5000)
                kept.writer.put(reading(seq, token=seq), beside)
            assert len(kept.tokens) == 1000
        assert kept.writer.flush(10)
    stored = seqs(path)
    with Reader(path) as reader:
        (gap,) = reader.events(0, 2 * T0_MS, EventKind.GAP)
        assert len(list(reader.commands(0, 2 * T0_MS))) == 11  # deeds outlast figures
        facts = gap.event.facts
        assert facts["lost"] == 1000 + 990 - len(stored)
        assert 70 <= len(stored) <= 100
        assert max(stored) == 6001  # the newest are the ones kept
        assert (facts["from_ms"], gap.seq) == (T0_MS + 2000, 0)


def a_backlog() -> Backlog:
    return Backlog(VirtualClock(T0_MS), 10, 10_000)


def test_the_oldest_readings_go_first_then_inputs_and_order_stays() -> None:
    backlog = a_backlog()
    for seq in range(4):
        backlog.put([command(seq), InputRow(100 + seq, Instant(T0_MS, 0), Due("x", 1))])
    backlog.put([reading(1), reading(2), reading(3)])  # the eleventh: one reading goes
    assert [row.seq for row in backlog.entries[-2:]] == [2, 3]  # type: ignore[union-attr]
    backlog.put([command(9)] * 3)
    entries, lost = backlog.take()
    assert lost.count == 4
    kinds = [type(entry).__name__ for entry in entries]
    assert kinds == ["CommandRow", *["CommandRow", "InputRow"] * 3, *["CommandRow"] * 3]


def test_what_was_lost_is_told_once_even_if_telling_fails_first() -> None:
    backlog = a_backlog()
    backlog.put(reading(seq) for seq in range(1, 14))
    _, lost = backlog.take()
    assert lost.count == 3
    backlog.put([reading(14)])  # one too many beside the ten being written
    backlog.give_back(lost)
    _, told = backlog.take()
    assert (told.count, told.from_ms, told.to_ms) == (4, T0_MS + 1000, T0_MS + 14_000)
    assert isinstance(told.event(), EventRow)
    backlog.settle()
    assert backlog.take()[1].count == 0


FULL_DISK = """
import json, resource, sys
from pathlib import Path
from gillhouse.clock import VirtualClock
from gillhouse.core.edges import StoreSettings
from servers import wait_until
from store.kept import T0_MS, command, reading, writing

path, clock = Path(sys.argv[1]), VirtualClock(T0_MS)
with writing(path, clock) as kept:
    kept.writer.put(reading(1, token=1))
    assert kept.writer.flush()
    wait_until(kept.writer.settled)
    none, hard = resource.getrlimit(resource.RLIMIT_FSIZE)
    resource.setrlimit(resource.RLIMIT_FSIZE, (16_384, hard))
    kept.writer.put(*(reading(seq, token=seq) for seq in range(2, 2000)), command(1999))
    wait_until(lambda: clock.next_wake_ms() == 1_000, 10, "a failed attempt")
    early = list(kept.tokens)
    for at in (1_000, 3_000, 5_000):
        clock.advance_to(at)
        wait_until(lambda: kept.writer.settled() and clock.next_wake_ms() != at, 10, f"another at {at}")
    wait_until(lambda: kept.states, 10, "told")
    down, let_go = list(kept.states), len(kept.tokens)
    resource.setrlimit(resource.RLIMIT_FSIZE, (none, hard))
    clock.advance_to(clock.next_wake_ms())
    wait_until(lambda: kept.writer.commits == 2, 10, "recovery")
    wait_until(lambda: len(kept.states) == 2, 10, "told of it")
    print(json.dumps([early, down, let_go, kept.states]))
"""


def test_a_full_disk_is_told_and_survived(tmp_path: Path) -> None:
    path = tmp_path / "journal.db"
    said = subprocess.run(
        [sys.executable, "-c", FULL_DISK, str(path)],
        env={**os.environ, "PYTHONPATH": str(Path(__file__).parents[1])},
        capture_output=True,
        text=True,
        timeout=60,
        check=False,
    )
    assert said.returncode == 0, said.stderr
    early, down, let_go, states = json.loads(said.stdout)
    assert early == [1]
    ((ok, why),) = down
    assert not ok
    assert "disk" in why  # SQLite's words: "disk I/O error" or "database or disk is full"
    assert let_go == 1999
    assert states[1] == [True, ""]
    assert seqs(path) == list(range(1, 2000))
    with Reader(path) as reader:
        assert list(reader.events(0, 2 * T0_MS)) == []
        assert len(list(reader.commands(0, 2 * T0_MS))) == 1
