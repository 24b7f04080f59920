"""`gillhouse season` from the command line: words, JSON, the picture, and mistakes that are told."""

import json
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from ahead.weather_years import GREENSBORO, text
from audit.nights import Book, shipped_config
from gillhouse.clock import SystemClock
from gillhouse.commands.season import command
from gillhouse.config import shipped_dir
from gillhouse.errors import GillhouseError

FARM = str(shipped_dir() / "farm.yaml")


@pytest.fixture(scope="module")
def weather(tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("weather") / "year.csv"
    path.write_text(text(GREENSBORO), encoding="latin-1")
    return path


def season(*words: str) -> Result:
    return CliRunner().invoke(command, ["--config", FARM, *words])


def test_two_spans_with_their_starts_in_words(weather: Path) -> None:
    """The outside table's Greensboro oyster weeks: 8 to 21 and 36 to 47, as dates (day 50 and 246)."""
    told = season("--weather", str(weather), "--crop", "grey-oyster")
    assert told.exit_code == 0, told.output
    assert "20 weeks open" in told.output
    assert "19 Feb to 27 May" in told.output and "3 Sep to 25 Nov" in told.output
    assert "start bags by" in told.output and "expect first pins" in told.output
    assert told.output.count("source: ") >= 5


def test_the_same_as_json_and_a_picture(weather: Path, tmp_path: Path) -> None:
    picture = tmp_path / "season.svg"
    told = season("--weather", str(weather), "--crop", "grey-oyster", "--json", "--svg", str(picture))
    found = json.loads(told.output)
    (crop,) = found["crops"]
    assert len(crop["open_weeks"]) == 20 and [span["from"] for span in crop["spans"]] == ["02-19", "09-03"]
    assert len(found["weeks"]) == 52
    assert {part["assumed"] for part in found["slug_score"]} == {True, False}
    assert picture.read_text(encoding="utf-8").startswith("<svg")


def test_open_is_thirstier_than_netted_and_netted_than_shaded(weather: Path) -> None:
    drying = []
    for kind in ("open", "netted", "shaded"):
        told = season("--weather", str(weather), "--crop", "grey-oyster", "--space-kind", kind, "--json")
        drying.append(sum(week["waterings_per_day"] for week in json.loads(told.output)["weeks"]))
    assert drying == sorted(drying, reverse=True) and drying[0] > 1.5 * drying[2]


@pytest.mark.parametrize(
    ("words", "wanted"),
    [
        (("--crop", "morel"), "there is no species 'morel'"),
        (("--weather", "/nowhere/year.epw"), "cannot be opened"),
        (("--svg", "/nowhere/x.svg"), "cannot be written"),
    ],
)
def test_mistakes_are_told_in_words(weather: Path, words: tuple[str, ...], wanted: str) -> None:
    told = season("--weather", str(weather), *words)
    assert isinstance(told.exception, GillhouseError) and wanted in str(told.exception)


@pytest.fixture(scope="module")
def own_log(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """An outdoor sensor's last fifteen days, at 40 C and 20 %: hotter than any week of the file."""
    folder = tmp_path_factory.mktemp("own")
    now = SystemClock().now().wall_ms
    begin = now - now % 3_600_000 - 15 * 86_400_000
    book = Book(folder / "journal.db", shipped_config(), begin)
    for sensor, value in (("out-temp", 40.0), ("out-rh", 20.0)):
        book.readings(sensor, begin, 600, [value] * (15 * 144))
    book.close().close()
    return folder


def test_this_year_stands_beside_the_typical_one(weather: Path, own_log: Path) -> None:
    told = season("--weather", str(weather), "--crop", "grey-oyster", "--this-year", "--state", str(own_log))
    assert told.exit_code == 0, told.output
    assert "this year, the last" in told.output and "C warmer" in told.output
    words = (
        "--weather",
        str(weather),
        "--crop",
        "grey-oyster",
        "--this-year",
        "--json",
        "--state",
        str(own_log),
    )
    beside = json.loads(season(*words).output)["this_year"]
    assert 2 <= len(beside) <= 3  # fifteen days hold two whole weeks of the calendar, or two and a half
    assert {week["mean_c"] for week in beside} == {40.0}
    assert {week["share_in_range"]["grey-oyster"] for week in beside} == {0.0}


def test_without_a_file_the_own_log_is_planned_with(own_log: Path) -> None:
    told = season("--crop", "grey-oyster", "--state", str(own_log))
    assert told.exit_code == 0, told.output
    assert "your own log" in told.output and "are not in it or less than half" in told.output
    assert "slug nights not counted" in told.output


def test_without_file_or_sensor_it_says_what_to_give(tmp_path: Path) -> None:
    farm = (shipped_dir() / "farm.yaml").read_text(encoding="utf-8")
    assert "zone: outdoor, quantity: humidity" in farm
    farm = farm.replace("zone: outdoor, quantity: humidity", "space: room, zone: back, quantity: humidity")
    (tmp_path / "farm.yaml").write_text(farm, encoding="utf-8")
    told = CliRunner().invoke(command, ["--config", str(tmp_path / "farm.yaml"), "--state", str(tmp_path)])
    assert isinstance(told.exception, GillhouseError) and "--weather FILE" in str(told.exception)
