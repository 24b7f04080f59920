"""Checking a sensor, through the farm's one entry: what is corrected, what is trusted, what stays raw.

Values invented; the corrections are worked out by hand in each test.
"""

import json

import pytest

from core.farm_parts import WALL_MS, Bench, farm, sensor, space
from gillhouse.core.calibration import DAY_MS, Calibration, Point, calibration
from gillhouse.core.estimate import Estimate
from gillhouse.core.farm import Farm
from gillhouse.core.inputs import Calibrated, Delivery, Reading, SensorsAway, Started
from gillhouse.core.outputs import EventKind
from gillhouse.core.quantities import Quantity
from gillhouse.core.readings import GOOD, Mark, Quality, Verdict
from gillhouse.core.reasons import WORDS, Reason

AIR = {"room_rh": 90.0, "room_temp": 17.0, "room_co2": 700.0}


def bench(**more: object) -> Bench:
    """A room with a humidity sensor that is stated 3 % off at most, and not calibrated."""
    rh = sensor("room-rh", Quantity.HUMIDITY, "room", calibrated=False, error=3.0)
    return Bench(farm(space(**more), sensors=(rh,)))


def salt(read: float, days_ago: int = 0) -> Calibration:
    """One jar of 75.5 %: a shift of 75.5 less `read`."""
    made_ms = WALL_MS - days_ago * DAY_MS
    return calibration(Quantity.HUMIDITY, (Point(75.5, read, 0.2, "salt", made_ms),), made_ms)


def humidity(one: Bench) -> dict[str, object]:
    return one.farm.status(one.now())["spaces"]["room"]["quantities"]["humidity"]  # type: ignore[index]


def told(one: Bench, reason: Reason) -> list[str]:
    found = [event for _, event in one.events if event.reason is reason]
    return [WORDS[reason].format(**event.facts) for event in found]


def test_control_sees_the_corrected_value_from_the_next_reading_on() -> None:
    """The sensor read 80 where the salt gives 75.5: 4.5 too much. At 88 it is truly 83.5: mist is wanted."""
    one = bench()
    one.every(30, 4, **{**AIR, "room_rh": 92.0})
    assert humidity(one)["value"] == pytest.approx(92.1)
    before = len(one.on("room-mist"))
    one.give(Calibrated("room-rh", salt(80.0), "anna"))
    one.every(30, 10, **{**AIR, "room_rh": 88.0})
    assert humidity(one)["value"] == pytest.approx(83.6)
    pulses = one.on("room-mist")[before:]
    assert pulses, "83.5 % is under the band's 85"
    assert pulses[-1][1].facts["value"] == pytest.approx(83.5, abs=0.11)
    (words,) = told(one, Reason.CALIBRATED)
    assert words == "anna checked room-rh against salt: corrected by -4.5 % near 90"


def test_a_jump_of_the_scale_is_no_jump_of_the_air() -> None:
    one = bench()
    one.every(30, 3, **AIR)
    one.give(Calibrated("room-rh", salt(65.5), "anna"))
    one.wait(1)
    assert one.read(room_rh=85.0).verdict == GOOD  # 95 now, 90 a second ago


def test_nonsense_is_judged_as_such_and_a_late_reading_moves_nothing() -> None:
    one = bench()
    one.give(Calibrated("room-rh", salt(80.0), "anna"))
    one.every(30, 2, **AIR)
    assert one.read(room_rh=200.0).verdict == Verdict(Quality.BAD, Mark.OUT_OF_RANGE)
    late = Reading("room-rh", 88.0, WALL_MS + one.ms - 600_000, True, delivery=Delivery.LATE)
    assert one.give(late).verdict == Verdict(Quality.SUSPECT, Mark.LATE)
    one.every(30, 1, **AIR)
    assert humidity(one)["value"] == 85.5


def estimate(one: Bench) -> Estimate:
    return one.farm._state.spaces["room"].estimates[Quantity.HUMIDITY]


@pytest.mark.parametrize("config_says", [False, True])
def test_trusted_means_the_config_says_so_or_a_check_is_in_date(config_says: bool) -> None:
    """What is not trusted is steered to 93 % at most (see `demand`)."""
    rh = sensor("room-rh", Quantity.HUMIDITY, "room", calibrated=config_says)
    one = Bench(farm(sensors=(rh,)))
    one.every(30, 2, **AIR)
    assert estimate(one).trusted is config_says
    one.give(Calibrated("room-rh", salt(75.5), "anna"))
    one.every(30, 1, **AIR)
    assert estimate(one).trusted
    one.give(Calibrated("room-rh", salt(75.5, days_ago=183), "anna"))
    one.every(30, 1, **AIR)
    assert estimate(one).trusted is config_says


