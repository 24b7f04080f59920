"""Our verdicts beside the flags of an outside library, on the same series.

Source: outputs of ioos-qc 3.0.0 (`ioos_qc.qartod`, Apache-2.0), recorded once; its tests follow IOOS, Manual
for Real-Time Quality Control of In-situ Temperature and Salinity Data, v2.0 (2016). Flags: 1 good,
3 suspect, 4 fail, 9 missing. Limits there are arguments; ours are fixed, so the series are scaled until the
limits coincide, as each test says. Where we differ on purpose, the test says why.
"""

from math import isnan, nan

import pytest

from core.farm_parts import sensor
from gillhouse.core.inputs import Reading
from gillhouse.core.instant import Instant
from gillhouse.core.quality import SensorState, judge, remember
from gillhouse.core.quantities import Quantity
from gillhouse.core.readings import Mark, Quality, Verdict

RH = sensor("rh", Quantity.HUMIDITY, "room")
TEMP = sensor("temp", Quantity.TEMPERATURE, "room")


def verdicts(settings, series):
    """Of (seconds, value), each remembered before the next."""
    state, found = SensorState(heard_ms=0), []
    for n, (at_s, value) in enumerate(series, start=1):
        now, reading = Instant(0, int(at_s * 1000)), Reading(settings.id, value, 0)
        found.append(judge(settings, state, now, reading))
        remember(state, n, now, reading, found[-1])
    return found


RANGE = [(85.0, 1), (92.5, 1), (95.0, 1), (100.0, 3), (100.1, 4), (-0.1, 4), (nan, 9), (70.0, 1), (99.1, 3)]
"""gross_range_test(inp, fail_span=(0, 100), suspect_span=(70, 99)): its outputs that touch a limit of
ours."""


@pytest.mark.parametrize(("value", "flag"), RANGE)
def test_gross_range(value: float, flag: int) -> None:
    """Fail and missing are BAD. Suspect is a matter of the crop, not of the sensor: that is what alarms are
    for; 100.0 is saturation."""
    (verdict,) = verdicts(RH, [(0.0, value)])
    assert (verdict == Verdict(Quality.BAD, Mark.OUT_OF_RANGE)) is (flag in (4, 9))
    assert (verdict.mark is Mark.SATURATED) is (value == 100.0)


RATE = [(0, 18.0, 1), (60, 18.1, 1), (120, 18.3, 1), (180, 19.5, 3), (240, 22.5, 4), (840, 24.5, 1),
        (900, nan, 9), (960, 24.6, 1)]  # fmt: skip
"""rate_of_change_test(inp, tinp, threshold=0.01, fail_threshold=0.04), units per second: (s, value, flag)."""


def test_rate_of_change() -> None:
    """0.6 a minute there. Here 5 K/min and three steps of 0.1: over a minute 5.3, so values are stretched by
    5.3 / 0.6 (and moved, to stay in range). Suspect and fail are one to us: no such reading steers."""
    scaled = [(at, (value - 18.0) * 5.3 / 0.6 - 20.0) for at, value, _ in RATE]
    found = verdicts(TEMP, scaled)
    assert [verdict.mark is Mark.JUMPED for verdict in found] == [flag in (3, 4) for *_, flag in RATE]
    assert [verdict.quality is Quality.BAD for verdict in found] == [flag == 9 for *_, flag in RATE]


FLAT = [(93.1, 1), (93.4, 1), (93.2, 1), (95.0, 1), (95.0, 1), (95.0, 1), (95.0, 3), (95.0, 3), (95.0, 3),
        (95.0, 4), (95.0, 4), (94.0, 1), (nan, 9), (94.2, 1)]  # fmt: skip
"""flat_line_test(inp, tinp, suspect_threshold=180, fail_threshold=360, tolerance=0.05), 60 s steps."""


def test_flat_line() -> None:
    """Suspect there once a value has stood for 3 steps; here for 40 (20 min, and at least 36 readings): so
    three of its steps are made 40 of ours, 30 s each, filled with the same value where it stood still."""
    places = [round(n * 40 / 3) for n in range(len(FLAT))]
    series: list[tuple[float, float]] = []
    for n, (value, _) in enumerate(FLAT):
        series.append((places[n] * 30.0, value))
        if n + 1 == len(FLAT):
            break
        after = FLAT[n + 1][0]
        for between in range(places[n] + 1, places[n + 1]):
            moving = 93.0 + 0.1 * (between % 7)
            series.append((between * 30.0, value if value == after else moving))
    found = dict(zip([at for at, _ in series], verdicts(RH, series), strict=True))
    for place, (value, flag) in zip(places, FLAT, strict=True):
        verdict = found[place * 30.0]
        assert (verdict.mark is Mark.FLAT) is (flag in (3, 4)), (place, value)
        assert (verdict.quality is Quality.BAD) is isnan(value)


def test_near_saturation_a_flat_line_is_no_fault() -> None:
    """That library flags it; a fruiting space stands there for nights. Common practice, no source."""
    assert {one.mark for one in verdicts(RH, [(n * 30.0, 98.6) for n in range(200)])} == {Mark.NONE}
