"""What a sensor's reading is worth after it was held against something known.

What lives here: the correction worked out from one or two points, what is refused, the error that is left,
the date it is due again, and when a sensor in a jar has settled. What must not: a clock, a store, which
sensor steers. A correction is a straight line, `corrected = slope * raw + offset`. The raw value is what is
stored; it is corrected on the way into quality and control, and again by the audit.

One point only shifts: it cannot tell a wrong slope from a wrong zero. Two humidity points give both. CO2 is
shifted in fresh air: an infrared cell's common faults (ageing lamp, its own self-calibration) move the zero.
That choice is ours.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from math import hypot, isfinite
from typing import Final

from gillhouse.core.greenspan import SALTS, humidity_pct
from gillhouse.core.quantities import MEASURES, Quantity
from gillhouse.errors import CalibrationError

DAY_MS: Final = 86_400_000

DUE_AFTER_MS: Final[dict[Quantity, int]] = {
    Quantity.HUMIDITY: 182 * DAY_MS,
    Quantity.CO2: 182 * DAY_MS,
    Quantity.TEMPERATURE: 365 * DAY_MS,
}
"""A calibration is in date for so long. CO2: "every three, at most six months", Cai et al., Atmos. Meas.
Tech. 18:4871 (2025), abstract. Humidity: common practice for sensors that live above 80 %, no source.
Temperature: our choice. Quantities not named cannot be calibrated."""

LEAST_APART_PCT: Final = 15.0
"""Two humidity points closer than this give no slope worth having. Common practice, no source."""

SLOPE_RANGE: Final = (0.8, 1.25)
"""A slope outside is a broken sensor or a jar that went wrong. Common practice, no source."""

MOST_SHIFT: Final[dict[Quantity, float]] = {
    Quantity.HUMIDITY: 15.0,
    Quantity.CO2: 300.0,
    Quantity.TEMPERATURE: 5.0,
}
"""At no point may the sensor have been further off than this: it is not biased, it is broken, or the point
was not what it was taken for. Our choice."""

READ_ERROR: Final[dict[Quantity, float]] = {
    Quantity.HUMIDITY: 1.0,
    Quantity.CO2: 15.0,
    Quantity.TEMPERATURE: 0.1,
}
"""What a single settled reading may still be off by. Humidity: the hysteresis in data sheets of capacitive
sensors, 0.8 to 1 %. CO2: noise of cheap infrared cells, 5 to 20 ppm, no source. Temperature: last digit."""

SLOPE_DOUBT: Final[dict[Quantity, float]] = {
    Quantity.HUMIDITY: 0.05,
    Quantity.CO2: 0.03,
    Quantity.TEMPERATURE: 0.01,
}
"""How far a slope that was not measured may be from 1. CO2: the "+ 3 %" of data sheets of infrared cells.
Humidity, temperature: our choice."""

WORKING: Final[dict[Quantity, float]] = {
    Quantity.HUMIDITY: 90.0,
    Quantity.CO2: 1_000.0,
    Quantity.TEMPERATURE: 18.0,
}
"""Where the remaining error is stated: what a fruiting space lives at."""

FRESH_AIR_PPM: Final = 425.0
"""Outdoor air, 2024: world mean about 424 ppm, WMO Greenhouse Gas Bulletin 21 (2025), as quoted in the
news."""

FRESH_AIR_ERROR_PPM: Final = 25.0
"""How far outdoor air by day, away from chimneys, people and engines, may be from that. By night and near
the ground it can be hundreds. Common practice, no source."""


@dataclass(frozen=True, slots=True)
class Point:
    """A sensor beside something known, in the quantity's unit."""

    reference: float
    """What it should have said."""
    read: float
    """What it said, raw."""
    error: float
    """How sure the reference is, either way."""
    against: str
    """What it was: a salt with its temperature, fresh air, a better thermometer."""
    at_ms: int
    """Wall time."""


@dataclass(frozen=True, slots=True)
class Calibration:
    """A correction in force from `made_ms` on. It goes on after `due_ms`, but is no longer trusted."""

    quantity: Quantity
    slope: float
    offset: float
    error: float
    """What is left, either way, near `WORKING`."""
    made_ms: int
    due_ms: int
    points: tuple[Point, ...]
    who: str = ""

    @property
    def top(self) -> float:
        """The highest value it was checked at; above it the line is only continued."""
        return max(point.reference for point in self.points)


