"""`gillhouse pests` over a real store: an invented month in a room at a steady 15 C, then what people saw."""

import json
import re
from datetime import datetime
from pathlib import Path
from typing import Any
from xml.etree import ElementTree
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
from gillhouse.store.reader import Reader

DAY = 86_400_000
DAYS = 40
ROME = ZoneInfo("Europe/Rome")
NOW = SystemClock().now().wall_ms
BEGIN = NOW - NOW % 3_600_000 - DAYS * DAY


def on(day: float) -> str:
    """The day and time so many days after the batch came, as typed."""
    return datetime.fromtimestamp((BEGIN + day * DAY) / 1000, ROME).strftime("%Y-%m-%d %H:%M")


def lived(state: Path, temps: list[float], gap: tuple[int, int] = (0, 0), end_day: int | None = None) -> Path:
    """A store with a batch of grey oyster in the room, readings each ten minutes, and days without any."""
    config = shipped_config()
    book, farm = Book(state / "journal.db", config, BEGIN), Farm(config.farm)
    came = BatchAction(
        BatchAct.ADD, "OY-7", "ana", species="grey-oyster", stage=Stage.PINNING, kg=60.0, space="room"
    )
    _decide(book, farm, BEGIN, Started("test", config.digest, True, None))
    _decide(book, farm, BEGIN + 1000, came)
    if end_day is not None:
        _decide(book, farm, BEGIN + end_day * DAY, BatchAction(BatchAct.END, "OY-7", "ana"))
    for day, temp in enumerate(temps):
        if not gap[0] <= day < gap[1]:
            book.readings("room-temp", BEGIN + day * DAY, 600, [temp] * 144)
            book.readings("room-rh", BEGIN + day * DAY, 600, [90.0] * 144)
    book.close().close()
    return state


@pytest.fixture
def state(tmp_path: Path) -> Path:
    return lived(tmp_path, [15.0] * DAYS)


def pests(state: Path, *words: str) -> tuple[int, str]:
    done = CliRunner().invoke(cli, ["pests", *words, "--state", str(state)], catch_exceptions=False)
    return done.exit_code, done.output


def told(state: Path, *words: str) -> dict[str, Any]:
    code, said = pests(state, "--json", *words)
    assert code == 0, said
    (found,) = json.loads(said)
    return found


def pest_of(found: dict[str, Any], ident: str = "sciarid") -> dict[str, Any]:
    return next(one for one in found["pests"] if one["pest"] == ident)


def days(ms: int | None) -> float:
    assert ms is not None
    return (ms - BEGIN) / DAY


def test_from_the_day_it_came_the_first_flies_are_due_as_published(state: Path) -> None:
    """Bradysia at a steady 15 C: 40.6 days from egg to adult (Korean J. Appl. Entomol. 1998)."""
    found = told(state, "--batch", "OY-7")
    sciarid = pest_of(found)
    assert (found["batch"], found["space"], found["temperature"]) == ("OY-7", "room", "air")
    assert sciarid["begin"]["sign"] == "opened"
    flies = next(one for one in sciarid["windows"] if one["stage"] == "adult")
    assert days(flies["likely_ms"]) == pytest.approx(40.6, abs=0.2)
    assert days(flies["from_ms"]) == pytest.approx(40.6 * 0.82, abs=0.3)
    assert "logged" in sciarid["hours"] and sciarid["hours"]["logged"] > 900
    assert {one["pest"] for one in found["pests"]} == {"sciarid", "phorid", "cecid"}  # of oyster, or of all


def test_a_sighting_leads_and_is_kept_with_who_and_when(state: Path) -> None:
    code, said = pests(state, "seen", "room", "sciarid", "--on", on(10), "--words", "by the door")
    assert (code, said.startswith("noted for room: dark-winged gnats seen (number ")) == (0, True)
    sciarid = pest_of(told(state, "--batch", "OY-7"))
    assert (sciarid["begin"]["sign"], sciarid["begin"]["stage"]) == ("seen", "adult")
    assert days(sciarid["begin"]["at_ms"]) == pytest.approx(10, abs=0.001)
    with Reader(state / "journal.db") as reader:
        (note,) = [one.event for one in reader.events(0, 1 << 48) if one.event.kind == "note"]
        assert note.facts["text"] == f"flies: sciarid adult seen on {on(10)}; by the door"
        assert note.facts["who"]
        assert reader.verify().findings == []


def test_a_sighting_put_right_by_a_later_note_no_longer_counts(state: Path) -> None:
    _, said = pests(state, "seen", "room", "sciarid", "--on", on(10))
    number = said.split("(number ")[1].split(")")[0]
    done = CliRunner().invoke(cli, ["note", "room", "a moth", "--corrects", number, "--state", str(state)])
    assert done.exit_code == 0
    assert pest_of(told(state, "--batch", "OY-7"))["begin"]["sign"] == "opened"