def test_the_margin_is_made_of_what_a_check_leaves() -> None:
    one = bench()
    one.every(30, 2, **AIR)
    assert estimate(one).error == 3.0
    made = salt(75.5)
    one.give(Calibrated("room-rh", made, "anna"))
    one.every(30, 1, **AIR)
    assert estimate(one).error == made.error < 3.0


def test_with_two_sensors_the_one_with_a_check_in_date_steers() -> None:
    extra = (
        sensor("room-rh", Quantity.HUMIDITY, "room", calibrated=False),
        sensor("room-rh2", Quantity.HUMIDITY, "room", calibrated=False),
    )
    one = Bench(farm(sensors=extra))
    one.every(30, 2, **AIR, room_rh2=84.0)
    assert humidity(one)["value"] == pytest.approx(87.1)
    one.give(Calibrated("room-rh2", salt(75.5), "anna"))
    one.every(30, 1, **AIR, room_rh2=84.0)
    assert humidity(one)["value"] == pytest.approx(84.0)


def test_taken_back_it_is_raw_again_and_not_twice() -> None:
    one = bench()
    one.give(Calibrated("room-rh", salt(80.0), "anna"))
    one.give(Calibrated("room-rh", None, "anna"))
    one.every(30, 1, **AIR)
    assert humidity(one)["value"] == 90.0
    assert told(one, Reason.CALIBRATION_UNDONE) == ["anna took back the last check of room-rh"]
    out = one.give(Calibrated("room-rh", None, "anna"))
    assert [(event.kind, event.reason) for event in out.events] == [
        (EventKind.REFUSED, Reason.NOTHING_TO_UNDO)
    ]


@pytest.mark.parametrize("name", ["nobody", "room-temp"])
def test_an_unknown_sensor_or_another_quantity_is_refused(name: str) -> None:
    one = bench()
    out = one.give(Calibrated(name, salt(75.5), "anna"))
    assert [event.reason for event in out.events] == [Reason.UNKNOWN_SUBJECT]
    assert one.farm._state.truth.calibrations == {}


def test_a_sensor_in_a_jar_steers_nothing_and_calls_nobody() -> None:
    """75 % in the jar is no dry room. After ten minutes without another sensor nothing is known at all."""
    one = bench()
    one.every(30, 4, **AIR)
    one.give(SensorsAway(("room-rh",), "anna", 6 * 3_600_000))
    pulses = len(one.on("room-mist"))
    out = one.read(room_rh=75.0)
    assert out.verdict is not None
    assert (out.verdict.quality, out.verdict.mark) == (Quality.SUSPECT, Mark.AWAY)
    assert humidity(one)["held"] is True
    one.every(30, 60, room_rh=75.0, room_temp=17.0, room_co2=700.0)
    assert humidity(one)["value"] is None
    assert [notice.kind for _, notice in one.notices] == []
    held = [command for _, command in one.on("room-mist")[pulses:]]
    assert all(command.facts["value"] > 85.0 for command in held), "the last good value, not the jar's"
    assert told(one, Reason.SENSOR_AWAY) == ["room-rh is out of its place: anna checks or cleans it"]
    one.give(SensorsAway(("room-rh",), "anna", 0))
    assert one.read(room_rh=90.0).verdict == GOOD
    assert humidity(one)["value"] == 90.0
    assert len(told(one, Reason.FOUND_OVER)) == 1


def test_one_forgotten_in_its_jar_counts_again_by_itself() -> None:
    one = bench()
    one.every(30, 2, **AIR)
    one.give(SensorsAway(("room-rh",), "anna", 3_600_000))
    one.ms += 3_600_000 - 1_000
    assert one.read(room_rh=90.0).verdict != GOOD
    one.wait(2)
    assert one.read(room_rh=90.0).verdict == GOOD


def test_a_snapshot_goes_on_to_the_same_bytes() -> None:
    one = bench()
    one.every(30, 4, **AIR)
    one.give(Calibrated("room-rh", salt(80.0), "anna"))
    one.give(SensorsAway(("room-temp",), "anna", 3_600_000))
    one.every(30, 2, **AIR)
    plain = json.loads(json.dumps(one.farm.snapshot()))
    twin = Farm.restore(one.farm._plan.settings, plain)
    for n in range(5):
        one.ms += 30_000
        item = Reading("room-rh", 88.0 + n / 10, WALL_MS + one.ms)
        seq, now = one.seq + 1 + n, one.now()
        assert twin.handle(seq, now, item) == one.farm.handle(seq, now, item)
    assert twin.snapshot() == one.farm.snapshot()


def test_corrections_outlive_a_restart_and_a_sensor_that_is_away_stays_so() -> None:
    one = bench()
    one.give(Calibrated("room-rh", salt(80.0), "anna"))
    one.give(SensorsAway(("room-temp",), "anna", 3_600_000))
    one.give(Started("test", "digest", True, 5_000))
    one.every(30, 1, **AIR)
    assert humidity(one)["value"] == 85.5
    assert one.read(room_temp=17.0).verdict != GOOD