def calibration(quantity: Quantity, points: Sequence[Point], made_ms: int, who: str = "") -> Calibration:
    """The correction that follows from one point, or (humidity) two.

    Raises:
        CalibrationError: the points cannot be right, or cannot be used; it says what to do.
    """
    if quantity not in DUE_AFTER_MS:
        known = ", ".join(DUE_AFTER_MS)
        raise CalibrationError(f"a sensor of {quantity} is not calibrated; {known} can be")
    _check(quantity, points)
    slope = _slope(points) if len(points) == 2 else 1.0
    offset = points[0].reference - slope * points[0].read
    return Calibration(
        quantity=quantity,
        slope=slope,
        offset=offset,
        error=_residual(quantity, points),
        made_ms=made_ms,
        due_ms=made_ms + DUE_AFTER_MS[quantity],
        points=tuple(points),
        who=who,
    )


def _check(quantity: Quantity, points: Sequence[Point]) -> None:
    measure, most = MEASURES[quantity], MOST_SHIFT[quantity]
    if not points or len(points) > (2 if quantity is Quantity.HUMIDITY else 1):
        raise CalibrationError(f"{len(points)} points of {quantity}: give one, or two salts for humidity")
    for point in points:
        for value in (point.reference, point.read):
            if not isfinite(value) or not measure.low <= value <= measure.high:
                raise CalibrationError(
                    f"{value:g} {measure.unit} is no {quantity}; it lies between {measure.low:g} and"
                    f" {measure.high:g}"
                )
        if not 0.0 <= point.error < measure.high:
            raise CalibrationError(
                f"an error of {point.error:g} {measure.unit} says nothing; give a smaller one"
            )
        if quantity is Quantity.HUMIDITY and point.read >= measure.high:
            raise CalibrationError(
                f"the sensor stood at its stop, {point.read:g} %, over {point.against}: let it dry for a day"
                " and try again"
            )
        off = point.read - point.reference
        if abs(off) > most:
            raise CalibrationError(
                f"{point.read:g} {measure.unit} where {point.against} gives {point.reference:.1f} is"
                f" {abs(off):.1f} off; more than {most:g} is no bias: look at the jar and the sensor, or swap"
                " the sensor"
            )


def _slope(points: Sequence[Point]) -> float:
    first, second = points
    apart = abs(second.reference - first.reference)
    if apart < LEAST_APART_PCT:
        raise CalibrationError(
            f"{first.against} and {second.against} are only {apart:.1f} points apart; take two salts at least"
            f" {LEAST_APART_PCT:g} apart"
        )
    read = second.read - first.read
    slope = (second.reference - first.reference) / read if read else float("inf")
    low, high = SLOPE_RANGE
    if not low <= slope <= high:
        raise CalibrationError(
            f"the sensor moved {read:.1f} points where it should have moved"
            f" {second.reference - first.reference:.1f}: one jar went wrong, or the sensor is worn out"
        )
    return slope


def _residual(quantity: Quantity, points: Sequence[Point]) -> float:
    """The error left at `WORKING`: each point's own, carried there along the line, and the slope's."""
    work, sure = WORKING[quantity], [hypot(point.error, READ_ERROR[quantity]) for point in points]
    if len(points) == 1:
        return hypot(sure[0], SLOPE_DOUBT[quantity] * (work - points[0].reference))
    first, second = points
    share = (work - first.reference) / (second.reference - first.reference)
    return hypot((1.0 - share) * sure[0], share * sure[1])


def correct(known: Calibration, value: float) -> float:
    """A raw value as it should have been.

    A value no sensor can truthfully give stays what it is, to be judged as such. So does a humidity sensor at
    either stop: 100.0 means 'wet, at least', whatever the line says. Humidity is kept within 0 and 100.
    """
    measure = MEASURES[known.quantity]
    if not isfinite(value) or not measure.low <= value <= measure.high:
        return value
    line = known.slope * value + known.offset
    if known.quantity is not Quantity.HUMIDITY:
        return line
    if value in (measure.low, measure.high):
        return value
    return min(max(line, measure.low), measure.high)


