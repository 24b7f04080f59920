"""CO2 people breathed, as averages over 8 hours and 15 minutes.

Worked examples: 4 h at 8,000 ppm and 4 h at 1,000 make 4,500 over 8 h; 8 h at 5,000 make 5,000 (by hand; a
time-weighted average as in 29 CFR 1910.1000(d)). Limits: 5,000 ppm over 8 h (OSHA PEL, NIOSH REL, ACGIH TLV,
HSE EH40), 15,000 ppm over 15 min (HSE EH40), as quoted in OSHA chemical sampling information CH_225400 and
in articles on EH40.
"""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from core.farm_parts import WALL_MS
from core.mode_parts import CALM, Room
from gillhouse.core.breathed import (
    OUTDOOR_PPM,
    QUARTER_MIN,
    SHIFT_MIN,
    Breathed,
    average,
    note,
    step,
    unknown_min,
)
from gillhouse.core.inputs import Act

MINUTE_MS = 60_000


def worked(*spans: tuple[int, float | None]) -> tuple[Breathed, int]:
    """Minutes inside with CO2, one after the other; and the wall time at the end."""
    known, at = Breathed(), WALL_MS - WALL_MS % MINUTE_MS
    begun = at
    for minutes, ppm in spans:
        for _ in range(minutes):
            note(known, ppm, begun, at)
            at += MINUTE_MS
    return known, at - MINUTE_MS


@pytest.mark.parametrize(
    ("spans", "mean"), [(((240, 8000.0), (240, 1000.0)), 4500.0), (((480, 5000.0),), 5000.0)]
)
def test_the_worked_examples(spans: tuple[tuple[int, float], ...], mean: float) -> None:
    assert average(*_over(worked(*spans), SHIFT_MIN)) == pytest.approx(mean, abs=0.5)


def _over(made: tuple[Breathed, int], minutes: int) -> tuple[Breathed, int, int]:
    return made[0], minutes, made[1]


def test_minutes_outside_count_as_outdoor_air() -> None:
    """Two hours at 5,000 and six outside: (2 x 5000 + 6 x 425) / 8."""
    mean = average(*_over(worked((120, 5000.0)), SHIFT_MIN))
    assert mean == pytest.approx((2 * 5000 + 6 * OUTDOOR_PPM) / 8, abs=0.5)


def test_a_quarter_of_an_hour_looks_at_its_own_minutes_alone() -> None:
    assert average(*_over(worked((60, 20_000.0), (15, 1000.0)), QUARTER_MIN)) == pytest.approx(1000.0)


def test_a_minute_without_a_reading_counts_as_the_others_and_is_told() -> None:
    known, at = worked((10, 4000.0), (10, None))
    assert average(known, 20, at) == pytest.approx(4000.0)
    assert unknown_min(known.ppm) == 10
    assert average(*_over(worked((10, None)), SHIFT_MIN)) is None


def test_after_a_long_hole_the_present_value_does_not_speak_for_all_of_it() -> None:
    known = Breathed()
    note(known, 1000.0, WALL_MS, WALL_MS)
    note(known, 9000.0, WALL_MS, WALL_MS + 60 * MINUTE_MS)
    assert unknown_min(known.ppm) == 50


@given(st.lists(st.tuples(st.integers(1, 90), st.floats(400, 40_000)), min_size=1, max_size=12))
def test_a_mean_lies_between_outdoor_air_and_the_worst(spans: list[tuple[int, float]]) -> None:
    known, at = worked(*spans)
    assert len(known.minutes) <= SHIFT_MIN
    mean = average(known, SHIFT_MIN, at)
    assert mean is not None
    assert (
        min(OUTDOOR_PPM, *(ppm for _, ppm in spans)) - 1
        <= mean
        <= max(OUTDOOR_PPM, *(ppm for _, ppm in spans)) + 1
    )


@given(st.integers(-(10**12), 10**12))
def test_a_clock_that_is_set_changes_no_mean(by_ms: int) -> None:
    known, at = worked((60, 5000.0), (30, 900.0))
    before = average(known, SHIFT_MIN, at)
    whole = by_ms - by_ms % MINUTE_MS
    step(known, whole)
    assert average(known, SHIFT_MIN, at + whole) == pytest.approx(before)


def test_too_much_over_a_shift_calls_when_the_mean_is_over_the_limit() -> None:
    """9,000 ppm inside, 425 outside: over 5,000 over 8 h after (5000 - 425) x 480 / 8575 = 256 min."""
    bench = Room()
    climb = [*range(700, 9000, 1500), 9000]
    for ppm in climb:
        bench.every(30, 1, **{**CALM, "room_rh": 90.0, "room_co2": float(ppm)})
    begun = None
    for minute in range(275):
        if minute % 60 == 0:
            bench.does(Act.INSIDE)
            begun = bench.ms if begun is None else begun
        bench.air(1, room_rh=90.0, room_co2=9000.0)
    rung = [ms for ms, notice in bench.notices if notice.kind == "co2-shift" and notice.announce]
    assert begun is not None
    assert 256 <= (rung[0] - begun) / MINUTE_MS <= 259
    assert not bench.announced("co2-quarter")