def test_cards_that_double_are_told_and_start_the_clock(state: Path) -> None:
    for day, caught in ((7, 0), (14, 4), (21, 8), (28, 16)):
        code, said = pests(state, "count", "room", "sciarid", str(caught), "--cards", "2", "--on", on(day))
        assert code == 0, said
    sciarid = pest_of(told(state, "--space", "room"))
    assert (sciarid["begin"]["sign"], days(sciarid["begin"]["at_ms"])) == (
        "caught",
        pytest.approx(14, abs=0.001),
    )
    assert [round(each, 2) for _, each in sciarid["per_card_day"]] == [0.0, 0.29, 0.57, 1.14]
    assert 4.0 < sciarid["doubling_days"] < 7.0  # 0, 4, 8, 16: the empty card counts as half a fly
    text = pests(state, "--space", "room", "--pest", "sciarid")[1]
    assert re.search(r"cards: 1\.1 a card and day on .*; doubles in [4-6] days \(last 4 counts\)", text)
    assert "your own usual: needs 6 counts" in text


def test_larvae_are_held_against_the_published_count(state: Path) -> None:
    pests(state, "count", "room", "sciarid", "1", "--larvae", "--on", on(12))
    text = pests(state, "--space", "room", "--pest", "sciarid")[1]
    assert "larvae: 1 reaches the published 1 larvae in 125 g of casing [AFBI" in text
    assert "reckoned from larvae seen on" in text


def test_a_long_hole_in_the_log_is_filled_and_stated(tmp_path: Path) -> None:
    """Ten days are missing: taken as the days around them, doubted by 3 C each way, and told as filled."""
    whole = pest_of(told(lived(_folder(tmp_path, "whole"), [15.0] * DAYS), "--batch", "OY-7"))
    holed = pest_of(told(lived(_folder(tmp_path, "holed"), [15.0] * DAYS, (10, 20)), "--batch", "OY-7"))
    assert whole["hours"]["filled"] == 0
    assert holed["hours"]["filled"] == pytest.approx(240, abs=2)
    one, other = (next(w for w in each["windows"] if w["stage"] == "adult") for each in (whole, holed))
    assert one["likely_ms"] == pytest.approx(other["likely_ms"], abs=3_600_000)
    assert other["from_ms"] < one["from_ms"] - DAY and other["to_ms"] > one["to_ms"] + DAY
    text = pests(tmp_path / "holed", "--batch", "OY-7")[1]
    assert re.search(r"how sure: temperatures \d+ % logged, \d+ % filled", text)


def _folder(parent: Path, name: str) -> Path:
    (parent / name).mkdir()
    return parent / name


def test_a_batch_that_is_gone_has_no_windows_after_it_and_says_what_it_left_out(tmp_path: Path) -> None:
    state = lived(tmp_path, [15.0] * DAYS, end_day=20)
    code, said = pests(state, "seen", "room", "sciarid", "--on", on(30))
    assert code == 0 and "no batch stood there then, so it counts for the space alone" in said
    found = told(state, "--batch", "OY-7")
    assert (found["left_out"], pest_of(found)["begin"]["sign"]) == (1, "opened")
    assert all(one["from_ms"] < BEGIN + 20 * DAY for one in pest_of(found)["windows"])
    assert ": ended " in pests(state, "--batch", "OY-7")[1]
    assert pest_of(told(state, "--space", "room"))["begin"]["sign"] == "seen"


def test_a_forecast_goes_before_the_last_week(state: Path, tmp_path: Path) -> None:
    warm = tmp_path / "warm.csv"
    rows = [
        f"{datetime.fromtimestamp((NOW + hour * 3_600_000) / 1000, ROME):%Y-%m-%d %H:00},25"
        for hour in range(240)
    ]
    warm.write_text("\n".join(["time,temp_c", *rows]), encoding="utf-8")
    found = pest_of(told(state, "--batch", "OY-7", "--forecast", str(warm)))
    assert found["hours"]["forecast"] >= 235
    plain = pest_of(told(state, "--batch", "OY-7"))
    flies = [
        next(w["from_ms"] for w in each["windows"] if (w["generation"], w["stage"]) == (2, "adult"))
        for each in (found, plain)
    ]
    assert flies[0] < flies[1]
    warm.write_text("time,temp_c\nnever,25\n", encoding="utf-8")
    code, said = pests(state, "--batch", "OY-7", "--forecast", str(warm))
    assert (code, "row 2: time 'never' is not like" in said) == (1, True)


def test_the_chart_is_written_and_drawn(state: Path, tmp_path: Path) -> None:
    path = tmp_path / "pests.svg"
    assert pests(state, "--batch", "OY-7", "--svg", str(path))[0] == 0
    root = ElementTree.fromstring(path.read_text(encoding="utf-8"))
    assert root.get("class") == "windows"
    assert len([one for one in root.iter() if one.get("class") in ("window", "open")]) > 8
    with pytest.raises(GillhouseError, match=r"where\.svg cannot be written .*; name another file"):
        pests(state, "--batch", "OY-7", "--svg", str(tmp_path / "no" / "where.svg"))


