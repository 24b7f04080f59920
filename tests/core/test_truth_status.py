"""What is shown of sensors' truth. Values by hand."""

import pytest

from core.farm_parts import WALL_MS, Bench, farm, sensor, space
from gillhouse.core.calibration import Point, calibration
from gillhouse.core.crops import Band
from gillhouse.core.inputs import Calibrated, SensorsAway
from gillhouse.core.quantities import Quantity
from gillhouse.core.settings import SpaceKind

HIGH = Band(94.0, 98.0, 96.0, 85.0, None, "invented")


def bench(kind: SpaceKind = SpaceKind.ROOM) -> Bench:
    rh = sensor("room-rh", Quantity.HUMIDITY, "room", calibrated=False, error=1.0)
    return Bench(farm(space(kind=kind, bands={Quantity.HUMIDITY: HIGH}), sensors=(rh,)))


def humidity(one: Bench) -> dict[str, object]:
    return one.farm.status(one.now())["spaces"]["room"]["quantities"]["humidity"]  # type: ignore[index]


def check(one: Bench, reference: float, read: float) -> None:
    point = Point(reference, read, 0.2, "salt", WALL_MS)
    one.give(Calibrated("room-rh", calibration(Quantity.HUMIDITY, (point,), WALL_MS, "anna"), "anna"))


def test_a_high_target_is_wished_for_until_a_check_is_in_date() -> None:
    one = bench()
    one.every(30, 2, room_rh=92.0)
    assert (humidity(one)["held_at"], humidity(one)["wished"]) == (93.0, 96.0)
    check(one, 75.5, 75.5)
    one.every(30, 1, room_rh=92.0)
    assert (humidity(one)["held_at"], humidity(one)["wished"]) == (None, None)


def test_an_open_space_aims_at_nothing() -> None:
    one = bench(SpaceKind.OPEN)
    one.every(30, 2, room_rh=92.0)
    assert (humidity(one)["held_at"], humidity(one)["wished"]) == (None, None)


@pytest.mark.parametrize(
    ("checked_at", "value", "at_least"),
    [(None, 94.9, False), (None, 96.0, True), (75.5, 96.0, True), (97.6, 96.0, False), (97.6, 100.0, True)],
)
def test_over_95_a_sensor_not_checked_up_there_only_says_at_least(
    checked_at: float | None, value: float, at_least: bool
) -> None:
    one = bench()
    if checked_at is not None:
        check(one, checked_at, checked_at)
    one.read(room_rh=value)
    assert humidity(one)["at_least"] is at_least


def test_a_sensor_says_how_it_was_checked_and_whether_it_is_in_its_place() -> None:
    one = bench()
    check(one, 75.5, 78.5)
    one.give(SensorsAway(("room-temp",), "anna", 3_600_000))
    one.every(30, 1, room_rh=92.0)
    sensors = one.farm.status(one.now())["sensors"]
    shown = sensors["room-rh"]  # type: ignore[index]
    assert (shown["calibrated"], shown["quantity"], shown["space"]) == (True, "humidity", "room")
    assert (shown["calibration"]["offset"], shown["calibration"]["who"]) == (-3.0, "anna")
    assert shown["calibration"]["points"][0]["against"] == "salt"
    assert shown["away_until_ms"] is None
    assert sensors["room-temp"]["away_until_ms"] == WALL_MS + 3_600_000  # type: ignore[index]
    (found,) = one.farm.status(one.now())["findings"]  # type: ignore[misc]
    assert (found["reason"], found["sensor"]) == ("sensor-away", "room-temp")
