"""Figures of a night from a store: worked by hand, and recomputed by a naive second pass over the raw
rows."""

import sqlite3
from bisect import bisect_right
from pathlib import Path

import pytest

from audit.nights import LATE, ROME, Book, at, lived, note, shipped_config
from gillhouse.audit.night import AuditError, Night, Window
from gillhouse.audit.record import as_json, record
from gillhouse.audit.report import night_of
from gillhouse.audit.text import as_text
from gillhouse.clock import VirtualClock
from gillhouse.core.edges import StoreSettings
from gillhouse.core.inputs import Act, Delivery, OperatorAction, Reading
from gillhouse.core.outputs import AlarmNotice, Event, EventKind, Transition
from gillhouse.core.quantities import Quantity
from gillhouse.core.readings import Mark, Quality, Verdict
from gillhouse.core.reasons import Reason
from gillhouse.store import rows
from gillhouse.store.reader import Reader
from gillhouse.store.writer import Writer

BEGIN = at("2026-10-13 20:00")
END = at("2026-10-14 06:00")
H, MIN = 3_600_000, 60_000


def told(book: Book, *only: str, begin: int = BEGIN, end: int = END) -> Night:
    with book.close() as reader:
        return night_of(reader, Window(begin, end, ROME), end, only)


@pytest.fixture
def book(tmp_path: Path) -> Book:
    return Book(tmp_path / "journal.db", shipped_config(), BEGIN - H)


def humidity(night: Night, space: str = "tent") -> dict[str, object]:
    (one,) = [one for one in record(night)["nights"] if one["space"] == space]
    found: dict[str, object] = one["quantities"]["humidity"]
    return found


def test_an_hour_dry_in_a_night_that_is_otherwise_held(book: Book) -> None:
    """By hand: 90 % from 20:00 to 06:00 each 30 s, but 77 % from 02:00 to 03:00 (band 87-94): 1 h x 10 %
    below."""
    values = [77.0 if 720 <= place < 840 else 90.0 for place in range(1200)]
    book.readings("tent-rh", BEGIN, 30, values)
    found = humidity(told(book))
    assert (found["low"], found["high"]) == (87.0, 94.0)
    assert (found["samples"], found["coverage_pct"]) == (1200, 100.0)
    assert (found["below_h"], found["above_h"], found["deficit_h"]) == (1.0, 0.0, 10.0)
    assert (found["min"], found["max"], found["mean"]) == (77.0, 90.0, 88.7)
    assert found["in_band_pct"] == 90.0
    (one,) = found["excursions"]
    assert (one["start"], one["end"]) == ("2026-10-14T02:00:00+02:00", "2026-10-14T03:00:00+02:00")
    assert (one["side"], one["worst"], one["cause"]) == ("below", 77.0, "not-asked")


def test_only_believed_readings_count_and_late_ones_fill_the_hole(book: Book) -> None:
    """By hand: tent-rh is silent after 120 s. 20:00-21:00 good; 21:00-22:00 suspect (does not count);
    22:00-23:00
    arrived late; one late reading of 130 % is impossible. 2 h of 10 are known, and the 2 min the last ones
    hold."""
    book.readings("tent-rh", BEGIN, 30, [90.0] * 120)
    for place in range(120):
        book.reading("tent-rh", BEGIN + H + place * 30_000, 50.0, Verdict(Quality.SUSPECT, Mark.JUMPED))
        book.reading("tent-rh", BEGIN + 2 * H + place * 30_000, 91.0, LATE)
    book.reading("tent-rh", BEGIN + 5 * H, 130.0, LATE)
    night = told(book)
    silent_ms = night.spaces[1].sensors[0].sensor.silent_after_ms
    found = humidity(night)
    assert (found["samples"], found["late_samples"]) == (240, 120)
    assert found["min"] == 90.0
    known_h = 2 + 2 * (silent_ms - 30_000) / H
    assert found["covered_h"] == pytest.approx(known_h, abs=1e-4)
    (sensor,) = [one for one in night.spaces[1].sensors if one.sensor.id == "tent-rh"]
    assert (sensor.received, sensor.counted, sensor.late) == (361, 240, 120)
    assert dict(sensor.doubted) == {"jumped": 120, "arrived-late": 1}


