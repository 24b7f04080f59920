"""One value per space and quantity, from the sensors that may steer.

Nothing here judges a reading (see `quality`) or decides anything. Humidity follows the rule of the house:
with three or more sensors the median steers and the driest place alarms; with fewer, the one with a
calibration in date steers, else their mean. Where no sensor may steer, the last good value holds for ten
minutes, then there is none.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from statistics import median

from gillhouse.core.quantities import Quantity
from gillhouse.core.settings import Combine

HOLD_MS = 600_000
"""The last good value stands in for this long when every sensor of a quantity has gone."""

SATURATED_FROM = 100.0
"""Humidity at this value is 'at least'."""

DEFAULT_COMBINE: dict[Quantity, Combine] = {
    Quantity.HUMIDITY: Combine.CALIBRATED,
    Quantity.CO2: Combine.HIGHEST,
    Quantity.TEMPERATURE: Combine.MEDIAN,
}


@dataclass(slots=True)
class Sample:
    """The last good value of one sensor that may steer."""

    sensor: str
    value: float
    mono_ms: int
    seq: int
    calibrated: bool = False
    error: float = 0.0


@dataclass(slots=True)
class Estimate:
    """What a space believes of one quantity."""

    value: float | None = None
    """What steers; None when nothing is known."""
    lowest: float | None = None
    """For alarms on the low side: the driest or coldest place where three or more sensors watch."""
    highest: float | None = None
    held: bool = False
    """No sensor steers; `value` is the last good one."""
    mono_ms: int = 0
    """When the newest reading in it came."""
    seqs: tuple[int, ...] = ()
    """Journal numbers of the readings in it, newest first."""
    sensors: tuple[str, ...] = ()
    trusted: bool = False
    """A sensor with a calibration in date is among them."""
    error: float = 0.0
    """Stated error of what steers."""
    spread: float = 0.0
    """How far apart the sensors are, where there are several."""

    @property
    def steers(self) -> bool:
        """There is a value, fresh or held."""
        return self.value is not None

    @property
    def fresh(self) -> bool:
        """There is a value from a sensor that reports now."""
        return self.value is not None and not self.held


def _steering(combine: Combine, samples: Sequence[Sample]) -> tuple[float, Sequence[Sample]]:
    """The steering value and the samples it came from."""
    values = [sample.value for sample in samples]
    if combine is Combine.HIGHEST:
        chosen = max(samples, key=lambda sample: sample.value)
        return chosen.value, (chosen,)
    if combine is Combine.LOWEST:
        chosen = min(samples, key=lambda sample: sample.value)
        return chosen.value, (chosen,)
    if combine is Combine.CALIBRATED and len(samples) < 3:
        samples = [sample for sample in samples if sample.calibrated] or samples
        return sum(sample.value for sample in samples) / len(samples), samples
    return float(median(values)), samples


def combined(combine: Combine, samples: Sequence[Sample]) -> Estimate:
    """The estimate made of samples that may all steer; there must be at least one."""
    if len(samples) == 1:  # nearly every space, on every reading
        (only,) = samples
        value = only.value
        return Estimate(
            value, value, value, False, only.mono_ms, (only.seq,), (only.sensor,), only.calibrated, only.error
        )
    value, chosen = _steering(combine, samples)
    newest = sorted(chosen, key=lambda sample: (-sample.mono_ms, -sample.seq))
    watching = samples if len(samples) >= 3 else chosen
    return Estimate(
        value=value,
        lowest=min(sample.value for sample in watching) if len(samples) >= 3 else value,
        highest=max(sample.value for sample in watching) if len(samples) >= 3 else value,
        mono_ms=newest[0].mono_ms,
        seqs=tuple(sample.seq for sample in newest),
        sensors=tuple(sample.sensor for sample in newest),
        trusted=any(sample.calibrated for sample in chosen),
        error=max(sample.error for sample in chosen),
        spread=max(sample.value for sample in samples) - min(sample.value for sample in samples),
    )


def without(last: Estimate, mono_ms: int) -> Estimate:
    """What is left when no sensor may steer: the last value for `HOLD_MS`, then nothing."""
    if last.value is None or mono_ms - last.mono_ms >= HOLD_MS:
        return Estimate()
    if last.held:
        return last
    return Estimate(
        value=last.value,
        lowest=last.lowest,
        highest=last.highest,
        held=True,
        mono_ms=last.mono_ms,
        seqs=last.seqs,
        sensors=last.sensors,
        trusted=last.trusted,
        error=last.error,
    )
