"""What a hand with the file open can do, and what `verify` says of it. Rows are changed with plain SQL."""

import random
import sqlite3
from pathlib import Path

import pytest
from click.testing import CliRunner

from gillhouse.__main__ import cli
from gillhouse.store.chain import COLUMNS
from gillhouse.store.reader import Reader
from gillhouse.store.verify import Checked
from store.sealed import HOUR0_MS, HOUR_MS, fill, places, reseal

KEY0 = HOUR0_MS << 14


@pytest.fixture(scope="module")
def master(tmp_path_factory: pytest.TempPathFactory) -> bytes:
    """A sealed store as it was left, as bytes: each test breaks a copy of its own."""
    path = tmp_path_factory.mktemp("sealed") / "journal.db"
    fill(path)
    db = sqlite3.connect(path)
    db.execute("PRAGMA wal_checkpoint(TRUNCATE)")
    db.execute("PRAGMA journal_mode = DELETE")
    db.close()
    return path.read_bytes()


@pytest.fixture
def path(tmp_path: Path, master: bytes) -> Path:
    made = tmp_path / "journal.db"
    made.write_bytes(master)
    return made


def after(path: Path, *statements: str, head: str | None = None) -> Checked:
    db = sqlite3.connect(path)
    for statement in statements:
        db.executescript(statement)
    db.close()
    with Reader(path) as reader:
        return reader.verify(head)


def head_of(path: Path) -> str:
    with Reader(path) as reader:
        return str(reader.head())


def test_an_untouched_log_holds(path: Path) -> None:
    checked = after(path, head=head_of(path))
    assert checked.findings == []
    assert checked.hours >= 4


ROWS = [
    # (what was done to one row, table and key it is told of)
    ("UPDATE commands SET reason = 'co2-low' WHERE id = 7", "row 7 of commands"),
    ("UPDATE commands SET is_on = 0 WHERE id = 7", "row 7 of commands"),
    ("UPDATE events SET ts = ts - 60000 WHERE id = 3", "row 3 of events"),
    ("UPDATE events SET facts = '{}' WHERE id = 5", "row 5 of events"),
    ("UPDATE alarms SET who = '~9' WHERE id = 9", "row 9 of alarms"),
    ("UPDATE alarms SET ts = 'noon' WHERE id = 9", "row 9 of alarms"),
    ("UPDATE alarms SET facts = x'00ff' WHERE id = 9", "row 9 of alarms"),
    ("UPDATE inputs SET body = replace(body, 'turn 4', 'turn 5') WHERE seq = 44", "row 44 of inputs"),
    ("UPDATE marks SET body = '{}' WHERE id = 3", "row 3 of marks"),
]


@pytest.mark.parametrize(("change", "row"), ROWS)
def test_a_changed_row_is_named_and_no_other_row_of_the_log(path: Path, change: str, row: str) -> None:
    findings = after(path, change).findings
    told = [one.what for one in findings if "was changed" in one.what]
    assert all(row in what for what in told)
    assert len(told) == 1
    assert findings[0].what in told or "marks" in change


def test_a_changed_seal_is_told_from_changed_words(path: Path) -> None:
    (found,) = after(path, "UPDATE events SET link = randomblob(32) WHERE id = 4").findings
    assert found.what.startswith("row 4 of events")
    assert "another seal" in found.what


@pytest.mark.parametrize("table", ["events", "commands", "alarms"])
def test_a_removed_row_is_missed_at_its_place(path: Path, table: str) -> None:
    with Reader(path) as reader:
        (place, ts) = reader._db.execute(f"SELECT place, ts FROM {table} WHERE id = 6").fetchone()
    (found,) = after(path, f"DELETE FROM {table} WHERE id = 6").findings
    assert found.what.startswith(f"number {place} is missing")
    assert found.ts >= ts


def test_several_removed_rows_are_counted(path: Path) -> None:
    findings = after(path, "DELETE FROM inputs WHERE kind = 'OperatorAction'").findings
    assert len(findings) == 20
    findings = after(path, "DELETE FROM commands; DELETE FROM events; DELETE FROM alarms").findings
    assert any(one.what.startswith("numbers ") for one in findings)


def test_an_inserted_row_is_named(path: Path) -> None:
    columns = "seq, ts, relay, is_on, lease_ms, authority, reason, facts, causes, renewal, advise"
    copy = f"INSERT INTO commands ({columns}) SELECT {columns} FROM commands WHERE id = 2"
    (found,) = after(path, copy).findings
    assert found.what == "row 21 of commands was put in: it is not in the chain"
    numbered = copy.replace("advise)", "advise, place, link)").replace(
        "advise FROM", "advise, place, link FROM"
    )
    findings = after(path, numbered).findings
    assert any("row 22 of commands" in one.what and "was put in" in one.what for one in findings)


def test_an_action_nobody_took_is_found(path: Path) -> None:
    put = "INSERT INTO inputs SELECT 9000, wall_ms, mono_ms, kind, body, NULL, NULL FROM inputs WHERE seq = 4"
    (found,) = after(path, put).findings
    assert "row 9000 of inputs was put in" in found.what


