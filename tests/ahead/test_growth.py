"""Growth by warmth against a published curve, and the pace of a log against one made by hand."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from ahead.outside_tables import rows
from gillhouse.ahead.growth import (
    DAY_MS,
    MYCELIUM,
    NOT_SOURCED,
    Cardinal,
    Crop,
    harvest_window,
    pace_of,
    relative_rate,
    spawn_days,
)


@pytest.mark.parametrize("row", rows("growth_curve"), ids=lambda row: f"{row['set'][:9]}-{row['temp_c']}")
def test_the_curve_is_the_published_one(row: dict[str, str]) -> None:
    """growth_curve.csv: the documentation of a growth package (5, 20, 30) and lion's mane 3, 26, 37; to
    1e-6.
    """
    cardinal = Cardinal(float(row["tmin_c"]), float(row["topt_c"]), float(row["tmax_c"]), "table")
    assert relative_rate(float(row["temp_c"]), cardinal) == pytest.approx(
        float(row["relative_rate"]), abs=1e-6
    )


@given(st.floats(3.01, 36.99), st.floats(-40, 3) | st.floats(37, 60))
def test_growth_is_a_share_and_none_outside(inside_c: float, outside_c: float) -> None:
    cardinal = MYCELIUM["lions-mane"]
    assert 0.0 < relative_rate(inside_c, cardinal) <= 1.0 + 1e-9
    assert relative_rate(outside_c, cardinal) == 0.0


def test_the_best_must_lie_over_the_middle() -> None:
    with pytest.raises(ValueError, match="best 15 C"):
        relative_rate(10.0, Cardinal(5.0, 15.0, 30.0, "x"))


def test_a_spawn_run_slows_down_as_the_curve_says_and_only_for_a_sourced_species() -> None:
    """By hand: r(10) / r(23) of lion's mane = 0.2138 / 0.9500 -> 14 and 21 days become 62 and 93."""
    usual_c = 23.0
    slower = relative_rate(usual_c, MYCELIUM["lions-mane"]) / 0.213835
    said = spawn_days([10.0] * 24, "lions-mane", (14.0, 21.0), usual_c)
    assert said == f"{14 * slower:.0f} to {21 * slower:.0f} days at these temperatures"
    assert spawn_days([2.0], "lions-mane", (14.0, 21.0), usual_c) == "stands still at these temperatures"
    assert spawn_days([10.0], "grey-oyster", (14.0, 21.0), usual_c) == NOT_SOURCED


def made(zero_c: float, sum_dd: float, temps: list[float]) -> list[Crop]:
    return [Crop(temp, sum_dd / (temp - zero_c)) for temp in temps]


def test_the_logs_own_pace_is_found_again() -> None:
    found = pace_of(made(4.0, 60.0, [10, 11, 12, 13, 14, 15, 16, 17]))
    assert found is not None
    assert (found.zero_c, found.sum_dd) == (pytest.approx(4.0), pytest.approx(60.0))
    assert found.off_share == pytest.approx(0.0, abs=1e-9)


def test_too_few_too_near_or_upside_down_says_nothing() -> None:
    assert pace_of(made(4.0, 60.0, [10, 11, 12, 13, 14, 15, 16])) is None
    assert pace_of(made(4.0, 60.0, [15.0, 15.5, 16.0, 16.5, 17.0, 17.5, 18.0, 18.9])) is None
    assert pace_of([Crop(10.0 + at, 4.0 + at) for at in range(8)]) is None


def test_the_window_is_from_the_log_first_then_the_species_file() -> None:
    pace = pace_of(made(4.0, 60.0, [10, 11, 12, 13, 14, 15, 16, 17]))
    own = harvest_window(0, 16.0, pace, (4.0, 9.0))
    assert (
        own is not None and own.from_ms == pytest.approx(5 * DAY_MS, abs=10) and "your own log" in own.source
    )
    usual = harvest_window(0, 16.0, None, (4.0, 9.0))
    assert usual is not None and (usual.from_ms, usual.to_ms) == (4 * DAY_MS, 9 * DAY_MS)
    assert harvest_window(0, 16.0, None, None) is None
    cold = harvest_window(0, 3.0, pace, None)
    assert cold is None