def test_a_pest_without_sourced_figures_uses_the_log_only(state: Path, tmp_path: Path) -> None:
    (tmp_path / "farm").mkdir()
    farm = tmp_path / "farm" / "farm.yaml"
    farm.write_text("", encoding="utf-8")
    (farm.parent / "pests").mkdir()
    (farm.parent / "pests" / "mite.yaml").write_text(
        "name: mites\nlatin: Acari\nyoung: mites\n", encoding="utf-8"
    )
    for day, caught in enumerate((2, 3, 2, 4, 3, 2, 30), 1):
        code, said = pests(
            state, "count", "room", "mite", str(caught), "--on", on(day * 5), "--config", str(farm)
        )
        assert code == 0, said
    text = pests(state, "--space", "room", "--pest", "mite", "--config", str(farm))[1]
    assert "not sourced: uses your log only" in text
    assert re.search(
        r"over your own usual: 0\.4, nine of ten up to 0\.6 a card and day \(6 counts\)",
        " ".join(text.split()),
    )


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (("count", "room", "sciarid", "-3"), "-3 caught on 1 traps in 7 days cannot be; a count is"),
        (("count", "room", "sciarid", "3", "--cards", "0"), "cannot be"),
        (("count", "room", "sciarid", "-2", "--larvae"), "-2 larvae cannot be"),
        (("count", "room", "fruitfly", "3"), "there is no pest 'fruitfly'; write one of: button"),
        (("seen", "shed", "sciarid"), "there is no space 'shed'"),
        (("seen", "room", "sciarid", "--on", "2199-01-01"), "2199-01-01 is still to come; say when"),
        (("seen", "room", "sciarid", "--on", "yesterday"), "'yesterday' is no day"),
        (("seen", "room", "sciarid", "--words", "x" * 301), "301 letters of words; 300 at most"),
        (("--batch", "OY-77"), "the log knows no batch 'OY-77'; did you mean OY-7?"),
        (("--space", "rom"), "there is no space 'rom'; did you mean room?"),
        (("--space", "room", "--batch", "OY-7"), "name a space or a batch, not both"),
        (("--pest", "sciard"), "there is no pest 'sciard'; did you mean sciarid?"),
        (("--space", "room", "--opened", "2026-02-01", "--until", "2026-01-01"), "is not after --opened"),
        (("treat", "room"), "nothing is running on"),
        (("treat", "shed"), "there is no space 'shed'"),
    ],
)  # fmt: skip
def test_what_cannot_be_is_refused_and_nothing_is_noted(
    state: Path, words: tuple[str, ...], said: str
) -> None:
    done = CliRunner().invoke(cli, ["pests", *words, "--state", str(state)])
    assert done.exit_code != 0
    assert said in done.output + str(done.exception)
    with Reader(state / "journal.db") as reader:
        assert [one for one in reader.events(0, 1 << 48) if one.event.kind == "note"] == []


def test_wet_caps_are_told_with_the_sourced_hours(tmp_path: Path) -> None:
    """A room at 16 C and 99 % for its last days: 0.16 C over dew, wet all the time."""
    state = tmp_path
    config = shipped_config()
    book, farm = Book(state / "journal.db", config, BEGIN), Farm(config.farm)
    _decide(book, farm, BEGIN, Started("test", config.digest, True, None))
    book.readings("room-temp", BEGIN + 36 * DAY, 600, [16.0] * 144)
    book.readings("room-rh", BEGIN + 36 * DAY, 600, [99.0] * 144)
    book.close().close()
    found = told(state, "--space", "room", "--opened", on(35))
    assert found["caps"]["wet_h"] == pytest.approx(24.0, abs=0.3)
    assert found["caps"]["mean_margin_c"] == pytest.approx(0.16, abs=0.02)
    assert len(found["caps"]["warned"]) == 1
    assert "blotch: wet for 2 h or more 1 times" in pests(state, "--space", "room", "--opened", on(35))[1]


def test_a_space_without_a_batch_or_sign_says_what_it_needs(tmp_path: Path) -> None:
    config = shipped_config()
    book, farm = Book(tmp_path / "journal.db", config, BEGIN), Farm(config.farm)
    _decide(book, farm, BEGIN, Started("test", config.digest, True, None))
    book.close().close()
    text = pests(tmp_path, "--space", "room")[1]
    assert "no temperature is logged here" in text
    assert "nothing to start from: tell a sighting" in " ".join(text.split())
    done = CliRunner().invoke(cli, ["pests", "--state", str(tmp_path)])
    assert (done.exit_code, "no batch stands anywhere" in done.output) == (1, True)


def test_a_mesh_is_judged_by_its_openings() -> None:
    """16 threads a cm (AFBI Northern Ireland) of 0.175 mm leave 0.45 mm; 7 of 0.2 mm leave 1.23 mm."""
    for words, said in (
        ("16 0.175", "0.45 mm: keeps flies out"),
        ("7 0.2", "1.23 mm: is too open for flies"),
    ):
        done = CliRunner().invoke(cli, ["pests", "mesh", *words.split()])
        assert (done.exit_code, said in done.output) == (0, True)
    assert CliRunner().invoke(cli, ["pests", "mesh", "0", "0.2"]).exit_code == 2
