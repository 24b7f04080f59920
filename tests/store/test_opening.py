"""What the writer refuses to start on, in words that help; and what it finds when it starts again."""

import os
import subprocess
import sys
from pathlib import Path

import pytest

from gillhouse.core.inputs import Due
from gillhouse.core.instant import Instant
from gillhouse.core.outputs import Event, EventKind
from gillhouse.errors import DamagedStoreError, StoreError
from gillhouse.store.opening import set_aside
from gillhouse.store.reader import Reader
from gillhouse.store.rows import EventRow, InputRow, OutboxRow
from store.kept import T0_MS, reading, writing


def test_a_second_writer_is_refused_and_told_who_has_it(tmp_path: Path) -> None:
    path = tmp_path / "journal.db"
    with writing(path) as first:
        with pytest.raises(StoreError, match=f"process {os.getpid()}.*--state"), writing(path):
            pass
        first.writer.put(reading(1))
        assert first.writer.flush()
    with writing(path):
        pass


def test_a_second_process_is_refused_too(tmp_path: Path) -> None:
    path = tmp_path / "journal.db"
    other = (
        "import sys; from pathlib import Path; from store.kept import writing\n"
        "try:\n  with writing(Path(sys.argv[1])): pass\n"
        "except Exception as error: print(type(error).__name__, error)"
    )
    with writing(path):
        said = subprocess.run(
            [sys.executable, "-c", other, str(path)],
            env={**os.environ, "PYTHONPATH": str(Path(__file__).parents[1])},
            capture_output=True,
            text=True,
            timeout=30,
            check=True,
        ).stdout
    assert said.startswith("StoreError")
    assert f"process {os.getpid()}" in said


def test_a_path_under_a_file_is_refused_with_what_to_do(tmp_path: Path) -> None:
    (tmp_path / "state").write_text("not a directory")
    refusal = pytest.raises(StoreError, match=r"cannot write the store .*journal\.db: .*--state")
    with refusal, writing(tmp_path / "state" / "journal.db"):
        pass


def test_a_directory_that_may_not_be_written_is_refused(tmp_path: Path) -> None:
    """As root nothing is forbidden, so there a directory of the kernel's stands in for it."""
    tmp_path.chmod(0o500)
    where = Path("/proc") if os.geteuid() == 0 else tmp_path
    try:
        refusal = pytest.raises(StoreError, match="owns, on a disk with free space")
        with refusal, writing(where / "journal.db"):
            pass
    finally:
        tmp_path.chmod(0o700)


@pytest.mark.parametrize("content", [b"a shopping list\n" * 300, b"SQLite format 3\x00" + b"\xff" * 4000])
def test_what_is_no_store_is_left_as_it_is(tmp_path: Path, content: bytes) -> None:
    path = tmp_path / "journal.db"
    path.write_bytes(content)
    with pytest.raises(StoreError, match="move it aside"), writing(path):
        pass
    assert path.read_bytes() == content
    path.unlink()
    with writing(path):  # the lock was let go
        pass


def test_a_damaged_store_is_refused(tmp_path: Path) -> None:
    path = tmp_path / "journal.db"
    with writing(path) as kept:
        kept.writer.put(*(reading(seq) for seq in range(1, 3000)))
    whole = path.read_bytes()
    path.write_bytes(whole[:200] + b"\xa5" * (len(whole) - 200))
    with pytest.raises(StoreError, match="move it aside"), writing(path):
        pass


def test_a_reader_without_a_store_says_so(tmp_path: Path) -> None:
    with pytest.raises(StoreError, match=r"no store at .*start the daemon once"):
        Reader(tmp_path / "journal.db")
    (tmp_path / "journal.db").write_text("nonsense " * 200)
    with pytest.raises(StoreError, match="is a gillhouse store"):
        Reader(tmp_path / "journal.db")


def test_a_new_store_and_a_clean_restart(tmp_path: Path) -> None:
    path = tmp_path / "deep" / "er" / "journal.db"
    with writing(path) as kept:
        assert (kept.writer.opened.new, kept.writer.opened.clean) == (True, True)
        assert (kept.writer.next_seq, kept.writer.opened.last_ms) == (1, None)
        kept.writer.put(reading(1), reading(2), InputRow(3, Instant(T0_MS + 5000, 5000), Due("mist", T0_MS)))
        kept.writer.put(OutboxRow(1, T0_MS, "mail", "s", "t", T0_MS))
    with writing(path) as kept:
        opened = kept.writer.opened
        assert (opened.new, opened.clean, opened.next_seq) == (False, True, 4)
        assert (opened.next_outbox_id, opened.last_ms) == (2, T0_MS + 5000)
        kept.writer.put(EventRow(0, T0_MS + 9000, Event(EventKind.STOPPED, "daemon", None)))
    with writing(path) as kept:
        assert kept.writer.next_seq == 4
        assert kept.writer.opened.last_ms == T0_MS + 9000


def test_a_store_that_was_never_started_closes_clean_with_what_was_put(tmp_path: Path) -> None:
    """Commands that only record open a writer, put, and close."""
    path = tmp_path / "journal.db"
    with writing(path) as kept:
        kept.writer.put(reading(1))
    with Reader(path) as reader:
        assert reader.last_seq() == 1
        assert reader.last_wall_ms() == T0_MS + 1000


def test_readings_seed_the_search_for_repeats(tmp_path: Path) -> None:
    path = tmp_path / "journal.db"
    with writing(path) as kept:
        kept.writer.put(*(reading(seq, float(seq)) for seq in (1, 2, 20_000)))
    with Reader(path) as reader:
        # Half an hour back from the newest: the first two lie 20 000 s before it.
        assert [tuple(seed) for seed in reader.seeds()] == [
            ("tent-1", T0_MS + 20_000_000, None, False, 20_000.0)
        ]


def test_a_damaged_store_is_put_aside_whole_and_its_name_says_when(tmp_path: Path) -> None:
    path = tmp_path / "journal.db"
    for ending in ("", "-wal", "-shm"):
        path.with_name(path.name + ending).write_text(f"damaged{ending}")
    aside = set_aside(path, T0_MS)
    again = tmp_path / "journal.db"
    again.write_text("and again")
    assert set_aside(path, T0_MS).name == f"{aside.name}-2"
    assert aside.name == "journal.db.damaged-20260921T141320Z"  # `date -u -d @1790000000`
    for ending in ("", "-wal", "-shm"):
        assert aside.with_name(aside.name + ending).read_text() == f"damaged{ending}"
    assert not path.exists()


def test_a_disk_that_cannot_be_read_is_no_damage(tmp_path: Path) -> None:
    (tmp_path / "journal.db").mkdir()
    with pytest.raises(StoreError) as refusal, writing(tmp_path / "journal.db"):
        pass
    assert not isinstance(refusal.value, DamagedStoreError)
