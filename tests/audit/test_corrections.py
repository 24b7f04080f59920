"""A night's figures are of what the controller believed: raw before a check, corrected after it.

Values invented, sums by hand; one reading a minute.
"""

import json
import re
from pathlib import Path

import pytest

from audit.nights import HOUR_MS, LATE, Book, at, lived, shipped_config
from gillhouse.audit import text
from gillhouse.audit.corrections import corrections
from gillhouse.audit.evidence import gather
from gillhouse.audit.figures import figures
from gillhouse.audit.night import Night, Window
from gillhouse.audit.record import as_json
from gillhouse.audit.verdict import jobs
from gillhouse.audit.why import why
from gillhouse.config import load_files
from gillhouse.core.calibration import DAY_MS, Calibration, Point, calibration
from gillhouse.core.farm import Farm
from gillhouse.core.inputs import Calibrated, SensorsAway
from gillhouse.core.outputs import Event, EventKind
from gillhouse.core.quantities import Quantity
from gillhouse.core.readings import Mark, Quality, Verdict
from gillhouse.core.reasons import Reason
from gillhouse.store import rows
from gillhouse.store.reader import Reader

HIGH = "    bands: {humidity: {low: 94, target: 95, high: 97}}\n"
BEGIN = at("2026-10-13 20:00")
CONFIG = shipped_config()
ROME = CONFIG.farm.zone


def salt(read: float, made_ms: int = BEGIN) -> Calibration:
    """One jar of 75.5 %: a shift of 75.5 less `read`."""
    points = (Point(75.5, read, 0.2, "salt", made_ms),)
    return calibration(Quantity.HUMIDITY, points, made_ms, "anna")


def night(reader: Reader, hours: float = 2) -> Night:
    window = Window(BEGIN, BEGIN + int(hours * HOUR_MS), ROME)
    return figures(gather(reader, window, window.to_ms), ["tent"])


def humidity(reader: Reader) -> tuple[float | None, float | None, float | None]:
    tally = night(reader).spaces[0].quantities[Quantity.HUMIDITY].tally
    return tally.least, tally.most, tally.mean


def company(book: Book) -> None:
    """The tent's other sensors, all well."""
    for sensor, value in (("tent-temp", 18.0), ("tent-co2", 800.0), ("tent-door", 0.0)):
        book.readings(sensor, BEGIN, 60, [value] * 120)


def minutes(book: Book, begin: int, count: int, value: float) -> None:
    book.readings("tent-rh", BEGIN + begin * 60_000, 60, [value] * count)


def test_raw_before_corrected_after_and_raw_again_when_taken_back(tmp_path: Path) -> None:
    """40 min at 90, 40 at 90 - 4.5, 40 at 90 again: mean 90 - 4.5 / 3."""
    book = Book(tmp_path / "j.db", CONFIG, BEGIN)
    minutes(book, 0, 40, 90.0)
    book.input(BEGIN + 40 * 60_000 - 1, Calibrated("tent-rh", salt(80.0), "anna"))
    minutes(book, 40, 40, 90.0)
    book.input(BEGIN + 80 * 60_000 - 1, Calibrated("tent-rh", None, "anna"))
    minutes(book, 80, 40, 90.0)
    with book.close() as reader:
        assert humidity(reader) == (85.5, 90.0, pytest.approx(88.5))
        (sensor,) = [one for one in night(reader).spaces[0].sensors if one.sensor.id == "tent-rh"]
        told = json.loads(as_json(night(reader)))
    assert [None if one.known is None else one.known.offset for one in sensor.calibrations] == [-4.5, None]
    (told_sensor,) = [one for one in told["nights"][0]["sensors"] if one["id"] == "tent-rh"]
    first, second = told_sensor["calibrations"]
    assert (first["slope"], first["offset"], first["who"]) == (1.0, -4.5, "anna")
    assert (first["against"], second["offset"], second["error"]) == (["salt"], 0.0, None)