def test_rows_that_changed_places_are_named_together(path: Path) -> None:
    columns = "seq, ts, relay, is_on, lease_ms, authority, reason, facts, causes, renewal, advise"
    swap = f"""
        CREATE TEMP TABLE t AS SELECT * FROM commands WHERE id IN (3, 9);
        UPDATE commands SET ({columns}) = (SELECT {columns} FROM t WHERE t.id = 12 - commands.id)
        WHERE id IN (3, 9);"""
    (found,) = after(path, swap).findings
    assert "row 9 of commands" in found.what
    assert "row 3 of commands" in found.what
    assert found.what.endswith("have changed places")


def test_numbers_and_seals_that_changed_places_are_found(path: Path) -> None:
    swap = """
        CREATE TEMP TABLE t AS SELECT id, place, link FROM events WHERE id IN (3, 4);
        UPDATE events SET (place, link) = (SELECT place, link FROM t WHERE t.id = 7 - events.id)
        WHERE id IN (3, 4);"""
    findings = after(path, swap).findings
    assert {one.what.split(" (")[0] for one in findings} == {"row 3 of events", "row 4 of events"}


NEXT = "id + 16384, value, {}, delay, skew, fate FROM readings ORDER BY id LIMIT 1"
LONG_AFTER = KEY0 + (HOUR_MS * 24 * 400 << 14) + 1
READINGS = [
    ("UPDATE readings SET value = value + 1 WHERE id = (SELECT min(id) FROM readings)", "changed"),
    ("DELETE FROM readings WHERE id = (SELECT min(id) FROM readings)", "1 removed"),
    (f"INSERT INTO readings SELECT {NEXT.format('seq')}", "1 put in"),
    (f"INSERT INTO readings SELECT {NEXT.format('99999')}", "1 put in later"),
    (f"INSERT INTO readings VALUES ({LONG_AFTER}, 1.0, 5, 0, 0, 0)", "never sealed"),
    ("UPDATE hours SET mean = 85", "the sums of the hour"),
    ("DELETE FROM hours", "the sums of the hour"),
]


@pytest.mark.parametrize(("change", "words"), READINGS)
def test_readings_and_their_sums_are_held_to_their_hour(path: Path, change: str, words: str) -> None:
    findings = after(path, change).findings
    assert findings
    assert all(words in one.what for one in findings)


def test_a_cut_tail_fits_itself_and_is_found_by_a_seal_kept_elsewhere(path: Path) -> None:
    """The limit of any chain without a secret: it needs a witness outside."""
    head = head_of(path)
    with Reader(path) as reader:  # cut within the first hour, before any was sealed
        (last,) = reader._db.execute("SELECT min(place) - 1 FROM marks WHERE kind = 'hour'").fetchone()
    cut = [f"DELETE FROM {table} WHERE place > {last}" for table in COLUMNS]
    assert after(path, *cut, "DELETE FROM hours").findings == []
    (found,) = after(path, head=head).findings
    assert found.what.startswith(f"the end is cut off: the chain ends at number {last},")


def test_a_chain_made_anew_is_found_by_a_seal_kept_elsewhere(path: Path) -> None:
    head = head_of(path)
    db = sqlite3.connect(path)
    db.execute("UPDATE commands SET is_on = 0 WHERE id = 7")
    (place,) = db.execute("SELECT place FROM commands WHERE id = 7").fetchone()
    db.commit()
    db.close()
    reseal(path, place)
    assert after(path).findings == []
    (found,) = after(path, head=head).findings
    assert "not in this chain" in found.what


def test_an_older_seal_still_proves_what_came_before_it(path: Path) -> None:
    with Reader(path) as reader:
        (link,) = reader._db.execute("SELECT link FROM events WHERE id = 10").fetchone()
    assert after(path, head=link.hex()).findings == []
    assert after(path, head=link.hex()[:16]).findings == []
    with pytest.raises(ValueError, match="not a seal"):
        after(path, head="4711")


def test_any_change_to_any_sealed_column_is_found(path: Path) -> None:
    """Every column of a row of each table, one at a time; the file is put back between."""
    whole = path.read_bytes()
    with Reader(path) as reader:
        some = random.Random(4).sample(places(reader._db), 12)
        columns = {
            table: [row[1] for row in reader._db.execute(f"PRAGMA table_info({table})")]
            for table in {table for _, table, _ in some}
        }
    for _, table, key in some:
        for column in columns[table][1:]:
            name = "seq" if table == "inputs" else "id"
            path.write_bytes(whole)
            changed = after(path, f"UPDATE {table} SET {column} = 77777 WHERE {name} = {key}")
            assert changed.findings, f"{table}.{column} of {key}"


def run(path: Path, *more: str) -> tuple[int, str]:
    done = CliRunner().invoke(cli, ["verify", "--state", str(path.parent), *more])
    return done.exit_code, done.output


def test_the_command_says_so_in_order_of_time_and_by_its_exit_code(path: Path) -> None:
    code, said = run(path, "--head", head_of(path))
    assert code == 0
    assert "nothing was changed, removed or put in" in said
    assert "the seal you gave is a row of this log" in said
    db = sqlite3.connect(path)
    db.executescript("UPDATE alarms SET priority = 3 WHERE id = 12; DELETE FROM commands WHERE id = 2")
    db.close()
    code, said = run(path)
    lines = said.splitlines()
    assert code == 1
    assert "missing: removed" in lines[0]
    assert "row 12 of alarms" in lines[1]
    assert lines[0][:20] < lines[1][:20]
    assert run(path, "--head", "no")[0] == 2
