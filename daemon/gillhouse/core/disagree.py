"""Two humidity sensors of one space, held against each other by dew point.

What lives here: how far apart two may be by what they state of themselves, and the slow mean that says they
are. What must not: settings, spaces, what is told of it (see `findings`). Relative humidity cannot be
compared: at 18 C and 90 % half a kelvin between two places makes nearly three points (by the saturation
pressure, ASHRAE 2017 ch. 1 eqn 6). Dew point can: it is the same all over mixed air, warm corner or cold.
"""

from dataclasses import dataclass
from math import exp, hypot
from typing import Final

from gillhouse.core.air import dew_point_c, saturation_pa, vapour_pa

TAU_MS: Final = 3_600_000
"""The gap is averaged over about this long, so that a mist pulse beside one of them does not count."""

LEAST_WATCH_MS: Final = 2 * TAU_MS
"""Nothing is said before two sensors were heard together for so long."""

FAR: Final = 3.0
"""So many times what is allowed is no slow drift..."""

FAR_MS: Final = 15 * 60_000
"""... and told after so long, whatever the mean. Our choice."""

LONGEST_STEP_MS: Final = 300_000
"""A pause longer than this counts no more than this."""

LEAST_GAP_K: Final = 0.5
"""A smaller gap is air that is not quite mixed. Common practice, no source."""

ENDS_AT: Final = 0.7
"""A disagreement ends when the gap is back under this share of what is allowed."""

ASSUMED_ERROR_PCT: Final = 3.0
"""Of a humidity sensor that states none: data sheets of cheap capacitive ones say 2 to 3 %."""

ASSUMED_ERROR_K: Final = 0.5
"""Of a thermometer that states none. Common practice, no source."""


@dataclass(frozen=True, slots=True)
class Moist:
    """What one sensor says of the air at its place, and how sure it is. Errors 0: none stated."""

    temperature_c: float
    humidity_pct: float
    error_pct: float
    error_k: float
    thermometer: str
    """Id: two that share one share its error too."""


@dataclass(slots=True)
class Gap:
    """What is remembered of a pair. Kelvin of dew point, first minus second."""

    mean_k: float = 0.0
    watched_ms: int = 0
    far_ms: int = 0
    """How long they have been far apart, without a break."""
    apart: bool = False


def dew_gap_k(first: Moist, second: Moist) -> float:
    """Dew point of the first less that of the second, K."""
    return dew_c(first) - dew_c(second)


def dew_c(one: Moist) -> float:
    """Dew point at a sensor, C."""
    return dew_point_c(one.temperature_c, max(one.humidity_pct, 1.0))


def gap_points(first: Moist, second: Moist) -> float:
    """The same gap as points of relative humidity, at the temperature between them."""
    middle = (first.temperature_c + second.temperature_c) / 2
    vapours = [vapour_pa(one.temperature_c, one.humidity_pct) for one in (first, second)]
    return 100.0 * (vapours[0] - vapours[1]) / saturation_pa(middle)


def allowed_k(first: Moist, second: Moist) -> float:
    """How far apart their dew points may be by their stated errors, taken as independent, K."""
    parts = [_humidity_part_k(first), _humidity_part_k(second)]
    if first.thermometer != second.thermometer:
        parts += [one.error_k or ASSUMED_ERROR_K for one in (first, second)]
    return max(hypot(*parts), LEAST_GAP_K)


def _humidity_part_k(one: Moist) -> float:
    """What its humidity error makes of its dew point, K."""
    error = one.error_pct or ASSUMED_ERROR_PCT
    humidity = max(one.humidity_pct, error + 1.0)
    return dew_point_c(one.temperature_c, humidity) - dew_point_c(one.temperature_c, humidity - error)


def watch(gap: Gap, first: Moist, second: Moist, elapsed_ms: int) -> bool:
    """Takes one look at a pair `elapsed_ms` after the last; returns whether they disagree."""
    step_ms = min(elapsed_ms, LONGEST_STEP_MS)
    now_k = dew_gap_k(first, second)
    share = 1.0 - exp(-step_ms / TAU_MS) if gap.watched_ms else 1.0
    gap.mean_k += share * (now_k - gap.mean_k)
    gap.watched_ms = min(gap.watched_ms + step_ms, LEAST_WATCH_MS)
    allowed = allowed_k(first, second)
    far = abs(now_k) > FAR * allowed and elapsed_ms <= LONGEST_STEP_MS
    gap.far_ms = min(gap.far_ms + step_ms, FAR_MS) if far else 0
    limit = allowed * (ENDS_AT if gap.apart else 1.0)
    by_mean = gap.watched_ms >= LEAST_WATCH_MS and abs(gap.mean_k) > limit
    gap.apart = by_mean or gap.far_ms >= FAR_MS
    return gap.apart
