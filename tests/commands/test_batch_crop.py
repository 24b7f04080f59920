"""`gillhouse batch pick, lost, look, filled, book` over a real store: an invented month of one batch."""

import csv
import json
import re
from datetime import datetime
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

import pytest
from click.testing import CliRunner

from audit.nights import Book, _decide, shipped_config
from gillhouse.__main__ import cli
from gillhouse.clock import SystemClock
from gillhouse.core.crops import Stage
from gillhouse.core.farm import Farm
from gillhouse.core.inputs import BatchAct, BatchAction, Started
from gillhouse.errors import GillhouseError

DAY = 86_400_000
ROME = ZoneInfo("Europe/Rome")
NOW = SystemClock().now().wall_ms
BEGIN = NOW - NOW % DAY - 40 * DAY + DAY // 2
"""A noon in UTC, so that no hour below is one that the clocks go through twice."""


def on(day: float) -> tuple[str, str]:
    return "--on", datetime.fromtimestamp((BEGIN + day * DAY) / 1000, ROME).strftime("%Y-%m-%d %H:%M")


@pytest.fixture
def state(tmp_path: Path) -> Path:
    """Batch 17 came with pinning, 60 kg; it fruits from day 3, rests from 10, and pins again from day 18."""
    config = shipped_config()
    book, farm = Book(tmp_path / "journal.db", config, BEGIN), Farm(config.farm)
    _decide(book, farm, BEGIN, Started("test", config.digest, True, None))
    came = BatchAction(
        BatchAct.ADD, "17", "ana", species="grey-oyster", stage=Stage.PINNING, kg=60.0, space="room"
    )
    _decide(book, farm, BEGIN + 1000, came)
    for day, stage in ((3, Stage.FRUITING), (10, Stage.REST), (18, Stage.PINNING)):
        _decide(book, farm, BEGIN + day * DAY, BatchAction(BatchAct.STAGE, "17", "ana", stage=stage))
    book.close().close()
    return tmp_path


def batch(state: Path, *words: str) -> tuple[int, str]:
    try:
        done = CliRunner().invoke(cli, ["batch", *words, "--state", str(state)], catch_exceptions=False)
    except GillhouseError as error:
        return 1, str(error)
    return done.exit_code, done.output


def written(state: Path, *words: str) -> int:
    code, said = batch(state, *words)
    assert code == 0, said
    number = re.search(r"\(number (\d+)\)", said)
    assert number is not None, said
    return int(number[1])


def told(state: Path, name: str = "17") -> dict[str, Any]:
    code, said = batch(state, "book", name, "--json")
    assert code == 0, said
    (found,) = json.loads(said)
    return found


def test_one_line_and_the_book_adds_it_up(state: Path) -> None:
    """Worked by hand: 8 + 4 kg of 16 kg dry are 75 %; 8 of 12 are two thirds; pins on day 2, picked on 7."""
    written(state, "filled", "17", "16", "--blocks", "20", *on(0.25))
    written(state, "look", "17", "pins", *on(2))
    written(state, "pick", "17", "8", "0,3", "--pieces", "40", "--grade", "first", *on(7))
    written(state, "lost", "17", "3", "green-mould", *on(8))
    written(state, "pick", "17", "4", *on(24))
    found = told(state)["yield"]
    assert (found["kg"], found["waste_kg"], found["efficiency_pct"]) == (12.0, 0.3, 75.0)
    assert [one["flush"] for one in found["flushes"]] == [1, 2]
    assert [round(one["share_pct"], 2) for one in found["flushes"]] == [66.67, 33.33]
    assert [one["pin_to_pick_d"] for one in found["flushes"]] == [5.0, 6.0]
    assert found["lost_pct"] == 15.0
    _, said = batch(state, "book", "17")
    assert "biological efficiency 75.0 % of 16 kg dry; 3 blocks lost of 20, 15 %" in said
    assert "flush 1: picked 8.00 kg, waste 0.30 kg, 67 % of the crop" in said
    assert "picked 8 kg, waste 0.3 kg, 40 pieces, first grade" in said


