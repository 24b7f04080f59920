"""The night decided again: the same bytes on any day, under any hash seed; a difference where there is one.

The outside truth: the stored rows, counted with plain SQL, and PYTHONHASHSEED as Python's own documentation
describes it (it changes the order of sets of strings).
"""

import hashlib
import os
import re
import shutil
import sqlite3
import subprocess
import sys
import time
from contextlib import closing
from datetime import UTC, datetime
from pathlib import Path

import pytest
from click.testing import CliRunner
from freezegun import freeze_time

from acceptance.nights import Lived, config_copy
from gillhouse.__main__ import cli
from gillhouse.replay import Replayed, replay
from gillhouse.store.reader import Reader

CHILD = """
import hashlib, sys
from pathlib import Path
from gillhouse.replay import replay
from gillhouse.store.reader import Reader
with Reader(Path(sys.argv[1])) as reader:
    again = replay(reader, int(sys.argv[2]), int(sys.argv[3]))
print(hashlib.sha256("\\n".join(again.lines).encode()).hexdigest(), again.inputs, again.first)
"""


def whole(journal: Path, night: Lived) -> Replayed:
    with Reader(journal) as reader:
        return replay(reader, night.from_ms, night.to_ms + 1)


def digest(replayed: Replayed) -> str:
    return hashlib.sha256("\n".join(replayed.lines).encode()).hexdigest()


@pytest.fixture(scope="module")
def again(night: Lived) -> Replayed:
    return whole(night.journal, night)


def test_the_night_decided_again_is_the_same_to_the_byte(night: Lived, again: Replayed) -> None:
    assert again.first is None
    with night.rows() as db:
        (readings,) = db.execute("SELECT count(*) FROM readings").fetchone()
        (others,) = db.execute("SELECT count(*) FROM inputs").fetchone()
        stored = {
            "Command": db.execute("SELECT count(*) FROM commands WHERE seq > 0").fetchone()[0],
            "Event": db.execute("SELECT count(*) FROM events WHERE seq > 0").fetchone()[0],
            "Verdict": readings,
            "AlarmNotice": db.execute("SELECT count(*) FROM alarms WHERE seq > 0").fetchone()[0],
        }
    assert again.inputs == readings + others > 10_000
    made = dict.fromkeys(stored, 0)
    for line in again.lines:
        made[line.split(" ", 1)[0]] += 1
    assert made == stored
    assert min(stored.values()) > 5, "a night without commands, events or alarms proves little"


def test_it_is_the_same_in_1970(night: Lived, again: Replayed) -> None:
    with freeze_time("1970-01-01"):
        assert time.time() == 0.0
        assert datetime.now(UTC).year == 1970
        frozen = whole(night.journal, night)
    assert frozen.first is None
    assert frozen.lines == again.lines


def test_it_is_the_same_under_every_hash_seed(night: Lived, again: Replayed) -> None:
    arguments = [str(night.journal), str(night.from_ms), str(night.to_ms + 1)]
    children = [
        subprocess.Popen(
            [sys.executable, "-c", CHILD, *arguments],
            env={**os.environ, "PYTHONHASHSEED": seed},
            stdout=subprocess.PIPE,
            text=True,
        )
        for seed in ("0", "4242")
    ]
    said = [child.communicate(timeout=120)[0].strip() for child in children]
    assert said == [f"{digest(again)} {again.inputs} None"] * 2


def test_another_config_is_told_by_its_first_difference(
    night: Lived, tmp_path: Path, again: Replayed
) -> None:
    """The room shall be kept wetter: nothing differs before the first decision that names its humidity."""
    other = config_copy(night.out, tmp_path / "other", room_low=88.0)
    with night.reader() as reader:
        changed = replay(reader, night.from_ms, night.to_ms + 1, other.farm)
        first = changed.first
        assert first is not None
        assert first.then != first.now
        stored = reader.input(first.seq)
    assert stored is not None
    assert stored[1].wall_ms == first.wall_ms
    same = len(changed.lines) - len(first.now)
    assert changed.lines[:same] == again.lines[:same]
    assert changed.lines[same:] == first.now
    assert again.lines[same : same + len(first.then)] == first.then
    assert "room" in "".join((*first.then, *first.now))


def test_the_difference_is_told_to_a_grower(night: Lived, tmp_path: Path) -> None:
    """Both sides in words and by their own limits, at the farm's own clock; no line of JSON."""
    config_copy(night.out, tmp_path / "other", room_low=88.0)
    other = str(tmp_path / "other" / "farm.yaml")
    told = CliRunner().invoke(cli, ["replay", "--state", str(night.out), "--with", other])
    assert told.exit_code == 0, told.output
    assert re.match(r"On Tue 14 Oct at (19|20):\d\d:\d\d the first decision would have been", told.output)
    then, now = told.output.split("  With farm.yaml:")
    assert "Room mist" in then and "over 85 %" in then
    assert "Room mist" in now and "over 88 %" in now
    assert "the air would have answered differently" in now
    assert "{" not in told.output


TAMPERED = {
    "lease": "UPDATE commands SET lease_ms = lease_ms + 1 WHERE id = ?",
    "reason": "UPDATE commands SET reason = 'override' WHERE id = ?",
    "cause": "UPDATE commands SET causes = '[1]' WHERE id = ?",
    "relay": "UPDATE commands SET relay = 'barn-mist' WHERE id = ?",
    "gone": "DELETE FROM commands WHERE id = ?",
}


@pytest.mark.parametrize("how", TAMPERED)
def test_a_tampered_command_is_found(night: Lived, tmp_path: Path, how: str) -> None:
    journal = tmp_path / "journal.db"
    shutil.copyfile(night.journal, journal)
    with closing(sqlite3.connect(journal)) as db:
        id, seq = db.execute(
            "SELECT id, seq FROM commands WHERE is_on AND NOT renewal AND relay = 'tent-mist' "
            "ORDER BY id LIMIT 1 OFFSET 9"
        ).fetchone()
        assert db.execute(TAMPERED[how], (id,)).rowcount == 1
        db.commit()
    found = whole(journal, night)
    assert found.first is not None
    assert found.first.seq == seq
    assert found.first.then != found.first.now


def test_a_tampered_reading_is_found(night: Lived, tmp_path: Path) -> None:
    """A reading behind a command made to say another value: what was decided does not follow from it."""
    journal = tmp_path / "journal.db"
    shutil.copyfile(night.journal, journal)
    with closing(sqlite3.connect(journal)) as db:
        seq, causes = db.execute(
            "SELECT seq, json_extract(causes, '$[0]') FROM commands WHERE reason = 'hold-humid' "
            "AND relay = 'tent-mist' AND is_on ORDER BY id LIMIT 1 OFFSET 4"
        ).fetchone()
        assert db.execute("UPDATE readings SET value = value - 4 WHERE seq = ?", (causes,)).rowcount == 1
        db.commit()
    found = whole(journal, night)
    assert found.first is not None
    assert causes <= found.first.seq <= seq