def test_one_that_came_late_is_corrected_as_it_was_then(tmp_path: Path) -> None:
    """Its moment lies before the check, its arrival after it: the controller then corrected it."""
    book = Book(tmp_path / "j.db", CONFIG, BEGIN)
    minutes(book, 0, 20, 90.0)
    book.input(BEGIN + 40 * 60_000, Calibrated("tent-rh", salt(80.0), "anna"))
    book.reading("tent-rh", BEGIN + 30 * 60_000, 84.0, LATE)
    with book.close() as reader:
        assert humidity(reader)[0] == 79.5


def test_a_correction_made_long_before_is_found_in_the_kept_state(tmp_path: Path) -> None:
    """The night's own part of the journal says nothing of it: its segment's kept state does."""
    book, farm = Book(tmp_path / "j.db", CONFIG, BEGIN - 8 * HOUR_MS), Farm(CONFIG.farm)
    check = Calibrated("tent-rh", salt(80.0, BEGIN - 8 * HOUR_MS), "anna")
    farm.handle(book.seq, book.instant(BEGIN - 7 * HOUR_MS), check)
    book.input(BEGIN - 7 * HOUR_MS, check)
    now, state = book.instant(BEGIN - HOUR_MS), farm.snapshot()
    book.add(rows.SegmentRow(book.seq, now, CONFIG.digest, "test", "six hours", state))
    minutes(book, 0, 60, 90.0)
    with book.close() as reader:
        segment = reader.segment_before(BEGIN)
        assert segment is not None
        assert list(reader.inputs_of(Calibrated, segment.first_seq, None)) == []
        assert humidity(reader) == (85.5, 85.5, pytest.approx(85.5))


def test_the_one_in_date_speaks_for_the_space_from_its_check_on(tmp_path: Path) -> None:
    """Two sensors, none of them calibrated by the config: their mean, then the checked one alone."""
    text_of = CONFIG.files["farm.yaml"].replace("calibrated: yes", "calibrated: no")
    second = text_of.replace(
        "  tent-rh:", "  tent-rh2: {space: tent, quantity: humidity, unit: \"%\", topic: t/2, format: number,"
        " every: 30 s}\n  tent-rh:", 1,
    )  # fmt: skip

    config = load_files({"farm.yaml": second.replace("advise_only: yes", "advise_only: no")})
    book = Book(tmp_path / "j.db", config, BEGIN)
    for sensor, value in (("tent-rh", 90.0), ("tent-rh2", 80.0)):
        book.readings(sensor, BEGIN, 60, [value] * 60)
    book.input(BEGIN + HOUR_MS - 1, Calibrated("tent-rh2", salt(75.5), "anna"))
    for sensor, value in (("tent-rh", 90.0), ("tent-rh2", 80.0)):
        book.readings(sensor, BEGIN + HOUR_MS, 60, [value] * 60)
    with book.close() as reader:
        steps = night(reader).spaces[0].quantities[Quantity.HUMIDITY].steps
    assert [step.value for step in steps if step.to_ms <= BEGIN + HOUR_MS][-1] == 85.0
    assert [step.value for step in steps if step.from_ms > BEGIN + HOUR_MS + 60_000][-1] == 80.0


def test_readings_from_a_jar_count_for_nothing(tmp_path: Path) -> None:
    book = Book(tmp_path / "j.db", CONFIG, BEGIN)
    minutes(book, 0, 30, 90.0)
    book.input(BEGIN + 30 * 60_000 - 1, SensorsAway(("tent-rh",), "anna", 3_600_000))
    for n in range(30):
        book.reading("tent-rh", BEGIN + (30 + n) * 60_000, 75.5, Verdict(Quality.SUSPECT, Mark.AWAY))
    with book.close() as reader:
        assert humidity(reader)[0] == 90.0
        (sensor,) = [one for one in night(reader).spaces[0].sensors if one.sensor.id == "tent-rh"]
    assert sensor.doubted == {"out-of-place": 30}


def finding(book: Book, minute: int, reason: Reason, **facts: object) -> None:
    event = Event(EventKind.SENSOR, "tent-rh", "tent", reason, {"sensor": "tent-rh", **facts})  # type: ignore[dict-item]
    book.event(BEGIN + minute * 60_000, event)


