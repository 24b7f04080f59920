"""`gillhouse night` and `gillhouse why` as a person types them, on a store the real core wrote."""

import json
import re
import sqlite3
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from audit.nights import at, lived, note, shipped_config
from audit.test_figures import BEGIN, H, curve
from audit.test_told import JARGON
from gillhouse.__main__ import cli
from gillhouse.config import load_files
from gillhouse.core.calibration import Point, calibration
from gillhouse.core.crops import Stage
from gillhouse.core.inputs import DEADLINE, BatchAct, BatchAction, Calibrated, SensorsAway
from gillhouse.core.quantities import Quantity
from gillhouse.errors import GillhouseError
from gillhouse.store.reader import Reader


@pytest.fixture(scope="module")
def state(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Evening of 13 October 2026, 18:00 to 07:00 being the night: four hours of it, from 20:00."""
    folder = tmp_path_factory.mktemp("state")
    point = Point(20.0, 20.2, 0.2, "a better instrument beside it", BEGIN)
    check = Calibrated("out-temp", calibration(Quantity.TEMPERATURE, (point,), BEGIN, "helper 1"), "helper 1")
    old = BatchAction(
        BatchAct.ADD, "LM-1", "helper 1", BEGIN - 30 * 24 * H, "lions-mane", Stage.FRUITING, 40.0, "tent"
    )
    done = [
        (0.5, old),
        (1.2, note("tent", "zip closed")),
        (2.0, check),
        (3.9, SensorsAway(("out-rh",), "helper 1", H)),
    ]
    lived(folder / "journal.db", shipped_config(), BEGIN, 4, curve, done).close()
    return folder


def run(state: Path, *words: str) -> Result:
    return CliRunner().invoke(cli, [*words, "--state", str(state)])


def said(state: Path, *words: str) -> str:
    result = run(state, *words)
    assert result.exit_code == 0, result.output
    return result.output


def found(state: Path, *words: str) -> dict:
    read: dict = json.loads(said(state, *words, "--format", "json"))
    return read


def test_by_default_the_last_night(state: Path) -> None:
    read = found(state, "night")
    assert (read["from"], read["asked_to"]) == ("2026-10-13T18:00:00+02:00", "2026-10-14T07:00:00+02:00")
    assert read["log_begins"] == "2026-10-13T20:00:00+02:00"


def test_a_date_names_the_evening(state: Path) -> None:
    assert found(state, "night", "--date", "2026-10-13") == found(state, "night")


def test_any_other_time(state: Path) -> None:
    read = found(state, "night", "--from", "2026-10-13T21:00", "--to", "2026-10-13 22:30", "--space", "tent")
    assert (read["from"], read["to"]) == ("2026-10-13T21:00:00+02:00", "2026-10-13T22:30:00+02:00")
    assert [one["space"] for one in read["nights"]] == ["tent"]
    same = found(
        state,
        "night",
        "--from",
        "2026-10-13T19:00:00+00:00",
        "--to",
        "2026-10-13T20:30+00:00",
        "--space",
        "tent",
    )
    assert same == read


def test_the_promised_keys_are_there(state: Path) -> None:
    promised = {
        *("samples", "coverage_pct", "min", "max", "mean", "in_band_pct", "below_h", "above_h"),
        *("deficit_h", "excursions"),
    }
    for one in found(state, "night")["nights"]:
        assert {"space", "from", "to", "quantities", "relays", "alarms"} <= one.keys()
        assert set(one["quantities"]) == {"humidity", "co2", "temperature"}
        assert all(promised <= figures.keys() for figures in one["quantities"].values())
        of_relay = {"id", "role", "starts", "switchings", "on_s", "litres"}
        assert all(of_relay <= relay.keys() for relay in one["relays"])


NAMES_OF_OTHER_THINGS = {"facts", "held_back", "doubted", "rejects", "quantities"}
"""Objects whose keys are not ours to document: reasons, marks, quantities."""


def keys(value: object) -> set[str]:
    """Every key anywhere in a JSON value."""
    if isinstance(value, list):
        return set().union(*map(keys, value))
    if not isinstance(value, dict):
        return set()
    below = [keys(list(one.values()) if key in NAMES_OF_OTHER_THINGS and isinstance(one, dict) else one)
             for key, one in value.items()]  # fmt: skip
    return set(value).union(*below)


def test_the_documented_keys_are_those_written(state: Path) -> None:
    """docs/reference/night-json.md names every key (a cause's own fields are the input's), and none that is
    not there."""
    text = (Path(__file__).parents[2] / "docs" / "reference" / "night-json.md").read_text(encoding="utf-8")
    rows = [line.split(" | ")[0] for line in text.splitlines() if line.startswith("| `")]
    named = {re.findall(r"`([^`]+)`", row)[0].split(".")[-1].removesuffix("[]") for row in rows}
    mentioned = set(re.findall(r"`([a-z_0-9]+)`", text)) | named
    written = keys(found(state, "night"))
    for relay in ("tent-mist", "tent-fan", "room-mist", "room-heater"):
        chain = found(state, "why", relay, "21:20")
        written |= keys({key: value for key, value in chain.items() if key != "causes"}) | {
            "causes",
            "kind",
            "words",
        }
    assert written - mentioned == set()
    assert named - written == {"clean", "lost", "showed"}  # never away, and its clock was set


def test_written_to_a_file(state: Path, tmp_path: Path) -> None:
    target = tmp_path / "night.html"
    assert said(state, "night", "--format", "html", "--out", str(target)) == f"written to {target}\n"
    assert target.read_text(encoding="utf-8").startswith("<!DOCTYPE html>")


def test_the_same_bytes_twice(state: Path) -> None:
    for form in ("text", "html", "json"):
        assert said(state, "night", "--format", form) == said(state, "night", "--format", form)


@pytest.mark.parametrize(
    ("words", "told"),
    [
        (("night", "--space", "shed"), "space 'shed' is not in this farm; there are: room, tent, barn"),
        (
            ("night", "--date", "2026-10-01"),
            "nothing is known of Thu 1 Oct 18:00 to Fri 2 Oct 07:00: the log holds",
        ),
        (("night", "--from", "2026-10-13T21:00"), "--from and --to belong together"),
        (
            ("night", "--from", "21:00", "--to", "22:00"),
            "'21:00' is not a time: write it like 2026-10-14T20:00",
        ),
        (("night", "--from", "2026-10-13T22:00", "--to", "2026-10-13T21:00"), "is not after"),
        (
            ("night", "--date", "2026-10-13", "--from", "2026-10-13T22:00", "--to", "2026-10-13T23:00"),
            "one or the other",
        ),
        (
            ("night", "--out", "/nowhere/night.txt"),
            "cannot write /nowhere/night.txt: No such file or directory",
        ),
        (("why", "shed-mist", "21:00"), "relay 'shed-mist' is not in this farm; there are: room-mist"),
        (("why", "tent-mist", "25:00"), "'25:00' is not a time of day: write it like 02:14"),
        (("why", "tent-mist", "noon"), "'noon' is not a time"),
    ],
)
def test_what_cannot_be_told_is_said_plainly(state: Path, words: tuple[str, ...], told: str) -> None:
    result = run(state, *words)
    assert result.exit_code != 0
    shown = str(result.exception) if isinstance(result.exception, GillhouseError) else result.output
    assert told in " ".join(shown.split())


def test_no_store_is_said_plainly(tmp_path: Path) -> None:
    result = run(tmp_path, "night")
    assert isinstance(result.exception, GillhouseError)
    assert "there is no store" in str(result.exception)


# --- why -------------------------------------------------------------------------------------------------


def commands(state: Path, relay: str, on: int) -> list[tuple[int, int]]:
    """(seq, wall ms) of commands that changed something, as plain SQL rows."""
    with sqlite3.connect(state / "journal.db") as raw:
        return raw.execute(
            "SELECT seq, ts FROM commands WHERE relay = ? AND is_on = ? AND renewal = 0 ORDER BY id",
            (relay, on),
        ).fetchall()


def raw_rows(state: Path, seq: int) -> tuple[tuple[float] | None, tuple[str] | None]:
    """What plain SQL finds under a sequence number: a reading's value, another input's kind."""
    with sqlite3.connect(state / "journal.db") as raw:
        reading = raw.execute("SELECT value FROM readings WHERE seq = ?", (seq,)).fetchone()
        return reading, raw.execute("SELECT kind FROM inputs WHERE seq = ?", (seq,)).fetchone()


def stamp(ms: int) -> str:
    from gillhouse.audit.told import local

    return local(ms, shipped_config().farm.zone).isoformat()


def test_every_on_leads_back_to_a_reading_or_a_due_time_in_the_store(state: Path) -> None:
    """For each ON of the tent: the input named is found among the raw rows; a reading's value justifies the
    reason
    against the band that stands in the farm file."""
    with Reader(state / "journal.db") as reader:
        farm = load_files(reader.config(next(iter(reader.segments())).digest) or {}).farm
    band = next(band for quantity, band in farm.spaces["tent"].bands.items() if quantity.value == "humidity")
    ons = commands(state, "tent-mist", 1)
    assert len(ons) > 20
    checked = 0
    for seq, ms in ons[:: max(1, len(ons) // 20)]:
        chain = found(state, "why", "tent-mist", stamp(ms))
        assert chain["on"]
        assert chain["command"]["seq"] == seq
        assert chain["causes"]
        for cause in chain["causes"]:
            reading, other = raw_rows(state, cause["seq"])
            if cause["kind"] == "reading":
                assert reading == (cause["value"],)
                assert (cause["low"], cause["high"], cause["quality"]) == (band.low, band.high, "GOOD")
            else:
                assert (reading, other) == (None, ("Due",))
                assert cause["what"] == DEADLINE or cause["what"] in farm.programmes
        if chain["command"]["reason"] == "air-dry":
            assert min(cause["value"] for cause in chain["causes"] if cause["kind"] == "reading") < band.low
            checked += 1
    assert checked > 0


def test_the_chain_reads_from_reading_to_board(state: Path) -> None:
    (_, ms), *_ = [row for row in commands(state, "tent-mist", 1) if row[1] > BEGIN + H + 60_000]
    lines = said(state, "why", "tent-mist", stamp(ms)).splitlines()
    assert lines[0].startswith("Tent, mist (tent-mist), Tue 13 Oct 21:0")
    assert "ON from" in lines[0]
    heads = [line.split(":")[0].strip() for line in lines[1:]]
    assert heads[0] == "Because"
    assert heads[-2:] == ["Board", "Ended"]
    assert any("sensor tent-rh said 80" in line and "it should be 87-94 %" in line for line in lines)


def test_while_its_sensor_is_silent_mist_runs_by_its_programme(state: Path) -> None:
    silent = [ms for _, ms in commands(state, "tent-mist", 1) if BEGIN + 2.25 * H < ms < BEGIN + 2.5 * H]
    assert silent
    for ms in silent:
        chain = found(state, "why", "tent-mist", stamp(ms))
        assert chain["command"]["reason"] == "fallback-programme"
        assert any(cause["kind"] == "due time" for cause in chain["causes"])


def test_off_is_told_with_since_when_and_why(state: Path) -> None:
    lines = said(state, "why", "tent-light", "21:00").splitlines()
    assert ": OFF since 20:00:00." in lines[0]
    assert lines[1] == "  Because: starting up."


def test_what_held_it_back_is_told(state: Path) -> None:
    """The room's door is open from 21:00 to 21:24, and the mist there runs only with the door closed or not
    at all;
    whatever was refused is told with its time and in words."""
    with sqlite3.connect(state / "journal.db") as raw:
        rows = raw.execute(
            "SELECT subject, ts, reason FROM events WHERE kind = 'refused' ORDER BY id"
        ).fetchall()
    assert rows
    subject, ms, reason = rows[0]
    chain = found(state, "why", subject, stamp(ms + 1000))
    assert reason in [one["reason"] for one in chain["held_back"]]


def test_a_minute_means_the_first_run_in_it(state: Path) -> None:
    seq, ms = next(row for row in commands(state, "tent-mist", 1) if row[1] % 60_000 > 5000)
    minute = stamp(ms - ms % 60_000)[:16]
    chain = found(state, "why", "tent-mist", minute)
    assert chain["on"]
    assert chain["command"]["seq"] <= seq


def test_a_time_of_day_is_the_last_one_in_the_log(state: Path) -> None:
    assert found(state, "why", "tent-mist", "21:20") == found(
        state, "why", "tent-mist", "21:20", "--date", "2026-10-13"
    )
    assert found(state, "why", "room-fan", "23:58")["at"].startswith("2026-10-13T23:58")


def test_why_uses_the_growers_words(state: Path) -> None:
    for relay in ("room-mist", "room-fan", "room-heater", "tent-mist", "tent-fan", "barn-mist", "pump"):
        for moment in ("20:30", "21:10", "22:20"):
            assert JARGON.findall(said(state, "why", relay, moment)) == []


def test_last_night_of_a_log_that_goes_on(tmp_path: Path) -> None:
    """By hand: readings from 06:00 to 12:00 on the 14th: last night is the one that ended at 07:00 that
    day."""
    lived(tmp_path / "journal.db", shipped_config(), at("2026-10-14 06:00"), 6, curve).close()
    read = found(tmp_path, "night")
    assert (read["to"], read["log_begins"]) == ("2026-10-14T07:00:00+02:00", "2026-10-14T06:00:00+02:00")
