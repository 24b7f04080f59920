"""What one reading is worth: GOOD, SUSPECT or BAD, and why. Judged sensor by sensor, from its own past.

Nothing here compares sensors or knows a space. `judge` looks at, in this order: how the reading came, the
believable range, a jump, a flat line. Silence is no reading, so it has a function of its own. A live
reading moves the sensor's state; one that was queued, late, ahead of time or retained moves nothing.
"""

from dataclasses import dataclass
from math import isfinite

from gillhouse.core.inputs import Delivery, Reading
from gillhouse.core.instant import Instant
from gillhouse.core.quantities import MEASURES, Quantity
from gillhouse.core.readings import GOOD, Mark, Quality, Verdict
from gillhouse.core.settings import CORE_ZONE, SensorSettings

SATURATED_PCT = 100.0
"""A humidity sensor at its stop: the air or the sensor is wet. True as 'at least', never broken."""

FLAT_READINGS: dict[Quantity, int] = {
    Quantity.HUMIDITY: 36,
    Quantity.CO2: 36,
    Quantity.TEMPERATURE: 240,
}
"""So many identical readings in a row, over at least `FLAT_LEAST_MS`, and the sensor is frozen. A live one's
last digit moves: in air that stands quite still, noise of half a digit's step (0.05 %RH) leaves it where it
is two times in three, 36 times running once in a million. Temperature truly stands still for long in an
insulated room, so it gets more. Quantities not named (a tank is wet for weeks, a night is dark) are not
tested. Our choice; the odds are worked in `test_quality`."""

CORE_STEADIER = 4
"""So many times more readings for a sensor inside a block, where warmth moves by tenths in hours. Our
choice."""

FLAT_LEAST_MS = 20 * 60_000
"""... but never sooner than this, so that a chatty board is not called frozen in a calm room."""

FLAT_ALLOWED_FROM: dict[Quantity, float] = {Quantity.HUMIDITY: 98.0, Quantity.CO2: 1_990.0}
"""From here on a flat line is the sensor's upper stop (saturation; the top of a cheap CO2 range), not a
frozen sensor. Humidity: IOOS-style flat-line practice suspended near saturation, common practice."""

_STEP_LEAST_MS = 10_000
"""Two readings closer than this are compared as if this far apart: noise is not speed."""
_STEP_ALWAYS = 3
"""Steps of the last digit that are never a jump."""

_BY_DELIVERY: dict[Delivery, Verdict] = {
    Delivery.QUEUED: Verdict(Quality.SUSPECT, Mark.QUEUED),
    Delivery.LATE: Verdict(Quality.SUSPECT, Mark.LATE),
    Delivery.AHEAD: Verdict(Quality.SUSPECT, Mark.AHEAD),
    Delivery.RETAINED: Verdict(Quality.SUSPECT, Mark.RETAINED),
}
_OUT_OF_RANGE = Verdict(Quality.BAD, Mark.OUT_OF_RANGE)
_JUMPED = Verdict(Quality.SUSPECT, Mark.JUMPED)
_FLAT = Verdict(Quality.SUSPECT, Mark.FLAT)
_SATURATED = Verdict(Quality.GOOD, Mark.SATURATED)


@dataclass(slots=True)
class SensorState:
    """What is remembered of one sensor. Times are monotonic milliseconds."""

    heard_ms: int
    """Last live reading, or when we began to wait for one."""
    value: float | None = None
    """Last live reading within range."""
    value_ms: int = 0
    flat_since_ms: int = 0
    flat_count: int = 0
    quality: Quality = Quality.SUSPECT
    mark: Mark = Mark.STALE
    """Of the last live reading; STALE before the first and while silent."""
    good_value: float | None = None
    good_ms: int = 0
    good_seq: int = 0
    """The last GOOD reading, and its journal number."""
    count: float | None = None
    """Of a pulse input: its last count."""
    counted_ms: int = 0
    """When that came."""
    counted_from_ms: int = 0
    """When the count before it came: what it has grown by was between the two."""
    silent: bool = False
    doubted_ms: int | None = None
    """When its nonsense was last told."""
    calibrated: bool | None = None
    """A calibration was in date at the last reading; None before the first."""
    error: float | None = None
    """The error it worked with then: stated, or what a calibration leaves."""
    powered_ms: int = 0
    """Its silence counts from here at the earliest: until then what it hangs on may still be starting."""


def judge(sensor: SensorSettings, state: SensorState, now: Instant, reading: Reading) -> Verdict:
    """The verdict on a reading, without moving the state (see `remember`)."""
    if reading.delivery is not Delivery.LIVE:
        return _BY_DELIVERY[reading.delivery]
    measure = MEASURES[sensor.quantity]
    value = reading.value
    if not isfinite(value) or not measure.low <= value <= measure.high:
        return _OUT_OF_RANGE
    if measure.on_off:
        return GOOD
    if sensor.quantity is Quantity.HUMIDITY:
        if value == 0.0:
            return _OUT_OF_RANGE  # a fruiting space is never bone dry: a torn wire reads like this
        if value >= SATURATED_PCT:
            return _SATURATED
    last = state.value
    if last is None:
        return GOOD
    elapsed_ms = max(now.mono_ms - state.value_ms, _STEP_LEAST_MS)
    most = measure.rate_per_min * elapsed_ms / 60_000 + _STEP_ALWAYS * measure.resolution
    if abs(value - last) > most:
        return _JUMPED
    return _FLAT if _is_flat(sensor, state, now.mono_ms, value) else GOOD


def _is_flat(sensor: SensorSettings, state: SensorState, mono_ms: int, value: float) -> bool:
    quantity = sensor.quantity
    most = FLAT_READINGS.get(quantity)
    if most is not None and sensor.zone == CORE_ZONE:
        most *= CORE_STEADIER
    if most is None or value != state.value or value >= FLAT_ALLOWED_FROM.get(quantity, float("inf")):
        return False
    return state.flat_count + 1 >= most and mono_ms - state.flat_since_ms >= FLAT_LEAST_MS


def remember(state: SensorState, seq: int, now: Instant, reading: Reading, verdict: Verdict) -> None:
    """Moves the state past a live reading. Others (queued, late...) must not come here."""
    mono_ms = now.mono_ms
    state.heard_ms = mono_ms
    state.silent = False
    state.quality = verdict.quality
    state.mark = verdict.mark
    if verdict.quality is Quality.BAD:
        return
    value = float(reading.value)
    if value == state.value:
        state.flat_count += 1
    else:
        state.flat_count = 1
        state.flat_since_ms = mono_ms
    state.value = value
    state.value_ms = mono_ms
    if verdict.quality is Quality.GOOD:
        state.good_value = value
        state.good_ms = mono_ms
        state.good_seq = seq


def silent_from_ms(sensor: SensorSettings, state: SensorState) -> int:
    """When it is silent, if nothing comes: monotonic."""
    return max(state.heard_ms, state.powered_ms) + sensor.silent_after_ms


def silence(sensor: SensorSettings, state: SensorState, mono_ms: int) -> bool:
    """Whether the sensor has just fallen silent. Marks it STALE then; true once per silence."""
    if state.silent or mono_ms < silent_from_ms(sensor, state):
        return False
    state.silent = True
    state.quality = Quality.SUSPECT
    state.mark = Mark.STALE
    return True


def awaited(state: SensorState) -> bool:
    """Whether the sensor has not reported since the start, and has not had the time to."""
    return not state.silent and state.good_ms == 0 and state.mark is Mark.STALE


def drives(state: SensorState) -> bool:
    """Whether the sensor's last reading may steer."""
    return state.quality is Quality.GOOD and not state.silent