def test_what_stands_of_a_sensor_at_the_end_is_a_job_for_daylight(tmp_path: Path) -> None:
    book = Book(tmp_path / "j.db", CONFIG, BEGIN)
    minutes(book, 0, 120, 90.0)
    company(book)
    finding(book, 10, Reason.SENSOR_WET, hours=2.0)
    finding(book, 20, Reason.FOUND_OVER, was="sensor wet", key="sensor-wet:tent-rh")
    finding(book, 30, Reason.CALIBRATION_DUE, days=9)
    with book.close() as reader:
        told = night(reader)
    (one,) = told.findings
    assert (one.reason, one.since_ms) == (Reason.CALIBRATION_DUE, BEGIN + 30 * 60_000)
    assert json.loads(as_json(told))["findings"][0]["words"] == "tent-rh is due to be checked in 9 days"
    assert "DO FIRST  Tent: tent-rh is due to be checked in 9 days." in text.as_text(told)


@pytest.mark.parametrize(("checked", "expected"), [(False, "wettest 95 or more"), (True, "wettest 98")])
def test_over_95_the_night_says_or_more_unless_it_was_checked_up_there(
    tmp_path: Path, checked: bool, expected: str
) -> None:
    book = Book(tmp_path / "j.db", CONFIG, BEGIN)
    if checked:
        points = (Point(97.6, 97.6, 0.8, "sulfate", BEGIN),)
        book.input(BEGIN, Calibrated("tent-rh", calibration(Quantity.HUMIDITY, points, BEGIN), "anna"))
    minutes(book, 0, 60, 90.0)
    minutes(book, 60, 60, 98.0)
    company(book)
    with book.close() as reader:
        told = night(reader)
    assert told.spaces[0].quantities[Quantity.HUMIDITY].sure_to == (None if checked else 95.0)
    assert expected in text.as_text(told)


def test_the_reason_trail_says_both_values(tmp_path: Path) -> None:
    begin = BEGIN - HOUR_MS
    reader = lived(
        tmp_path / "j.db", shipped_config(), begin, 1.5, lambda sensor, hours: 80.0 + hours,
        [(0.2, Calibrated("tent-rh", salt(85.5, begin), "anna"))],
    )  # fmt: skip
    with reader:
        seq = next(
            one.command.causes[0]
            for one in reader.commands(begin + HOUR_MS, BEGIN + HOUR_MS, "tent-mist")
            if one.command.on
        )
        stored = reader.input(seq)
        assert stored is not None
        chain = why(reader, "tent-mist", stored[1].wall_ms, stored[1].wall_ms + 60_000)
    (link,) = [one for one in chain.causes if one.seq == seq]
    assert link.facts["raw"] - link.facts["value"] == pytest.approx(10.0, abs=0.005)
    assert "by its last check" in link.words


def test_an_overdue_check_still_corrects(tmp_path: Path) -> None:
    book = Book(tmp_path / "j.db", CONFIG, BEGIN)
    book.input(BEGIN, Calibrated("tent-rh", salt(80.0, BEGIN - 200 * DAY_MS), "anna"))
    minutes(book, 0, 60, 90.0)
    with book.close() as reader:
        assert humidity(reader)[0] == 85.5
        sensor = CONFIG.farm.sensors["tent-rh"]
        found = corrections(reader, BEGIN, 1 << 62)
    assert not found.sure(sensor, 1 << 40, BEGIN + 1)


@pytest.mark.parametrize("checked", [False, True])
def test_what_is_only_wished_for_is_a_job_until_a_sensor_is_checked(tmp_path: Path, checked: bool) -> None:
    text_of = CONFIG.files["farm.yaml"].replace("calibrated: yes", "calibrated: no")
    config = load_files({"farm.yaml": re.sub(r"(?m)^  tent: .*\n", "  tent:\n" + HIGH, text_of, count=1)})
    book = Book(tmp_path / "j.db", config, BEGIN)
    if checked:
        book.input(BEGIN, Calibrated("tent-rh", salt(75.5), "anna"))
    minutes(book, 0, 120, 93.0)
    company(book)
    with book.close() as reader:
        told = night(reader)
    assert told.spaces[0].quantities[Quantity.HUMIDITY].wished == (None if checked else 95.0)
    words = [job.words for job in jobs(told)]
    wish = "95 % is only wished for, kept near 93 %: check a humidity sensor (gillhouse calibrate)."
    assert words == ([] if checked else [wish])
