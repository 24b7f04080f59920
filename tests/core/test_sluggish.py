"""The lag between two sensors of the same air.

Outside: the first-order lag. A sensor with time constant tau ends up r x tau behind a ramp of speed r (1 a
minute and 90 s: 1.5 behind), and follows a step as 1 - exp(-t / tau): textbook, worked in the test. The
air of the test, mist every 15 min, is invented.
"""

from math import exp
from random import Random

import pytest

from gillhouse.core.sluggish import LEAST_WATCH_MS, SLOW_S, Pace, watch


def follow(air: list[float], tau_s: float, step_s: int = 10) -> list[float]:
    """A first-order sensor in an air given each `step_s`."""
    felt, said = air[0], []
    for value in air:
        felt = value + (felt - value) * exp(-step_s / tau_s)
        said.append(felt)
    return said


def misted(hours: float) -> list[float]:
    """Dew point of a room each 10 s: up by 1.5 K with each mist, and back by e in 5 min."""
    return [15.0 + 1.5 * exp(-(n * 10 % 900) / 300.0) for n in range(int(hours * 360))]


def lags(air: list[float], taus: tuple[float, float], noise_k: float = 0.0, offset_k: float = 0.0) -> Pace:
    rng, pace = Random(7), Pace()
    first, second = (follow(air, tau) for tau in taus)
    for n in range(0, len(air), 6):
        noise = rng.gauss(0.0, noise_k), rng.gauss(0.0, noise_k)
        watch(pace, first[n] + noise[0] + offset_k, second[n] + noise[1], offset_k, 60_000)
    return pace


def test_a_ramp_gives_the_difference_of_the_time_constants() -> None:
    """0.1 K a minute: 30 s and 330 s are 0.05 and 0.55 K behind, 300 s apart, once both have settled in."""
    air = [10.0 + n / 60.0 for n in range(360 * 8)]
    assert follow(air, 90.0)[-1] == pytest.approx(air[-1] - 0.1 * 1.5, abs=0.01)
    pace = lags(air, (30.0, 330.0))
    assert pace.second.lag_s == pytest.approx(300.0, rel=0.05)
    assert pace.first.lag_s == pytest.approx(-300.0, rel=0.05)


@pytest.mark.parametrize(
    ("taus", "slow"),
    [((30.0, 40.0), (False, False)), ((30.0, 120.0), (False, False)), ((40.0, 700.0), (False, True)),
     ((700.0, 40.0), (True, False))],
)  # fmt: skip
def test_a_dirty_cap_is_found_in_the_steps_of_the_mist(
    taus: tuple[float, float], slow: tuple[bool, bool]
) -> None:
    """Clean caps differ by up to 100 s and are left alone; a fixed gap of 1 K changes nothing."""
    pace = lags(misted(24), taus, noise_k=0.03, offset_k=1.0)
    assert (pace.first.slow, pace.second.slow) == slow


def test_air_that_stands_still_says_nothing_whatever_the_noise() -> None:
    pace = lags([15.0] * 360 * 12, (30.0, 900.0), noise_k=0.02)
    assert (pace.first.lag_s, pace.second.lag_s) == (0.0, 0.0)


def test_nothing_is_said_before_six_hours_and_a_cleaned_cap_is_well_again() -> None:
    pace = lags(misted(5.9), (40.0, 700.0))
    assert pace.second.lag_s > SLOW_S
    assert not pace.second.slow
    assert LEAST_WATCH_MS == 6 * 3_600_000
    pace = lags(misted(8), (40.0, 700.0))
    assert pace.second.slow
    clean = follow(misted(40), 45.0)
    quick = follow(misted(40), 40.0)
    for n in range(0, len(clean), 6):
        watch(pace, quick[n], clean[n], 0.0, 60_000)
    assert not pace.second.slow


def test_a_long_pause_is_not_a_step() -> None:
    pace = Pace()
    for n in range(500):
        watch(pace, 15.0 + n % 2, 15.0, 0.0, 600_000)
    assert (pace.weight, pace.watched_ms) == (0.0, 0)