def test_relays_water_and_advice(book: Book) -> None:
    """By hand: room-mist (24 l/h) on 10 s and 20 s: 30 s, 0.2 l. Advised runs are apart. A fan run of two
    leases is one start and two switchings; one from before the night counts its time and its end, not its
    start."""
    for begin, lasts in ((BEGIN + H, 10), (BEGIN + 2 * H, 20)):
        book.command("room-mist", begin, True, lasts)
        book.command("room-mist", begin + lasts * 1000, False)
    book.command("room-fan", BEGIN - MIN, True, 120)
    book.command("room-fan", BEGIN + 3 * H, True, 300)
    book.command("room-fan", BEGIN + 3 * H + 240_000, True, 300, renewal=True)
    book.command("room-fan", BEGIN + 3 * H + 400_000, False)
    book.command("tent-mist", BEGIN + H, True, 8, advise=True)
    found = record(told(book))["nights"]
    relays = {relay["id"]: relay for space in found for relay in space["relays"]}
    assert [relays["room-mist"][key] for key in ("role", "starts", "switchings", "on_s", "litres")] == [
        "mist",
        2,
        4,
        30.0,
        0.2,
    ]
    assert (relays["room-fan"]["starts"], relays["room-fan"]["switchings"]) == (1, 3)
    assert relays["room-fan"]["on_s"] == 60.0 + 400.0
    assert (relays["tent-mist"]["switchings"], relays["tent-mist"]["on_s"]) == (0, 0.0)
    assert (relays["tent-mist"]["advised"]["starts"], relays["tent-mist"]["advised"]["switchings"]) == (1, 2)
    assert relays["tent-mist"]["advised"]["on_s"] == 8.0


def notice(transition: Transition, **more: object) -> AlarmNotice:
    return AlarmNotice(
        "humidity-low:tent",
        "humidity-low",
        3,
        transition,
        2,
        "B",
        transition is Transition.ACT,
        "tent",
        {},
        **more,  # type: ignore[arg-type]
    )


def test_alarms_with_time_to_acknowledge_and_notes(book: Book) -> None:
    """By hand: 02:14 rings, 02:19 answered (300 s), 02:52 over."""
    rang = at("2026-10-14 02:14")
    book.alarm(rang, notice(Transition.ACT))
    book.alarm(rang + 5 * MIN, notice(Transition.ACK, who="helper 1"))
    book.alarm(rang + 38 * MIN, notice(Transition.RTN))
    book.event(
        rang + 33 * MIN,
        Event(EventKind.NOTE, "tent", "tent", None, {"who": "helper 1", "text": "bypass open"}),
    )
    space = record(told(book))["nights"][1]
    (alarm,) = space["alarms"]
    assert (alarm["start"], alarm["end"]) == ("2026-10-14T02:14:00+02:00", "2026-10-14T02:52:00+02:00")
    assert (alarm["acknowledged_after_s"], alarm["who"], alarm["announced"]) == (300.0, "helper 1", 1)
    [note] = space["notes"]
    assert (note["at"], note["space"]) == ("2026-10-14T02:47:00+02:00", "tent")
    assert (note["who"], note["text"]) == ("helper 1", "bypass open")
    assert (note["corrects"], note["corrected_by"]) == (None, None)


def test_an_alarm_that_was_over_before_the_night_is_not_told(book: Book) -> None:
    book.alarm(BEGIN - 2 * MIN, notice(Transition.ACT))
    book.alarm(BEGIN - MIN, notice(Transition.RTN))
    assert record(told(book))["nights"][1]["alarms"] == []


def test_times_the_daemon_was_away_and_what_it_lost(book: Book) -> None:
    back = BEGIN + 3 * H
    book.event(
        back, Event(EventKind.STARTED, "daemon", None, Reason.STARTING, {"away_s": 600.0, "clean": False})
    )
    lost = {"lost": 42, "from_ms": BEGIN + H, "to_ms": BEGIN + H + MIN, "why": "disk full"}
    book.event(BEGIN + H + MIN, Event(EventKind.GAP, "store", None, None, lost))
    assert record(told(book))["away"] == [
        {
            "start": "2026-10-13T21:00:00+02:00",
            "end": "2026-10-13T21:01:00+02:00",
            "lasted_s": 60.0,
            "clean": False,
            "lost": 42,
        },
        {
            "start": "2026-10-13T22:50:00+02:00",
            "end": "2026-10-13T23:00:00+02:00",
            "lasted_s": 600.0,
            "clean": False,
            "lost": 0,
        },
    ]


