"""Corrections worked out from salts and fresh air, and what is refused.

Sources: the two-point line by hand, with the fixed points of Greenspan (1977) for table salt and potassium
sulfate at 20 C (75.47 and 97.59 %); the readings are invented.
"""

from math import hypot, inf, nan

import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from gillhouse.core.calibration import (
    DAY_MS,
    DUE_AFTER_MS,
    LEAST_APART_PCT,
    MOST_SHIFT,
    SLOPE_RANGE,
    Calibration,
    Point,
    calibration,
    correct,
    in_date,
    left_error,
    salt_point,
    settled,
    with_earlier,
)
from gillhouse.core.quantities import Quantity
from gillhouse.errors import CalibrationError

MADE_MS = 1_760_000_000_000
SALT = Point(75.47, 72.1, 0.22, "table salt at 20.0 C", MADE_MS)
SULFATE = Point(97.59, 93.4, 0.76, "potassium sulfate at 20.0 C", MADE_MS)


def two() -> Calibration:
    return calibration(Quantity.HUMIDITY, (SALT, SULFATE), MADE_MS)


def test_two_salts_give_slope_and_offset() -> None:
    """By hand: slope (97.59 - 75.47) / (93.4 - 72.1) = 22.12 / 21.3; offset 75.47 - slope x 72.1."""
    found = two()
    assert found.slope == pytest.approx(1.038498, abs=1e-6)
    assert found.offset == pytest.approx(0.594319, abs=5e-6)
    assert found.top == 97.59


@pytest.mark.parametrize(
    ("raw", "expected"),
    [(60.0, 62.9042), (85.0, 88.8666), (90.0, 94.0591), (93.4, 97.59), (96.0, 100.0), (100.0, 100.0)],
)
def test_corrected_by_hand(raw: float, expected: float) -> None:
    """On the line above; 96.0 would be 100.2901, and no air is wetter than 100."""
    assert correct(two(), raw) == pytest.approx(expected, abs=1e-4)


def test_the_stop_of_a_humidity_sensor_is_no_reading() -> None:
    """A sensor 3 % high says 100.0 when wet, not 97; one that says 0.0 has a torn wire."""
    high = calibration(Quantity.HUMIDITY, (Point(75.47, 78.47, 0.22, "salt", MADE_MS),), MADE_MS)
    assert correct(high, 99.9) == pytest.approx(96.9)
    assert correct(high, 100.0) == 100.0
    assert correct(high, 0.0) == 0.0


@pytest.mark.parametrize("raw", [nan, inf, -5.0, 250.0])
def test_nonsense_stays_nonsense(raw: float) -> None:
    assert str(correct(two(), raw)) == str(raw)


def test_one_point_only_shifts() -> None:
    found = calibration(Quantity.HUMIDITY, (SALT,), MADE_MS)
    assert (found.slope, found.offset) == (1.0, pytest.approx(3.37))
    air = calibration(Quantity.CO2, (Point(425.0, 385.0, 25.0, "fresh air", MADE_MS),), MADE_MS)
    assert correct(air, 960.0) == pytest.approx(1000.0)
    cold = calibration(Quantity.TEMPERATURE, (Point(18.0, 18.6, 0.2, "thermometer", MADE_MS),), MADE_MS)
    assert correct(cold, 16.1) == pytest.approx(15.5)


def test_what_is_left_after_it() -> None:
    """By hand. One salt: its 0.22 and 1.0 for the reading, and 5 % of the 14.53 points up to 90 for the
    slope. Two: at 90 the share of the upper is (90 - 75.47) / 22.12 = 0.6569."""
    one = calibration(Quantity.HUMIDITY, (SALT,), MADE_MS)
    assert one.error == pytest.approx(hypot(0.22, 1.0, 0.05 * 14.53), abs=1e-9)
    upper = hypot(0.76, 1.0)
    assert two().error == pytest.approx(hypot(0.3431 * hypot(0.22, 1.0), 0.6569 * upper), abs=1e-3)
    assert left_error(two(), 3.0) == two().error
    assert left_error(two(), 0.3) == 0.3  # a sensor stated better than a jar stays so


def test_in_date_up_to_its_day() -> None:
    found = two()
    assert found.due_ms - MADE_MS == 182 * DAY_MS
    assert in_date(found, found.due_ms - 1)
    assert not in_date(found, found.due_ms)


REFUSED = {
    "too close together": ((SALT, Point(85.11, 82.0, 0.39, "potassium chloride", MADE_MS)), "apart"),
    "further off than any bias": ((Point(75.47, 59.0, 0.22, "salt", MADE_MS),), "no bias"),
    "a jar that went wrong": ((SALT, Point(97.59, 84.0, 0.76, "sulfate", MADE_MS)), "one jar went wrong"),
    "not moved at all": ((Point(75.47, 85.0, 0.22, "s", MADE_MS), Point(97.59, 85.0, 0.7, "k", MADE_MS)),
                         "worn out"),
    "at its stop": ((Point(97.59, 100.0, 0.76, "potassium sulfate", MADE_MS),), "dry"),
    "nothing at all": ((), "give one"),
    "three": ((SALT, SULFATE, SALT), "give one"),
    "no error": ((Point(75.5, 75.0, nan, "salt", MADE_MS),), "says nothing"),
    "not a number": ((Point(75.47, nan, 0.22, "salt", MADE_MS),), "no humidity"),
}  # fmt: skip


@pytest.mark.parametrize("name", REFUSED)
def test_refused(name: str) -> None:
    points, word = REFUSED[name]
    with pytest.raises(CalibrationError, match=word):
        calibration(Quantity.HUMIDITY, points, MADE_MS)


