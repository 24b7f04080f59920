"""What is known of each sensor's truth: its correction, and whether it is in its place.

What lives here: the state that a snapshot keeps, and what a reading becomes on its way to quality. What must
not: how a correction is worked out (see `calibration`), what sensors say of each other (see `findings`). The
stored reading stays raw; whoever reads the store corrects it again by the journal.
"""

from dataclasses import dataclass, field, replace

from gillhouse.core.calibration import Calibration, correct, in_date, left_error
from gillhouse.core.inputs import Calibrated, Reading, SensorsAway
from gillhouse.core.quality import SensorState
from gillhouse.core.readings import Mark, Quality, Verdict
from gillhouse.core.settings import SensorSettings

LONGEST_AWAY_MS = 24 * 3_600_000
"""A sensor somebody forgot to put back counts again after this, whatever was asked for."""

AT_LEAST_PCT = 95.0
"""A cheap humidity sensor above this only says 'at least': data sheets state no accuracy there, and a wet one
reads high for hours. Common practice, no source."""

AWAY = Verdict(Quality.SUSPECT, Mark.AWAY)


@dataclass(slots=True)
class Away:
    """A sensor that somebody has taken out of its place."""

    until_ms: int
    who: str


@dataclass(slots=True)
class Truth:
    """Of all sensors. Wall times, for a calibration outlives many starts of the daemon."""

    calibrations: dict[str, Calibration] = field(default_factory=dict)
    before: dict[str, Calibration] = field(default_factory=dict)
    """The one before, for who takes the last one back."""
    away: dict[str, Away] = field(default_factory=dict)


def in_force(truth: Truth, sensor: SensorSettings) -> Calibration | None:
    """The correction of a sensor, unless it now measures something else."""
    known = truth.calibrations.get(sensor.id)
    return known if known is not None and known.quantity is sensor.quantity else None


def corrected(
    truth: Truth, sensor: SensorSettings, state: SensorState, item: Reading, wall_ms: int
) -> Reading:
    """The reading as it should have been. Also notes in `state` how far it may be trusted."""
    known = in_force(truth, sensor)
    if known is None:
        state.calibrated, state.error = sensor.calibrated, sensor.error
        return item
    dated = in_date(known, wall_ms)
    state.calibrated = sensor.calibrated or dated
    state.error = left_error(known, sensor.error) if dated else sensor.error
    return replace(item, value=correct(known, item.value))


def is_away(truth: Truth, sensor: str, wall_ms: int) -> bool:
    """Whether somebody has taken the sensor out of its place. Forgets it once its time is over."""
    away = truth.away.get(sensor)
    if away is None:
        return False
    # A clock set far back would keep it away for ever.
    if away.until_ms - LONGEST_AWAY_MS <= wall_ms < away.until_ms:
        return True
    del truth.away[sensor]
    return False


def take_calibrated(truth: Truth, item: Calibrated) -> bool:
    """Puts a correction in force, or takes the last one back. False: there was none to take back."""
    sensor, last = item.sensor, truth.calibrations.get(item.sensor)
    if item.calibration is not None:
        truth.calibrations[sensor] = item.calibration
        if last is not None:
            truth.before[sensor] = last
        return True
    if last is None:
        return False
    del truth.calibrations[sensor]
    if sensor in truth.before:
        truth.calibrations[sensor] = truth.before.pop(sensor)
    return True


def take_away(truth: Truth, item: SensorsAway, wall_ms: int) -> None:
    """Notes sensors as out of their place, or (for 0) as back."""
    for sensor in item.sensors:
        truth.away.pop(sensor, None)
        if item.for_ms > 0:
            truth.away[sensor] = Away(wall_ms + min(item.for_ms, LONGEST_AWAY_MS), item.who)


def start_anew(state: SensorState) -> None:
    """The next value may be far from the last one: it is another scale, or another place."""
    state.value = None
    state.flat_count = 0


def checked_up_to(truth: Truth, sensor: SensorSettings, wall_ms: int) -> float:
    """The highest value the sensor was checked at, in its unit; 0 where no check is in date."""
    known = in_force(truth, sensor)
    return known.top if known is not None and in_date(known, wall_ms) else 0.0
