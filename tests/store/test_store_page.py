"""docs/reference/store.md says what is there: its tables are the store's, its questions can be asked."""

import re
import sqlite3
from pathlib import Path

import pytest

from gillhouse.clock import VirtualClock
from gillhouse.core.outputs import Event, EventKind
from gillhouse.store.lines import line_of
from gillhouse.store.rows import EventRow, MetaRow, OutboxRow, SeriesRow
from store.kept import T0_MS, command, reading, writing

PAGE = (Path(__file__).parents[2] / "docs" / "reference" / "store.md").read_text()


@pytest.fixture
def store(tmp_path: Path) -> Path:
    path = tmp_path / "journal.db"
    clock = VirtualClock(T0_MS)
    with writing(path, clock) as kept:
        kept.writer.put(
            SeriesRow("tent-1", "humidity", "%", "tent", "middle"),
            reading(1),
            command(1),
            EventRow(0, T0_MS, Event(EventKind.GAP, "store", None, None, {"lost": 3})),
            OutboxRow(1, T0_MS, "mail", "TENT DRY", "TENT DRY 76%", T0_MS),
        )
        assert kept.writer.flush()
        clock.advance_to(2 * 3_600_000)  # its hour is over, and summed up with the next commit
        kept.writer.put(MetaRow("next", 1))
    return path


def test_its_tables_are_those_of_the_store(store: Path) -> None:
    db = sqlite3.connect(store)
    there = {
        name
        for (name,) in db.execute("SELECT name FROM sqlite_master WHERE type IN ('table', 'view')")
        if not name.startswith("sqlite_")
    }
    db.close()
    table = PAGE[PAGE.index("| table |") : PAGE.index("A reading's key")]
    assert set(re.findall(r"^\| `(\w+)` \|", table, re.MULTILINE)) == there


ANSWERS = ["tent-1", "tent-1", "co2-high", '"lost":3', "TENT DRY"]


@pytest.mark.parametrize(("place", "answer"), list(enumerate(ANSWERS)))
def test_its_questions_have_answers(store: Path, place: int, answer: str) -> None:
    question = re.findall(r"```sql\n(.*?)```", PAGE, re.DOTALL)[place]
    db = sqlite3.connect(f"file:{store}?mode=ro", uri=True)
    (row,) = db.execute(question).fetchall()
    db.close()
    assert any(answer in str(value) for value in row)


def test_its_line_is_one_we_send(store: Path) -> None:
    made = line_of(reading(0, 91.2), SeriesRow("tent-1", "humidity", "%", "tent", "middle"))
    assert f"    {made}\n" in PAGE