def in_date(known: Calibration, wall_ms: int) -> bool:
    """Whether the correction may be trusted at a wall time."""
    return wall_ms < known.due_ms


def left_error(known: Calibration, stated: float) -> float:
    """The error to work with: the smaller of what is left and what the sensor's settings state."""
    return min(known.error, stated)


# --- points ---------------------------------------------------------------------------------------------


def salt_point(salt: str, temperature_c: float, read: float, at_ms: int) -> Point:
    """A humidity sensor that settled over a wet salt.

    Raises:
        ValueError: a salt or temperature no fixed point is known for.
    """
    reference = humidity_pct(salt, temperature_c)
    known = SALTS[salt]
    return Point(reference, read, known.error_pct, f"{known.name} at {temperature_c:.1f} C", at_ms)


def fresh_air_point(read: float, at_ms: int, ppm: float = FRESH_AIR_PPM) -> Point:
    """A CO2 sensor that settled in outdoor air."""
    return Point(ppm, read, FRESH_AIR_ERROR_PPM, f"fresh air, {ppm:.0f} ppm", at_ms)


def beside_point(quantity: Quantity, true: float, read: float, at_ms: int) -> Point:
    """A sensor beside a better instrument of the same quantity."""
    return Point(true, read, 2 * READ_ERROR[quantity], "a better instrument beside it", at_ms)


JOINED_MS: Final = 30 * DAY_MS
"""Two salt jars no further apart than this make one line. Our choice: no sensor drifts far in it."""


def with_earlier(last: Calibration | None, new: Point) -> tuple[Point, ...]:
    """The points to use for a new one: with a lately made one beside it, where that gives a line."""
    if last is None or last.quantity is not Quantity.HUMIDITY:
        return (new,)
    fit = [
        point
        for point in last.points
        if 0 <= new.at_ms - point.at_ms <= JOINED_MS
        and abs(point.reference - new.reference) >= LEAST_APART_PCT
    ]
    if not fit:
        return (new,)
    return tuple(sorted((max(fit, key=lambda point: point.at_ms), new), key=lambda point: point.reference))


# --- settled or not ------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Stillness:
    """When a sensor counts as settled. Common practice, no source."""

    window_ms: int
    """It is looked at over the last of this."""
    drift: float
    """Between the means of the window's two halves, at most."""
    spread: float
    """Between the highest and lowest, at most."""


STILLNESS: Final[dict[Quantity, Stillness]] = {
    Quantity.HUMIDITY: Stillness(20 * 60_000, 0.2, 1.0),
    Quantity.CO2: Stillness(10 * 60_000, 15.0, 60.0),
    Quantity.TEMPERATURE: Stillness(10 * 60_000, 0.1, 0.3),
}

LEAST_READINGS: Final = 8
"""In a window; fewer say nothing of a drift."""


@dataclass(frozen=True, slots=True)
class Settled:
    """What the last readings of a sensor say."""

    value: float | None
    """Their mean; None while not settled."""
    why_not: str
    """Empty when settled."""


def settled(quantity: Quantity, readings: Sequence[tuple[int, float]], now_ms: int) -> Settled:
    """Whether a sensor beside something known has come to rest.

    Args:
        readings: (wall ms, raw value) in order of time.
        now_ms: the window ends here.
    """
    rule = STILLNESS[quantity]
    begin = now_ms - rule.window_ms
    inside = [(at, value) for at, value in readings if begin <= at <= now_ms]
    halves = (
        [value for at, value in inside if at < begin + rule.window_ms // 2],
        [value for at, value in inside if at >= begin + rule.window_ms // 2],
    )
    if min(map(len, halves)) < LEAST_READINGS // 2:
        return Settled(None, f"{len(inside)} readings in {rule.window_ms // 60_000} min: waiting for more")
    values = [value for _, value in inside]
    spread = max(values) - min(values)
    first, second = (sum(half) / len(half) for half in halves)
    if abs(second - first) > rule.drift:
        return Settled(None, f"still moving, {second - first:+.1f} in {rule.window_ms // 120_000} min")
    if spread > rule.spread:
        return Settled(None, f"unsteady, over {spread:.1f} in {rule.window_ms // 60_000} min")
    return Settled(second, "")