def test_what_has_no_known_point_is_refused() -> None:
    with pytest.raises(CalibrationError, match="humidity"):
        calibration(Quantity.DOOR, (Point(1.0, 1.0, 0.0, "shut", MADE_MS),), MADE_MS)
    with pytest.raises(CalibrationError, match="give one"):
        calibration(Quantity.CO2, (SALT, SULFATE), MADE_MS)


values = st.floats(1.0, 99.0)


@given(values, values, values, values)
def test_properties_of_any_two_points(ref1: float, read1: float, ref2: float, read2: float) -> None:
    """Either refused, or: it goes through both points, rises, and stays within what air can hold."""
    points = (Point(ref1, read1, 0.3, "a", MADE_MS), Point(ref2, read2, 0.3, "b", MADE_MS))
    try:
        found = calibration(Quantity.HUMIDITY, points, MADE_MS)
    except CalibrationError:
        return
    assert abs(ref1 - ref2) >= LEAST_APART_PCT
    assert max(abs(ref1 - read1), abs(ref2 - read2)) <= MOST_SHIFT[Quantity.HUMIDITY]
    assert SLOPE_RANGE[0] <= found.slope <= SLOPE_RANGE[1]
    assert correct(found, read1) == pytest.approx(ref1, abs=1e-6)
    assert correct(found, read2) == pytest.approx(ref2, abs=1e-6)
    assert 0.0 < found.error < 10.0
    corrected = [correct(found, raw / 2) for raw in range(201)]
    assert corrected == sorted(corrected)
    assert all(0.0 <= value <= 100.0 for value in corrected)
    assert calibration(Quantity.HUMIDITY, points[::-1], MADE_MS).slope == pytest.approx(found.slope)


@given(st.sampled_from(sorted(DUE_AFTER_MS)), st.floats(-1.0, 1.0), st.floats(0.0, 1.0))
def test_one_point_puts_right_exactly_what_it_saw(quantity: Quantity, off: float, place: float) -> None:
    reference = {Quantity.HUMIDITY: 75.0, Quantity.CO2: 450.0, Quantity.TEMPERATURE: 20.0}[quantity]
    shift = off * MOST_SHIFT[quantity]
    assume(MOST_SHIFT[quantity] - abs(shift) > 1e-6)
    point = Point(reference, reference + shift, 0.2, "something known", MADE_MS)
    found = calibration(quantity, (point,), MADE_MS)
    assert correct(found, point.read) == pytest.approx(reference)
    other = reference + 10.0 * place
    if correct(found, other) < 100.0:
        assert correct(found, other) == pytest.approx(other - shift)


# --- settled -------------------------------------------------------------------------------------------


def series(step_s: int, minutes: int, value: float, drift_per_min: float = 0.0) -> list[tuple[int, float]]:
    count = minutes * 60 // step_s
    return [
        (MADE_MS + n * step_s * 1000, value + drift_per_min * n * step_s / 60 + 0.05 * (n % 2))
        for n in range(count + 1)
    ]


def end(readings: list[tuple[int, float]]) -> int:
    return readings[-1][0]


def test_at_rest_after_twenty_steady_minutes() -> None:
    readings = series(30, 25, 72.1)
    found = settled(Quantity.HUMIDITY, readings, end(readings))
    assert found.why_not == ""
    assert found.value == pytest.approx(72.12, abs=0.02)


def test_still_creeping_is_not_settled() -> None:
    """0.03 a minute is 0.3 between the means of two halves of ten minutes."""
    readings = series(30, 25, 72.1, 0.03)
    found = settled(Quantity.HUMIDITY, readings, end(readings))
    assert found.value is None
    assert found.why_not == "still moving, +0.3 in 10 min"


def test_few_readings_or_a_gap_say_nothing() -> None:
    for readings in ([], series(30, 8, 72.1), series(600, 25, 72.1)):
        assert settled(Quantity.HUMIDITY, readings, MADE_MS + 25 * 60_000).value is None


def test_swinging_is_not_settled() -> None:
    readings = [(at, value + (1.2 if n % 2 else 0.0)) for n, (at, value) in enumerate(series(30, 25, 72.1))]
    assert "unsteady" in settled(Quantity.HUMIDITY, readings, end(readings)).why_not


# --- points --------------------------------------------------------------------------------------------


def test_a_salt_point_carries_what_the_table_says() -> None:
    """Greenspan's table: table salt at 20 C 75.47 %."""
    point = salt_point("sodium-chloride", 20.0, 72.1, MADE_MS)
    assert point.reference == pytest.approx(75.47, abs=0.011)
    assert (point.read, point.error, point.at_ms) == (72.1, 0.22, MADE_MS)
    assert point.against == "table salt (sodium chloride) at 20.0 C"


def test_a_second_jar_within_a_month_makes_a_line_with_the_first() -> None:
    one = calibration(Quantity.HUMIDITY, (SALT,), MADE_MS)
    later = Point(97.59, 93.4, 0.76, "sulfate", MADE_MS + 30 * DAY_MS)
    assert with_earlier(one, later) == (SALT, later)
    assert with_earlier(None, later) == (later,)
    for alone in (
        Point(97.59, 93.4, 0.76, "too late", MADE_MS + 31 * DAY_MS),
        Point(85.11, 82.0, 0.39, "too close", MADE_MS + DAY_MS),
        Point(97.59, 93.4, 0.76, "before it", MADE_MS - 1),
    ):
        assert with_earlier(one, alone) == (alone,)


def test_a_third_jar_takes_the_place_of_the_nearer_in_time() -> None:
    both = calibration(Quantity.HUMIDITY, (SALT, SULFATE), MADE_MS)
    again = Point(97.6, 93.9, 0.76, "sulfate", MADE_MS + DAY_MS)
    assert with_earlier(both, again) == (SALT, again)
