"""`gillhouse size` reproduces worked examples, shows its working, and finds air changes in a log.

CO2: an invented room of 30 m3, 30 g/h, intake 425 ppm, 18 C, worked from S. Batterman, Int. J. Environ. Res.
Public Health 14:145 (2017). Water: worked with PsychroLib 2.5. See tests/core/test_sizing.py for all cases.
"""

import json
from math import exp
from pathlib import Path
from random import Random

import pytest
from click.testing import CliRunner, Result

from audit.nights import Book
from commands.measured_farm import written
from gillhouse.__main__ import cli
from gillhouse.config import load

BEGIN_MS = 1_760_000_000_000
HOUR_MS = 3_600_000


def _size(folder: Path, *words: str) -> Result:
    return CliRunner().invoke(cli, ["size", "room", "--config", str(written(folder)), *words])


def _lines(folder: Path, *words: str) -> dict[str, dict[str, object]]:
    done = _size(folder, "--json", *words)
    assert done.exit_code == 0, done.output
    return {line["name"]: line for line in json.loads(done.output)["lines"]}


@pytest.mark.parametrize(
    ("ceiling", "flow", "changes"),
    [(800, 43.4288, 1.44763), (1000, 28.3231, 0.944105), (1500, 15.1496, 0.504986)],
)
def test_the_worked_air_examples(tmp_path: Path, ceiling: int, flow: float, changes: float) -> None:
    found = _lines(tmp_path, "--breath", "30", "--inside", "18,90", "--ceiling", str(ceiling))
    assert found["fresh air that keeps the ceiling"]["result"] == pytest.approx(flow, rel=1e-4)
    assert found["as air changes"]["result"] == pytest.approx(changes, rel=1e-4)
    assert found["CO2 climbs with everything shut"]["result"] == pytest.approx(542.86, rel=1e-4)


def test_the_worked_water_example(tmp_path: Path) -> None:
    """100 m3/h from 10 C, 60 % to 18 C, 90 % need 0.8739 kg/h and 596 W: here as much by the flow."""
    found = _lines(tmp_path, "--breath", "30", "--inside", "18,90", "--outside", "10,60", "--ceiling", "800")
    flow = found["fresh air that keeps the ceiling"]["result"]
    water = found["water the fresh air carries off"]["result"]
    assert water == pytest.approx(0.8739 * flow / 100, rel=1e-3)
    assert found["heat the mist takes from the air"]["result"] == pytest.approx(596 * flow / 100, rel=5e-3)


def test_it_shows_its_working_and_its_cautions(tmp_path: Path) -> None:
    done = _size(tmp_path, "--outside", "2,85")
    assert done.exit_code == 0
    for words in ("Q = 1e6 G / (C - Co)", "source: S. Batterman", "how sure:", "CAUTION: mains", "estimated"):
        assert words in done.output


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (["size", "attic"], "there are room, shed"),
        (["size", "shed"], "nothing to size"),
        (["size", "room", "--outside", "warm"], "write it like 10,70"),
        (["size", "room", "--outside", "10,170"], "up to 100"),
    ],
)
def test_what_it_cannot_do_it_says(tmp_path: Path, words: list[str], said: str) -> None:
    done = CliRunner().invoke(cli, [*words, "--config", str(written(tmp_path))])
    assert done.exit_code != 0
    assert said in f"{done.output}{done.exception}"


def _a_night(folder: Path, door: tuple[int, int] | None = None) -> None:
    """1,800 ppm, the fan on for an hour; then quiet, 0.6 air changes an hour towards 470 ppm for six."""
    config = load(written(folder))
    book, rng = Book(folder / "journal.db", config, BEGIN_MS), Random(2)
    book.command("room-fan", BEGIN_MS, True, lease_s=3600)
    for minute in range(420):
        hours = max(minute / 60 - 1, 0.0)
        value = 470.0 + 1330.0 * exp(-0.6 * hours) + rng.gauss(0, 8)
        book.reading("room-co2", BEGIN_MS + minute * 60_000, round(value))
        if door is not None:
            book.reading("room-door", BEGIN_MS + minute * 60_000 + 10, float(door[0] <= minute < door[1]))
        if minute == 60:
            book.command("room-fan", BEGIN_MS + HOUR_MS, False)
    book.close().close()


def test_air_changes_from_the_log(tmp_path: Path) -> None:
    _a_night(tmp_path)
    done = CliRunner().invoke(cli, ["size", "room", "--from-log", "--state", str(tmp_path), "--json"])
    assert done.exit_code == 0, done.output
    (found,) = json.loads(done.output)["decays"]
    assert found["fan_on"] is False
    assert found["low"] <= 0.6 <= found["high"]
    assert found["from_ms"] >= BEGIN_MS + HOUR_MS + 10 * 60_000, "ten minutes after the fan went off"
    told = CliRunner().invoke(cli, ["size", "room", "--from-log", "--state", str(tmp_path)])
    assert "fan off: 0.6" in told.output or "fan off: 0.5" in told.output
    assert "fit interval" in told.output


def test_a_door_open_all_night_leaves_no_figure(tmp_path: Path) -> None:
    _a_night(tmp_path, door=(0, 420))
    told = CliRunner().invoke(cli, ["size", "room", "--from-log", "--state", str(tmp_path)])
    assert told.exit_code == 0, told.output
    assert "no quiet stretch carries a figure" in told.output


def test_no_journal_is_said_plainly(tmp_path: Path) -> None:
    done = CliRunner().invoke(cli, ["size", "room", "--from-log", "--state", str(tmp_path)])
    assert "there is no store" in str(done.exception)
