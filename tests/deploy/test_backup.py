"""A copy beside a running daemon, verified, kept to a number, and put back; and all the ways that is refused.

The judge of a copy is SQLite itself (`PRAGMA integrity_check`), sha256sum(1), and the night read from it. The
full disk is a file system of its own size (tmpfs, mount(8)), else the free space is asked of the real one.
"""

import os
import shutil
import signal
import sqlite3
import subprocess
import sys
from contextlib import closing
from pathlib import Path

import pytest
from click.testing import CliRunner
from farm import FARM, Board, Daemon

from audit.nights import at, lived, shipped_config
from audit.test_figures import curve
from gillhouse.__main__ import cli
from gillhouse.errors import GillhouseError, StoreError
from gillhouse.store.copying import copies_in, known_schema, make_copy, put_back, room_for, sound, thin_out
from gillhouse.store.opening import Lock
from gillhouse.store.reader import Reader
from servers import program, wait_until

BEGIN = at("2026-10-13 20:00")
DAY_MS = 86_400_000


@pytest.fixture(scope="module")
def kept(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A journal with some hours in it."""
    path = tmp_path_factory.mktemp("kept") / "journal.db"
    lived(path, shipped_config(), BEGIN, 3, curve).close()
    return path


@pytest.fixture
def journal(kept: Path, tmp_path: Path) -> Path:
    state = tmp_path / "state"
    shutil.copytree(kept.parent, state)
    return state / "journal.db"


def said(*words: str | Path, code: int = 0) -> str:
    """What the command line answers."""
    done = subprocess.run(
        [sys.executable, "-m", "gillhouse", *map(str, words)], capture_output=True, text=True, check=False
    )
    assert done.returncode == code, done.stdout + done.stderr
    return done.stdout + done.stderr


def counted(store: Path) -> dict[str, int]:
    tables = ("readings", "inputs", "events", "commands", "segments")
    with closing(sqlite3.connect(f"file:{store}?mode=ro", uri=True)) as db:
        return {name: db.execute(f"SELECT count(*) FROM {name}").fetchone()[0] for name in tables}


def test_a_copy_made_beside_a_writing_daemon_is_whole_and_can_be_put_back(
    daemon: Daemon, board: Board, tmp_path: Path
) -> None:
    daemon.start()
    wait_until(daemon.connected, 10, "the broker")
    for turn in range(40):
        board.air(88.0 + turn % 3)
    copies = tmp_path / "copies"
    first = said("backup", "--state", daemon.state, "--to", copies)
    for turn in range(40):
        board.air(88.0 + turn % 3)
    assert "every page sound" in first
    assert "the twelve hours before that read well" in first
    assert "sealed rows fit one another" in first
    (copy,) = copies_in(copies)
    assert [path.suffix for path in sorted(copies.iterdir())] == [".db", ".sha256"], (
        "one closed file, no -wal"
    )
    held = counted(copy)
    assert held["readings"] > 0
    done = subprocess.run(
        [program("sha256sum", "coreutils"), "-c", f"{copy.name}.sha256"], cwd=copies, check=False
    )
    assert done.returncode == 0

    assert "is being written by another gillhouse" in said("restore", copy, "--state", daemon.state, code=2)
    drilled = said("restore", "--drill", copy)
    assert "the daemon could start on it" in drilled
    assert "can be put back" in drilled
    assert not daemon.ended()

    daemon.signal(signal.SIGTERM)
    daemon.wait(15)
    later = counted(daemon.state / "journal.db")
    told = said("restore", copy, "--state", daemon.state)
    (aside,) = daemon.state.glob("before-restore-*")
    assert str(aside) in told
    assert counted(daemon.state / "journal.db") == held
    assert counted(aside / "journal.db") == later, "what was there is not lost"
    daemon.start()
    wait_until(daemon.connected, 10, "the broker")
    before = counted(daemon.state / "journal.db")["readings"]
    board.air(91.0)

    def more() -> bool:
        board.air(91.0)
        return counted(daemon.state / "journal.db")["readings"] > before

    wait_until(more, 30, "new readings")


def test_only_the_newest_copies_stay_and_one_always_does(journal: Path, tmp_path: Path) -> None:
    copies = tmp_path / "copies"
    made = [make_copy(journal, copies, BEGIN + day * DAY_MS) for day in range(5)]
    assert [path.name for path in thin_out(copies, 3)] == [made[1].name, made[0].name]
    assert copies_in(copies) == made[:1:-1]
    assert not list(copies.glob(f"{made[0].name}*"))
    thin_out(copies, 0)
    assert copies_in(copies) == made[-1:]


def test_the_last_copy_of_a_journal_that_was_begun_anew_is_never_thinned_out(
    journal: Path, tmp_path: Path
) -> None:
    """A damaged journal is set aside and another begun: the nights before it lie in the copies alone."""
    copies = tmp_path / "copies"
    old = [make_copy(journal, copies, BEGIN + day * DAY_MS) for day in range(3)]
    anew = tmp_path / "anew" / "journal.db"
    lived(anew, shipped_config(), BEGIN + 20 * DAY_MS, 0.2, curve).close()
    new = [make_copy(anew, copies, BEGIN + day * DAY_MS) for day in range(20, 24)]
    assert sorted(thin_out(copies, 2)) == [*old[:2], *new[:2]]
    assert copies_in(copies) == [new[3], new[2], old[2]]
    assert thin_out(copies, 2) == []


def test_old_copies_stay_where_the_new_one_failed(journal: Path, tmp_path: Path) -> None:
    copies = tmp_path / "copies"
    good = make_copy(journal, copies, BEGIN)
    with journal.open("r+b") as file:  # a page of the middle is overwritten, as a bad card does
        file.seek(journal.stat().st_size // 4096 // 2 * 4096)
        file.write(b"\xa5" * 8192)
    told = said("backup", "--state", journal.parent, "--to", copies, "--keep", "1", code=2)
    assert "damaged" in told or "failed" in told
    assert copies_in(copies) == [good]
    sound(good)
    assert sorted(path.suffix for path in copies.iterdir()) == [".db", ".sha256"], "no half copy is left"


def test_a_copy_is_refused_where_there_is_no_room(journal: Path, tmp_path: Path) -> None:
    free = shutil.disk_usage(tmp_path).free
    with pytest.raises(StoreError, match="MB free"):
        room_for(free, tmp_path)
    small = tmp_path / "small"
    small.mkdir()
    mount = ["mount", "-t", "tmpfs", "-o", "size=1m", "tmpfs", small]
    if os.geteuid() == 0 and subprocess.run(mount, check=False).returncode == 0:
        try:
            with pytest.raises(StoreError, match="MB free"):
                make_copy(journal, small, BEGIN)
            assert list(small.iterdir()) == []
        finally:
            subprocess.run(["umount", small], check=True)


@pytest.mark.parametrize("damage", ["changed", "cut off", "no store", "not there"])
def test_a_copy_that_is_not_sound_is_not_put_back(journal: Path, tmp_path: Path, damage: str) -> None:
    copy = make_copy(journal, tmp_path / "copies", BEGIN)
    data = copy.read_bytes()
    match damage:
        case "changed":
            copy.write_bytes(data[:-100] + b"\x00" * 100)
        case "cut off":
            copy.write_bytes(data[: len(data) // 2])
            copy.with_name(f"{copy.name}.sha256").unlink()
        case "no store":
            copy = tmp_path / "letter.db"
            with closing(sqlite3.connect(copy)) as db:
                db.execute("CREATE TABLE letters (id)")
        case _:
            copy = tmp_path / "nothing.db"
    before = counted(journal)
    with pytest.raises(StoreError):
        put_back(copy, journal, BEGIN)
    assert counted(journal) == before
    assert not list(journal.parent.glob("before-restore-*"))


def test_a_copy_of_a_newer_version_is_not_put_back_and_not_run_on(journal: Path, tmp_path: Path) -> None:
    copy = make_copy(journal, tmp_path / "copies", BEGIN)
    with closing(sqlite3.connect(copy)) as db:
        db.execute("INSERT INTO migrations VALUES (900, '0900-of-tomorrow', 0)")
        db.commit()
    copy.with_name(f"{copy.name}.sha256").unlink()
    with pytest.raises(StoreError, match="0900-of-tomorrow"):
        put_back(copy, journal, BEGIN)
    newer = tmp_path / "newer"
    newer.mkdir()
    shutil.copy(copy, newer / "journal.db")
    assert "0900-of-tomorrow" in said("ready", "--state", newer, code=2)


def test_a_restore_waits_for_nobody(journal: Path, tmp_path: Path) -> None:
    copy = make_copy(journal, tmp_path / "copies", BEGIN)
    lock = Lock(journal)
    try:
        with pytest.raises(StoreError, match="another gillhouse"):
            put_back(copy, journal, BEGIN)
    finally:
        lock.release()


def test_a_log_of_its_own_never_meets_another_file(journal: Path, tmp_path: Path) -> None:
    """SQLite's page How To Corrupt: a -wal beside a database it does not belong to."""
    copy = make_copy(journal, tmp_path / "copies", BEGIN)
    for end in ("-wal", "-shm"):
        journal.with_name(f"journal.db{end}").write_bytes(b"left over")
    aside = put_back(copy, journal, BEGIN)
    assert aside is not None
    assert sorted(path.name for path in aside.iterdir()) == ["journal.db", "journal.db-shm", "journal.db-wal"]
    assert not journal.with_name("journal.db-wal").exists()
    with Reader(journal) as reader:
        assert reader.newest_segment() is not None


def test_into_an_empty_place_nothing_is_set_aside(journal: Path, tmp_path: Path) -> None:
    copy = make_copy(journal, tmp_path / "copies", BEGIN)
    assert put_back(copy, tmp_path / "new" / "journal.db", BEGIN) is None
    assert counted(tmp_path / "new" / "journal.db") == counted(journal)


def test_ready_says_what_would_be_done_and_changes_nothing(journal: Path, tmp_path: Path) -> None:
    config = tmp_path / "farm.yaml"
    config.write_text(FARM.format(port=1883, low=87, protocol="auto"))
    before = journal.read_bytes(), sorted(journal.parent.iterdir())
    assert known_schema(journal) == []
    told = said("ready", "--config", config, "--state", journal.parent)
    assert "schema as it is" in told
    assert "the daemon could start on it" in told
    assert (journal.read_bytes(), sorted(journal.parent.iterdir())) == before
    config.write_text("farm: {name: A, zone: Nowhere}\n")
    assert "Nowhere" in said("ready", "--config", config, "--state", journal.parent, code=2)


def test_a_copy_that_failed_is_noted_where_a_person_reads_it(journal: Path, tmp_path: Path) -> None:
    (tmp_path / "a file").write_text("")
    said("backup", "--state", journal.parent, "--to", tmp_path / "a file" / "below", code=2)
    with Reader(journal) as reader:
        notes = [at.event.facts.get("text") for at in reader.events(0, 1 << 62) if "text" in at.event.facts]
    assert any("backup failed" in str(text) for text in notes), notes


def test_the_list_says_which_copies_to_trust(journal: Path, tmp_path: Path) -> None:
    copies = tmp_path / "copies"
    good, bad = make_copy(journal, copies, BEGIN), make_copy(journal, copies, BEGIN + DAY_MS)
    bad.write_bytes(bad.read_bytes()[:-50])
    told = CliRunner().invoke(cli, ["backup", "--list", "--to", str(copies)], catch_exceptions=False).output
    lines = {line.split()[0]: line for line in told.splitlines()}
    assert lines[good.name].endswith("sound")
    assert "DO NOT USE" in lines[bad.name]
    with pytest.raises(GillhouseError, match="no copies"):
        CliRunner().invoke(cli, ["backup", "--list", "--to", str(tmp_path / "none")], catch_exceptions=False)
