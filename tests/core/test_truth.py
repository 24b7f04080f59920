"""A reading on its way from the board to quality: corrected, or out of its place. Values invented."""

import pytest

from core.farm_parts import WALL_MS, sensor
from gillhouse.core.calibration import DAY_MS, Calibration, Point, calibration
from gillhouse.core.inputs import Calibrated, Reading, SensorsAway
from gillhouse.core.quality import SensorState
from gillhouse.core.quantities import Quantity
from gillhouse.core.truth import LONGEST_AWAY_MS, Truth, corrected, is_away, take_away, take_calibrated

RH = sensor("rh", Quantity.HUMIDITY, "room", calibrated=False, error=3.0)


def salt(read: float, made_ms: int = WALL_MS) -> Calibration:
    return calibration(Quantity.HUMIDITY, (Point(75.5, read, 0.2, "salt", made_ms),), made_ms)


def read(truth: Truth, value: float, wall_ms: int = WALL_MS) -> tuple[float, SensorState]:
    state = SensorState(0)
    item = Reading("rh", value, wall_ms)
    found = corrected(truth, RH, state, item, wall_ms)
    assert item.value == value, "the reading that is stored stays raw"
    return found.value, state


def test_before_any_calibration_nothing_is_changed() -> None:
    value, state = read(Truth(), 88.0)
    assert (value, state.calibrated, state.error) == (88.0, False, 3.0)


def test_corrected_trusted_and_with_a_smaller_error_until_it_is_due() -> None:
    truth, made = Truth(), salt(78.5)
    assert take_calibrated(truth, Calibrated("rh", made, "anna"))
    value, state = read(truth, 88.0)
    assert (value, state.calibrated) == (85.0, True)
    assert state.error == made.error < 3.0
    late, state = read(truth, 88.0, WALL_MS + 183 * DAY_MS)
    assert late == 85.0, "an old correction is still better than none"
    assert (state.calibrated, state.error) == (False, 3.0)


def test_taking_the_last_one_back_brings_the_one_before() -> None:
    truth = Truth()
    assert not take_calibrated(truth, Calibrated("rh", None, "anna"))
    take_calibrated(truth, Calibrated("rh", salt(78.5), "anna"))
    take_calibrated(truth, Calibrated("rh", salt(70.5), "anna"))
    assert read(truth, 80.0)[0] == 85.0
    assert take_calibrated(truth, Calibrated("rh", None, "anna"))
    assert read(truth, 80.0)[0] == 77.0
    assert take_calibrated(truth, Calibrated("rh", None, "anna"))
    assert read(truth, 80.0)[0] == 80.0


def test_a_correction_of_another_quantity_is_left_alone() -> None:
    truth = Truth()
    warm = calibration(Quantity.TEMPERATURE, (Point(20.0, 21.0, 0.2, "thermometer", 0),), WALL_MS)
    take_calibrated(truth, Calibrated("rh", warm, "anna"))
    assert read(truth, 88.0)[0] == 88.0


@pytest.mark.parametrize(
    ("for_h", "after_h", "away"),
    [(6, 5.9, True), (6, 6.0, False), (100, 23.9, True), (100, 24.0, False), (6, -30.0, False)],
)
def test_out_of_its_place_for_as_long_as_asked_and_a_day_at_most(
    for_h: float, after_h: float, away: bool
) -> None:
    truth, hour = Truth(), LONGEST_AWAY_MS // 24
    take_away(truth, SensorsAway(("rh", "temp"), "anna", int(for_h * hour)), WALL_MS)
    assert is_away(truth, "rh", WALL_MS + int(after_h * hour)) is away
    assert not is_away(truth, "other", WALL_MS)


def test_back_at_once_when_somebody_says_so() -> None:
    truth = Truth()
    take_away(truth, SensorsAway(("rh",), "anna", 3_600_000), WALL_MS)
    take_away(truth, SensorsAway(("rh",), "anna", 0), WALL_MS)
    assert not is_away(truth, "rh", WALL_MS)