def test_rejects_are_counted_by_reason(book: Book) -> None:
    for reason, count in (("nested", 2), ("not-a-number", 3)):
        book.add(rows.CounterRow(f"rejected {reason}", "tent-rh", count, BEGIN + H))
    book.add(rows.CounterRow("something else", "tent-rh", 9, BEGIN + H))
    assert record(told(book))["rejects"] == {"nested": 2, "not-a-number": 3}


def test_the_band_in_force_is_the_one_of_its_time(tmp_path: Path) -> None:
    """By hand: 86 % all night; the room's band is 85-90 until 01:00, then 87-90: 5 h inside, 5 h below by 1
    %."""
    first = shipped_config()
    crop = "crop: {species: grey-oyster, stage: fruiting, kg: 240}"
    second = shipped_config(own=(crop, crop + "\n    bands: {humidity: {low: 87}}"))
    book = Book(tmp_path / "journal.db", first, BEGIN - H)
    changed = BEGIN + 5 * H
    book.add(rows.ConfigRow(second.digest, changed, second.files))
    book.readings("room-rh", BEGIN, 30, [86.0] * 600)
    book.add(rows.SegmentRow(book.seq, book.instant(changed), second.digest, "test", "settings", {}))
    book.readings("room-rh", changed, 30, [86.0] * 600)
    found = humidity(told(book), "room")
    assert [limit["low"] for limit in found["limits"]] == [85.0, 87.0]
    assert (found["in_band_h"], found["below_h"], found["deficit_h"]) == (5.0, 5.0, 5.0)


def test_half_a_night_says_so(book: Book) -> None:
    book.readings("tent-rh", BEGIN, 30, [90.0] * 600)
    with book.close() as reader:
        night = night_of(reader, Window(BEGIN, END, ROME), BEGIN + 5 * H)
    assert not night.complete
    assert record(night)["to"] == "2026-10-14T01:00:00+02:00"
    assert humidity(night)["coverage_pct"] == 100.0


def test_a_log_that_begins_in_the_night_says_so(tmp_path: Path) -> None:
    book = Book(tmp_path / "journal.db", shipped_config(), BEGIN + 4 * H)
    book.readings("tent-rh", BEGIN + 4 * H, 30, [90.0] * 720)
    found = record(told(book))
    assert found["log_begins"] == "2026-10-14T00:00:00+02:00"
    assert found["nights"][1]["quantities"]["humidity"]["coverage_pct"] == 60.0


def test_readings_that_came_late_of_a_time_before_the_log_are_told(tmp_path: Path) -> None:
    """By hand: the log begins at 06:00; a board then sends what it kept from 22:00 to 23:00, 90 % each 30 s.
    Its last reading holds for the sensor's silence limit. The settings of 06:00 have the word."""
    book = Book(tmp_path / "journal.db", shipped_config(), END)
    for place in range(120):
        kept = BEGIN + 2 * H + place * 30_000
        late = Reading("tent-rh", 90.0, kept, own_time=True, delivery=Delivery.LATE)
        book.add(rows.ReadingRow(book._next(), book.instant(END + place), late, LATE))
    night = told(book)
    silent_ms = night.spaces[1].sensors[0].sensor.silent_after_ms
    found = humidity(night)
    assert (found["samples"], found["late_samples"], found["low"]) == (120, 120, 87.0)
    assert found["covered_h"] == pytest.approx(1 + (silent_ms - 30_000) / H, abs=1e-4)
    assert record(night)["log_begins"] is None


