"""Two unknowns followed through time: recursive least squares with a forgetting of its own for each of them.

What lives here: y = gain x1 + base x2, learnt from one (x1, x2, y) after another. What must not: what the
numbers mean (see `shadow`). How: each unknown may wander by a stated amount between two looks, which is what
makes old looks count less (a Kalman filter of a random walk; R. E. Kalman, J. Basic Eng. 82:35, 1960, from
memory). Gains are held between stated ends, doubts never grow past where they began, and a look that is not a
number is left out, so that the state stays finite whatever comes.
"""

from dataclasses import dataclass
from math import sqrt

LARGEST = 1e9
"""Of any number that is believed; NaN and infinity fail this too."""


@dataclass(frozen=True, slots=True)
class Walk:
    """One unknown: where it starts, how little that is trusted, how far it wanders, where it must stay."""

    start: float
    doubt: float
    """Standard deviation at the start, and at most."""
    wander_per_h: float
    """Standard deviation of its change within an hour; grows with the root of time."""
    low: float
    high: float


@dataclass(slots=True)
class Pair:
    """What is believed of the two unknowns."""

    gain: float
    base: float
    gain_var: float
    base_var: float
    both: float = 0.0
    """Covariance of the two."""

    @property
    def gain_doubt(self) -> float:
        return sqrt(max(self.gain_var, 0.0))


def fresh(gain: Walk, base: Walk) -> Pair:
    return Pair(gain.start, base.start, gain.doubt**2, base.doubt**2)


def predicted(pair: Pair, x_gain: float, x_base: float) -> float:
    return pair.gain * x_gain + pair.base * x_base


Look = tuple[float, float, float, float]
"""x of the gain, x of the base, y, and the standard deviation of y's scatter."""


def learn(pair: Pair, walks: tuple[Walk, Walk], hours: float, look: Look) -> bool:
    """Takes in one look.

    Args:
        hours: since the look before.
    Returns: whether it was taken in; a look that is no number, or beyond all reason, is not.
    """
    x_gain, x_base, y, scatter = look
    if not all(abs(value) < LARGEST for value in look) or scatter < 1.0 / LARGEST:
        return False
    if not 0.0 <= hours < LARGEST:
        return False
    gain, base = walks
    _age(pair, gain, base, hours)
    to_gain = pair.gain_var * x_gain + pair.both * x_base
    to_base = pair.both * x_gain + pair.base_var * x_base
    spread = x_gain * to_gain + x_base * to_base + scatter * scatter
    error = y - predicted(pair, x_gain, x_base)
    # An outlier (a door, a hose) moves no more than three times what was to be expected.
    most = 3.0 * sqrt(spread)
    error = min(max(error, -most), most)
    pair.gain = min(max(pair.gain + to_gain / spread * error, gain.low), gain.high)
    pair.base = min(max(pair.base + to_base / spread * error, base.low), base.high)
    pair.gain_var = max(pair.gain_var - to_gain * to_gain / spread, 1e-12)
    pair.base_var = max(pair.base_var - to_base * to_base / spread, 1e-12)
    pair.both -= to_gain * to_base / spread
    _keep_together(pair)
    return True


def _age(pair: Pair, gain: Walk, base: Walk, hours: float) -> None:
    most_gain, most_base = gain.doubt**2, base.doubt**2
    pair.gain_var = min(pair.gain_var + gain.wander_per_h**2 * hours, most_gain)
    pair.base_var = min(pair.base_var + base.wander_per_h**2 * hours, most_base)
    _keep_together(pair)


def _keep_together(pair: Pair) -> None:
    """Two unknowns cannot be more alike than the same."""
    most = 0.999 * sqrt(pair.gain_var * pair.base_var)
    pair.both = min(max(pair.both, -most), most)