def test_without_the_dry_weight_it_says_so(state: Path) -> None:
    written(state, "pick", "17", "2.4", "0.3")
    _, said = batch(state, "book", "17")
    assert "picked 2.40 kg, waste 0.30 kg; dry weight not given" in said


def test_a_batch_without_a_pick(state: Path) -> None:
    code, said = batch(state, "book")
    assert code == 0
    assert "picked 0 kg" in said
    assert told(state)["yield"]["flushes"] == []


def test_an_entry_is_put_right_by_another_and_keeps_its_time(state: Path) -> None:
    wrong = written(state, "pick", "17", "24", *on(7))
    right = written(state, "pick", "17", "2.4", "--corrects", str(wrong))
    (entry,) = told(state)["entries"]
    assert (entry["number"], entry["corrects"], entry["kg"]) == (right, wrong, 2.4)
    assert entry["at_ms"] == BEGIN + 7 * DAY
    code, said = batch(state, "pick", "17", "2.5", "--corrects", str(wrong))
    assert code != 0
    assert f"number {wrong} is no such entry of 17" in said
    notes = CliRunner().invoke(cli, ["note", "--list", "--state", str(state)]).output
    assert "picked 24 kg" in notes, "the first stays in the log"


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (("pick", "17", "0"), "weight of 0 kg cannot be"),
        (("pick", "17", "-2"), "weight of -2 kg cannot be"),
        (("pick", "17", "9999"), "more than all the blocks of 17 weighed (60 kg)"),
        (("pick", "17", "two"), "write kg, as 2.4"),
        (("pick", "18", "2"), "no batch '18'"),
        (("pick", "17", "2", "--words", "a\x1b[2Jb"), "one line"),
        (("pick", "17", "2", *on(-3)), "17 was not there then"),
        (("pick", "17", "2", "--on", "2090-01-01 10:00"), "still to come"),
        (("filled", "17", "60"), "not less than the wet blocks"),
        (("lost", "17", "0", "dry"), "0 blocks lost cannot be"),
        (("look", "17", "ghosts"), "ghosts"),
        (("book", "18"), "no batch '18'"),
    ],
)
def test_what_cannot_be_is_refused_with_words_and_nothing_is_kept(
    state: Path, words: tuple[str, ...], said: str
) -> None:
    code, output = batch(state, *words)
    assert code != 0
    assert said in output
    assert told(state)["entries"] == []


def test_the_same_line_again_is_refused(state: Path) -> None:
    number = written(state, "pick", "17", "2.4", *on(7))
    code, said = batch(state, "pick", "17", "2.4", *on(7))
    assert code != 0
    assert f"stands in the book already (number {number})" in said
    assert len(told(state)["entries"]) == 1


def test_more_blocks_lost_than_there_were(state: Path) -> None:
    written(state, "filled", "17", "16", "--blocks", "4", *on(0.25))
    written(state, "lost", "17", "3", "dry", *on(7))
    code, said = batch(state, "lost", "17", "2", "flies", *on(8))
    assert code != 0
    assert "5 blocks lost of 4" in said


@pytest.mark.parametrize("words", ["=1+1", "+1", "-1", "@SUM(A1)"])
def test_no_cell_of_the_csv_is_a_formula(state: Path, tmp_path: Path, words: str) -> None:
    """The starts a spreadsheet runs. Source: OWASP, CSV Injection."""
    written(state, "pick", "17", "2.4", "0.3", *on(7), f"--words={words}")
    out = tmp_path / "17.csv"
    code, said = batch(state, "book", "17", "--csv", str(out))
    assert code == 0, said
    with out.open(encoding="utf-8", newline="") as file:
        (row,) = csv.DictReader(file)
    assert row["words"] == f"'{words}"
    assert (row["batch"], row["flush"], row["what"], row["kg"], row["waste_kg"]) == (
        "17",
        "1",
        "picked",
        "2.4",
        "0.3",
    )
    assert datetime.fromisoformat(row["at"]).timestamp() * 1000 == BEGIN + 7 * DAY
    assert all(cell[:1] not in {"=", "+", "-", "@", "\t", "\r"} for cell in row.values() if cell)
