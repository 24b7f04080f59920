"""Wet caps, cobweb and green mould, mesh: against published figures and worked by hand."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from ahead.outside_tables import rows
from gillhouse.ahead.cap_wet import CALL_H, HOLD_MS, WARN_H, AirAt, WetCaps, wet_caps
from gillhouse.ahead.mesh import MOSQUITO_MM, keeps_out, opening_mm
from gillhouse.ahead.moulds import COBWEB, cobweb_hours, cobweb_share, hours_over
from gillhouse.core.air import deficit_kpa, dew_point_c
from gillhouse.core.drying import kept_warm_mm_per_day, shade_mm_per_day

MIN, HOUR = 60_000, 3_600_000


@pytest.mark.parametrize("row", rows("dew_and_drying"), ids=lambda row: f"{row['temp_c']}-{row['rh_pct']}")
def test_dew_and_drying(row: dict[str, str]) -> None:
    """25 pairs worked apart after FAO-56 and Penman without radiation; ours goes by Hyland and Wexler, which
    differs by less than half a percent here."""
    temp, humidity = float(row["temp_c"]), float(row["rh_pct"])
    assert dew_point_c(temp, humidity) == pytest.approx(float(row["dew_point_c"]), abs=0.02)
    assert AirAt(0, temp, humidity).margin_c == pytest.approx(float(row["drop_to_dew_c"]), abs=0.02)
    assert deficit_kpa(temp, humidity) == pytest.approx(float(row["vpd_kpa"]), rel=0.005)
    assert kept_warm_mm_per_day(temp, humidity, 0) == pytest.approx(
        float(row["drying_still_mm_day"]), rel=0.01
    )
    assert kept_warm_mm_per_day(temp, humidity, 1) == pytest.approx(
        float(row["drying_u2_1ms_mm_day"]), rel=0.01
    )
    assert shade_mm_per_day(temp, humidity, 0) == pytest.approx(
        float(row["shade_evap_still_mm_day"]), abs=0.002
    )


def steady(temp: float, humidity: float, hours: float, every_ms: int = 5 * MIN) -> list[AirAt]:
    return [AirAt(at, temp, humidity) for at in range(0, round(hours * HOUR), every_ms)]


@pytest.mark.parametrize(("humidity", "hours"), [(90, 6.9), (85, 4.6)])
def test_a_misted_cap_stays_wet_as_long_as_the_film_lasts(humidity: float, hours: float) -> None:
    """A film of 0.05 mm at 16 C in still shade: 0.175 mm a day at 90 % is 6.9 h, 0.263 at 85 % is 4.6 h."""
    found = wet_caps(steady(16, humidity, 12), [(0, MIN)], 12 * HOUR)
    (span,) = found.spans
    assert (span[1] - span[0]) / HOUR == pytest.approx(hours, abs=0.1)
    assert found.longest_h == pytest.approx(found.wet_h)


def test_a_fan_dries_them_by_half_again() -> None:
    """1 m/s over the bed: 1.536 times as fast (the wind term of Penman as restated by Shuttleworth, 1993)."""
    still = wet_caps(steady(16, 85, 12), [(0, MIN)], 12 * HOUR)
    moved = wet_caps(steady(16, 85, 12), [(0, MIN)], 12 * HOUR, wind_m_s=1.0)
    assert (still.wet_h - 1 / 60) / (moved.wet_h - 1 / 60) == pytest.approx(1.536, rel=0.01)


def test_dry_air_without_mist_wets_nothing() -> None:
    found = wet_caps(steady(16, 90, 6), [], 6 * HOUR)
    assert (found.spans, found.known_ms) == ((), 6 * HOUR)
    assert found.least_margin_c == pytest.approx(1.64, abs=0.01)
    assert found.mean_margin_c == pytest.approx(1.64, abs=0.01)


def test_air_near_dew_wets_without_mist() -> None:
    """98 % at 16 C is 0.32 C over dew: under half a degree."""
    found = wet_caps(steady(16, 98, 3), [], 3 * HOUR)
    assert found.wet_h == pytest.approx(3.0)
    assert found.longer_than(WARN_H) == ((0, 3 * HOUR),)
    assert found.longer_than(CALL_H) == ()


def test_a_fall_past_the_margin_within_half_an_hour_wets() -> None:
    """At 16 C and 92 % dew is 1.30 C away: a fall of 1.6 C in half an hour passes it, of 1.0 C not."""
    for fall, wet in ((1.6, True), (1.0, False)):
        air = [*steady(16, 92, 1), *(AirAt(HOUR + at, 16 - fall, 92) for at in range(0, 20 * MIN, 5 * MIN))]
        assert bool(wet_caps(air, [], HOUR + 20 * MIN).spans) is wet


def test_a_hole_in_the_log_is_not_known() -> None:
    air = [AirAt(0, 16, 98), AirAt(5 * HOUR, 16, 98)]
    found = wet_caps(air, [], 5 * HOUR + MIN)
    assert found.known_ms == HOLD_MS + MIN
    assert found.spans == ((0, HOLD_MS), (5 * HOUR, 5 * HOUR + MIN))
    assert wet_caps([], [], HOUR) == WetCaps((), 0, None, None)


@given(
    st.lists(st.tuples(st.floats(0, 30), st.floats(0, 104)), max_size=40),
    st.lists(st.tuples(st.integers(0, 300), st.integers(1, 30)), max_size=4),
)
def test_wet_spans_are_in_order_and_within_what_is_known(
    air: list[tuple[float, float]], mist: list[tuple[int, int]]
) -> None:
    told = [AirAt(place * 10 * MIN, temp, humidity) for place, (temp, humidity) in enumerate(air)]
    end = len(told) * 10 * MIN
    found = wet_caps(told, sorted((at * MIN, (at + long) * MIN) for at, long in mist), end)
    assert found.known_ms == end
    assert found.wet_h * HOUR <= end + 1
    edges = [ms for span in found.spans for ms in span]
    assert edges == sorted(edges)
    assert all(0 <= ms <= end for ms in edges)


# --- moulds --------------------------------------------------------------------------------------------


def test_hours_inside_a_block_over_each_step() -> None:
    assert hours_over([29, 30, 30.1, 33.5, 36.5, 37]) == {30.0: 4, 33.0: 3, 36.0: 2}


def test_cobweb_by_its_published_figures() -> None:
    """Best at 25 C, 3-5 times slower at 18, none at 15, 5, -18, 65-120 times slower at 31, limit 34-35."""
    assert cobweb_share(25) == 1.0
    assert 3 <= 1 / cobweb_share(18) <= 5
    assert [cobweb_share(temp) for temp in (15, 5, -18, 34.5, 40)] == [0.0] * 5
    assert 65 <= 1 / cobweb_share(31) <= 120
    assert cobweb_hours([25, 25, 18, 10]) == 2.25


@given(st.floats(-20, 45))
def test_cobweb_never_beats_its_best(temp: float) -> None:
    assert 0.0 <= cobweb_share(temp) <= 1.0
    assert COBWEB[2] == (25.0, 1.0)


# --- mesh ----------------------------------------------------------------------------------------------


def test_sixteen_threads_a_cm_agree_with_half_a_millimetre() -> None:
    """A pitch of 0.625 mm; with threads of 0.15 to 0.20 mm the hole is 0.43 to 0.48 mm."""
    assert opening_mm(16, 0.15) == pytest.approx(0.475)
    assert opening_mm(16, 0.20) == pytest.approx(0.425)
    assert keeps_out(opening_mm(16, 0.15)) and not keeps_out(MOSQUITO_MM)
    assert opening_mm(40, 0.3) == 0.0
    with pytest.raises(ValueError, match="give a number over 0"):
        opening_mm(0, 0.2)