@pytest.fixture(scope="module")
def half_removed(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """90 % all night each 30 s; then 30 days are kept, and it is 01:00 thirty days later."""
    path = tmp_path_factory.mktemp("old") / "journal.db"
    book = Book(path, shipped_config(), BEGIN - H)
    book.readings("tent-rh", BEGIN, 30, [90.0] * 1200)
    book.close().close()
    clock = VirtualClock(BEGIN + 5 * H + 30 * 24 * H - 20 * MIN)
    writer = Writer(path, clock, StoreSettings(keep_days=30), lambda _: None, lambda *_: None)
    writer.start()
    for minute in range(1, 21):
        clock.advance_to(minute * MIN)
        writer.put(rows.MetaRow("minute", minute))
        assert writer.flush()
    assert writer.close()
    return path


def test_a_night_whose_readings_are_half_gone_begins_where_they_do(half_removed: Path) -> None:
    """By hand: 01:00 to 06:00 is left, known from end to end; nothing is called a gap, no board is blamed."""
    with Reader(half_removed) as reader:
        night = night_of(reader, Window(BEGIN, END, ROME), END)
    found = record(night)
    assert found["removed_before"] == found["from"] == "2026-10-14T01:00:00+02:00"
    tent = humidity(night)
    assert (tent["samples"], tent["coverage_pct"], tent["gaps"]) == (600, 100.0, [])
    assert as_text(night).splitlines()[0].endswith("night 01:00-06:00, earlier readings no longer kept.")


def test_a_night_whose_readings_are_gone_is_refused_in_words(half_removed: Path) -> None:
    with Reader(half_removed) as reader:
        gone = r"of Tue 13 Oct 20:00 to Wed 14 Oct 00:00 are no longer kept; they go back to 2026-10-14"
        with pytest.raises(AuditError, match=gone):
            night_of(reader, Window(BEGIN, BEGIN + 4 * H, ROME), END)
        hours = list(reader.hours("tent-rh", BEGIN, BEGIN + 4 * H))
        with pytest.raises(AuditError, match="nothing is known of"):  # before there was a log: not removed
            night_of(reader, Window(BEGIN - 30 * H, BEGIN - 20 * H, ROME), END)
    assert [(one.n, one.mean) for one in hours] == [(120, 90.0)] * 4


def test_a_night_without_data_is_refused_in_words(book: Book) -> None:
    book.readings("tent-rh", BEGIN, 30, [90.0] * 10)
    with (
        book.close() as reader,
        pytest.raises(AuditError, match=r"the log holds 2026-10-13 19:00 to 2026-10-13 20:04"),
    ):
        night_of(reader, Window(BEGIN - 48 * H, BEGIN - 40 * H, ROME), END)


def test_an_unknown_space_names_those_there_are(book: Book) -> None:
    with book.close() as reader, pytest.raises(AuditError, match=r"'shed'.*room, tent, barn"):
        night_of(reader, Window(BEGIN, BEGIN + H, ROME), END, ("shed",))


def test_a_sensor_that_never_spoke_leaves_the_space_unknown(book: Book) -> None:
    found = humidity(told(book), "barn")
    assert (found["measured"], found["samples"], found["coverage_pct"]) == (True, 0, 0.0)
    assert (found["min"], found["mean"], found["in_band_pct"]) == (None, None, None)
    assert [gap["lasted_s"] for gap in found["gaps"]] == [10 * 3600.0]


def test_the_autumn_night_is_an_hour_longer(tmp_path: Path) -> None:
    """Rome puts the clock back on 25 October 2026 at 03:00 (EU directive 2000/84/EC): 20:00-06:00 lasts 11
    hours."""
    begin, end = at("2026-10-24 20:00"), at("2026-10-25 06:00")
    book = Book(tmp_path / "journal.db", shipped_config(), begin)
    book.readings("tent-rh", begin, 30, [90.0] * 1320)
    found = record(told(book, begin=begin, end=end))
    assert (found["from"], found["to"]) == ("2026-10-24T20:00:00+02:00", "2026-10-25T06:00:00+01:00")
    assert found["nights"][1]["quantities"]["humidity"]["covered_h"] == 11.0


# --- a night the real core lived through -----------------------------------------------------------------


def curve(sensor: str, hours: float) -> float | None:
    """Invented: the tent's humidity falls at 1 h and its sensor is silent from 2 to 2.5 h; the room's door
    stands open."""
    if sensor == "tent-rh":
        return None if 2 <= hours < 2.5 else (80.0 if 1 <= hours < 1.5 else 90.0) + (hours * 100 % 3) / 10
    if sensor.endswith(("-door", "people")):
        return 1.0 if sensor == "room-door" and 1 <= hours < 1.4 else 0.0
    if sensor == "tank":
        return 1.0
    level = {"rh": 88.0, "temp": 14.0, "co2": 900.0}[sensor.split("-")[1]]
    return round(level + (hours * 777 % 5) / 5, 1)


@pytest.fixture(scope="module")
def lived_store(tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("lived") / "journal.db"
    answer = OperatorAction(Act.ACK, "sensor-silent:tent-rh", "helper 1", occurrence=1)
    lived(path, shipped_config(), BEGIN, 4, curve, [(1.2, note("tent", "zip closed")), (2.2, answer)]).close()
    return path


def lived_night(path: Path) -> Night:
    with Reader(path) as reader:
        return night_of(reader, Window(BEGIN, BEGIN + 4 * H, ROME), BEGIN + 4 * H)


def test_a_naive_second_pass_over_the_raw_rows_gives_the_same(lived_store: Path) -> None:
    """Second by second over plain SQL rows: tent humidity has one sensor, so the newest good one not older
    than its
    limit is the air. The tent's relays: on while the last command was ON and its time has not passed."""
    night = lived_night(lived_store)
    figures = next(one for one in night.spaces if one.space.id == "tent")
    with sqlite3.connect(lived_store) as raw:
        stored = raw.execute(
            "SELECT r.id >> 14, r.value FROM readings r JOIN series s ON s.id = r.id & 16383 "
            "WHERE s.sensor = 'tent-rh' AND r.fate & 3 = 0 ORDER BY r.id"
        ).fetchall()
        commands = raw.execute(
            "SELECT ts, is_on, lease_ms FROM commands WHERE relay = 'tent-mist' AND advise = 0 ORDER BY id"
        ).fetchall()
    times, limit = [ts for ts, _ in stored], figures.sensors[0].sensor.silent_after_ms
    below = inside = above = on = 0
    for ms in range(BEGIN, BEGIN + 4 * H, 1000):
        place = bisect_right(times, ms) - 1
        if place >= 0 and ms - times[place] < limit:
            value = stored[place][1]
            below, above = below + (value < 87), above + (value > 94)
            inside += 87 <= value <= 94
    ends = 0
    for place, (ts, is_on, lease_ms) in enumerate(commands):
        following = commands[place + 1][0] if place + 1 < len(commands) else BEGIN + 4 * H
        ends = ts + lease_ms if is_on else 0
        on += max(0, min(ends, following) - ts)
    tally = figures.quantities[Quantity.HUMIDITY].tally
    for naive, ours in ((below, tally.below_ms), (inside, tally.inside_ms), (above, tally.above_ms)):
        assert abs(naive - ours / 1000) <= 30  # a second at each edge
    mist = next(relay for relay in figures.relays if relay.relay.id == "tent-mist")
    assert sum(run.lasted_ms for run in mist.driven) == on > 0


def test_the_story_of_the_night_is_found(lived_store: Path) -> None:
    tent, room = (
        next(one for one in lived_night(lived_store).spaces if one.space.id == name)
        for name in ("tent", "room")
    )
    dry = max(tent.quantities[Quantity.HUMIDITY].outside, key=lambda one: one.stretch.deficit)
    assert dry.cause == "no-effect"
    assert abs(dry.stretch.from_ms - BEGIN - H) <= 31_000
    assert [alarm.kind for alarm in tent.alarms if alarm.kind == "sensor-silent"] == ["sensor-silent"]
    (silent,) = [alarm for alarm in tent.alarms if alarm.kind == "sensor-silent"]
    assert silent.who == "helper 1"
    assert [one.text for one in tent.notes] == ["zip closed"]
    assert any(alarm.kind == "door-open" for alarm in room.alarms)


def test_the_same_store_gives_the_same_bytes(lived_store: Path) -> None:
    assert as_json(lived_night(lived_store)) == as_json(lived_night(lived_store))


def test_speed_of_a_night_of_twelve_hours_and_three_spaces(tmp_path: Path) -> None:
    """The whole report in 1.5 s on one slow core, after reading and judging 16 sensors' readings."""
    import time

    from gillhouse.audit.html import as_html
    from gillhouse.store.reader import Reader

    path = tmp_path / "journal.db"
    book = Book(path, shipped_config(), BEGIN)
    for sensor in book.config.farm.sensors.values():
        every_s = sensor.every_ms / 1000
        count = int(12 * 3600 / every_s)
        book.readings(
            sensor.id, BEGIN, every_s, [curve(sensor.id, 3 + place / count) for place in range(count)]
        )
    book.close().close()
    begun = time.process_time()
    with Reader(path) as reader:
        night = night_of(reader, Window(BEGIN, BEGIN + 12 * H, ROME), BEGIN + 12 * H)
        as_json(night)
        as_html(night)
    assert time.process_time() - begun < 1.5
