"""What a cheap sensor makes of the truth: lag, bias, noise, last digit, a wet cap, a lost report, a dead one.

Ranges of the room reference [invented except where marked]: first-order lag 20 to 120 s for humidity in a
filter cap, 45 to 120 s for CO2, 30 to 150 s for temperature; noise 0.1 to 0.5 %, 5 to 20 ppm, 0.05 K; steps
0.1 / 1 / 0.1; a fixed error of each sensor; exactly 100.0 while wet and for minutes after.
"""

from dataclasses import dataclass
from enum import Enum
from math import exp
from random import Random

from gillhouse.core.quantities import Quantity


@dataclass(frozen=True, slots=True)
class Make:
    """One kind of sensor."""

    lag_s: tuple[float, float]
    noise: float
    digit: float
    error: float
    """Largest fixed error of one whose settings state none."""


MAKES: dict[Quantity, Make] = {
    Quantity.HUMIDITY: Make((30.0, 80.0), 0.25, 0.1, 2.0),
    Quantity.TEMPERATURE: Make((40.0, 100.0), 0.05, 0.1, 0.3),
    Quantity.CO2: Make((50.0, 90.0), 10.0, 1.0, 40.0),
    Quantity.PRESSURE: Make((1.0, 1.0), 0.05, 0.1, 1.0),
    Quantity.LIGHT: Make((1.0, 1.0), 2.0, 1.0, 10.0),
    Quantity.WIND: Make((5.0, 10.0), 0.1, 0.1, 0.2),
}
SWITCH = Make((0.0, 0.0), 0.0, 1.0, 0.0)
"""Door, tank, people, mains: a contact, without lag or noise."""
WET_PCT = 99.6
"""At this and over, droplets form on the element and it reads exactly 100.0..."""
DRIES_S = 240.0
"""... and for so long after the air has left it again: a wet element dries in minutes [invented]."""
TRUST = 0.6
"""A sensor's fixed error is at most this share of the error its settings state."""
LOST_SHARE = 0.01
"""Reports that never arrive [0.005 to 0.03]."""


class Health(Enum):
    WELL = "well"
    DEAD = "dead"
    """Says nothing."""
    FROZEN = "frozen"
    """Says its last value again and again."""


class SimSensor:
    """One sensor: follows the truth, is asked for its value."""

    def __init__(self, sensor: str, quantity: Quantity, stated_error: float, seed: int) -> None:
        self.sensor, self.quantity = sensor, quantity
        self.health = Health.WELL
        self.make = MAKES.get(quantity, SWITCH)
        self._rng = Random(f"sensor {seed} {sensor}")
        self.lag_s = self._rng.uniform(*self.make.lag_s)
        most = TRUST * stated_error if stated_error else self.make.error
        self.bias = self._rng.uniform(-most, most)
        self._felt: float | None = None
        self._said: float | None = None
        self._wet_s = 0.0
        """How long droplets will still be on the element."""

    @property
    def felt(self) -> float | None:
        """What the element is at, before error, noise and last digit; None before it felt anything."""
        return self._felt

    def feel(self, truth: float, seconds: float) -> None:
        """Lets the element follow `truth`, which held for the last `seconds`."""
        if self._felt is None or self.lag_s <= 0.0:
            self._felt = truth
        else:
            self._felt += (truth - self._felt) * (1.0 - exp(-seconds / self.lag_s))
        if self.quantity is Quantity.HUMIDITY:
            self._wet_s = DRIES_S if self._felt >= WET_PCT else max(0.0, self._wet_s - seconds)

    def says(self) -> float | None:
        """The value it reports now, in the quantity's canonical unit; None from a dead one.

        The noise goes on whatever its health, so that a fault does not change the rest of the night.
        """
        noise = self._rng.gauss(0.0, 1.0) * self.make.noise
        if self.health is Health.DEAD or self._felt is None:
            return None
        if self.health is Health.FROZEN and self._said is not None:
            return self._said
        value = self._felt + self.bias + noise
        if self.quantity is Quantity.HUMIDITY:
            value = 100.0 if self._wet_s else min(100.0, max(0.0, value))
        self._said = round(round(value / self.make.digit) * self.make.digit, 3)
        return self._said

    def lost(self) -> bool:
        """Whether radio loses this report."""
        return self._rng.random() < LOST_SHARE
