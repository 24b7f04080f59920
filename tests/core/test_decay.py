"""Air changes by CO2 decay.

The series is an invented decay of 16 readings (true 4.2 air changes an hour, noise up to 9 ppm, intake air of
425 ppm); its figures were worked with numpy and scipy apart from this code: log-linear least squares over all
rows, t(14; 0.975) = 2.1448. Method: concentration decay, one of the three techniques of ASTM E741 (scope and
terms; only the abstract was read). That CO2 must fall by a factor of three is common practice, no source.
"""

from itertools import pairwise
from math import exp
from random import Random

import pytest
from hypothesis import given
from hypothesis import strategies as st

from gillhouse.core.decay import (
    HOUR_MS,
    Decay,
    TooLittle,
    decay_curve,
    decay_line,
    falls,
    quiet_decays,
    quiet_spans,
)

WORKED = (1529, 1375, 1259, 1156, 1048, 969, 907, 829, 789, 738, 692, 667, 627, 605, 573, 564)
SERIES = [(n * 120_000, float(ppm)) for n, ppm in enumerate(WORKED)]
MINUTE_MS = 60_000


def test_the_worked_series() -> None:
    found = decay_line(SERIES, 425.0)
    assert found.points == 16
    assert found.changes.value == pytest.approx(4.2032, abs=1e-4)
    assert found.changes.low == pytest.approx(4.1340, abs=2e-4)
    assert found.changes.high == pytest.approx(4.2724, abs=2e-4)
    assert found.r2 == pytest.approx(0.999176, abs=1e-6)


def test_intake_air_believed_wrong_moves_it_out_of_the_interval_and_that_is_told() -> None:
    """25 ppm too low gives 3.9204, too high 4.5431: the interval covers scatter only."""
    found = decay_line(SERIES, 425.0)
    assert found.if_lower == pytest.approx(3.9204, abs=1e-4)
    assert found.if_higher == pytest.approx(4.5431, abs=1e-4)
    assert not found.changes.holds(found.if_lower)
    assert not found.changes.holds(found.if_higher)


def test_the_worked_series_with_the_level_unknown() -> None:
    """Three-parameter least squares (scipy): N 4.2049, level 425.1 ppm; standard error 0.083."""
    found = decay_curve(SERIES)
    assert found.changes.value == pytest.approx(4.2049, abs=1e-3)
    assert found.intake_ppm == pytest.approx(425.125, abs=0.2)
    assert found.changes.half / 2.1604 == pytest.approx(0.083, abs=0.04)  # t(13); neighbours may be alike


def test_a_source_inside_would_fool_the_line_and_does_not_fool_the_curve() -> None:
    """Single-zone balance (Batterman 2017): with a source CO2 tends to 625, not to the 425 outside."""
    rng = Random(3)
    series = [(n * 30_000, 625 + 900 * exp(-2.0 * n / 120) + rng.gauss(0, 8)) for n in range(240)]
    assert decay_curve(series).changes.holds(2.0)
    assert decay_line(series, 425.0).changes.high < 1.7


@pytest.mark.parametrize("changes", [0.4, 1.0, 4.0, 12.0])
def test_the_interval_holds_the_truth_about_as_often_as_it_says(changes: float) -> None:
    held = 0
    for seed in range(40):
        rng = Random(seed)
        last = 2.5 / changes * HOUR_MS
        series = [
            (int(ms), 425 + 1200 * exp(-changes * ms / HOUR_MS) + rng.gauss(0, 10))
            for ms in (last * n / 80 for n in range(80))
        ]
        held += decay_curve(series).changes.holds(changes)
    assert held >= 34, "95 % of 40 is 38; fewer than 34 has a chance of under 1 % (binomial)"


@pytest.mark.parametrize(
    ("series", "words"),
    [
        (SERIES[:5], "are the least"),
        (SERIES[:8], "fall to a third"),
        ([(n * 60_000, 440.0) for n in range(60)], "stand clear"),
    ],
)
def test_too_little_is_refused_with_the_reason(series: list[tuple[int, float]], words: str) -> None:
    with pytest.raises(TooLittle, match=words):
        decay_line(series, 425.0)


def test_a_curve_that_has_not_flattened_is_refused() -> None:
    rng = Random(1)
    straight = [(n * 60_000, 1500 - 3.0 * n + rng.gauss(0, 10)) for n in range(60)]
    with pytest.raises(TooLittle, match="flatten"):
        decay_curve(straight)
    with pytest.raises(TooLittle, match="only"):
        decay_curve([(n * 60_000, 700.0 + n % 2) for n in range(60)])


def test_quiet_parts_of_a_night() -> None:
    """By hand: busy 1:00-1:10 and 3:00-3:05 of six hours, ten minutes to settle, an hour the least."""
    hour = HOUR_MS
    busy = [(3 * hour, 3 * hour + 5 * MINUTE_MS), (hour, hour + 10 * MINUTE_MS)]
    assert quiet_spans((0, 6 * hour), busy, 10 * MINUTE_MS, hour) == [
        (0, hour),
        (hour + 20 * MINUTE_MS, 3 * hour),
        (3 * hour + 15 * MINUTE_MS, 6 * hour),
    ]
    assert quiet_spans((0, hour // 2), [], 0, hour) == []


def _evening(rng: Random) -> list[tuple[int, float]]:
    """People leave at 20:00 (1,800 ppm); the air is quiet until 02:00, 0.8 air changes, 440 ppm outside."""
    series = [(ms, 1800 + rng.gauss(0, 10)) for ms in range(18 * HOUR_MS, 20 * HOUR_MS, MINUTE_MS)]
    return series + [
        (ms, 440 + 1360 * exp(-0.8 * (ms - 20 * HOUR_MS) / HOUR_MS) + rng.gauss(0, 10))
        for ms in range(20 * HOUR_MS, 26 * HOUR_MS, MINUTE_MS)
    ]


@pytest.mark.parametrize("intake", [None, 440.0])
def test_a_quiet_evening_is_found_in_the_log(intake: float | None) -> None:
    series = _evening(Random(5))
    spans = quiet_spans((18 * HOUR_MS, 26 * HOUR_MS), [(18 * HOUR_MS, 20 * HOUR_MS)], 0, HOUR_MS)
    (found,) = quiet_decays(series, spans, intake)
    assert isinstance(found, Decay)
    assert found.changes.value == pytest.approx(0.8, rel=0.05)
    assert found.span[0] < 20 * HOUR_MS + 15 * MINUTE_MS


def test_a_hole_in_the_log_parts_it() -> None:
    series = [point for point in _evening(Random(5)) if not 21 * HOUR_MS < point[0] < 22 * HOUR_MS]
    stretches = list(falls(series, [(20 * HOUR_MS, 26 * HOUR_MS)]))
    assert len(stretches) == 2
    assert all(b[0] - a[0] <= 600_000 for part in stretches for a, b in pairwise(part))


@given(st.lists(st.tuples(st.integers(0, 86_400_000), st.floats(150, 40_000)), max_size=60))
def test_any_log_is_survived(points: list[tuple[int, float]]) -> None:
    series = sorted(points)
    for intake in (None, 425.0):
        for found in quiet_decays(series, [(0, 86_400_000)], intake):
            assert found.changes.low <= found.changes.value <= found.changes.high
            assert found.changes.high > 0
