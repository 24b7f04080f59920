"""Bands on their way: between old and new at every moment, never back, over within a day."""

import pytest
from hypothesis import assume, example, given, settings
from hypothesis import strategies as st

from gillhouse.core.crops import Band
from gillhouse.core.quantities import Quantity
from gillhouse.core.ramps import LONGEST_MS, STEP_MS, Ramp, between, length_ms, reached

EDGES = ("alarm_low", "low", "target", "high", "alarm_high")
QUANTITIES = st.sampled_from([Quantity.HUMIDITY, Quantity.TEMPERATURE, Quantity.CO2])
HOUR_MS = 3_600_000


@st.composite
def bands(draw: st.DrawFn) -> Band:
    """Any band in order, any edge open; tenths, as people write them."""
    figures = sorted(draw(st.lists(st.integers(0, 60_000), min_size=5, max_size=5, unique=True)))
    alarm_low, low, target, high, alarm_high = (
        None if draw(st.booleans()) else figure / 10 for figure in figures
    )
    return Band(low, high, target, alarm_low, alarm_high, "invented")


def steps(quantity: Quantity, old: Band, new: Band) -> list[Band]:
    whole = length_ms(quantity, old, new)
    return [between(quantity, old, new, ms) for ms in range(0, whole + STEP_MS, STEP_MS)]


def open_as(side: str, value: float | None) -> float:
    """An open edge as a number: nothing is below an open low one, nothing above an open high one."""
    far = float("-inf") if side.endswith("low") else float("inf")
    return far if value is None else value


@settings(max_examples=300)
@given(QUANTITIES, bands(), bands())
def test_every_edge_lies_between_old_and_new(quantity: Quantity, old: Band, new: Band) -> None:
    for band in steps(quantity, old, new):
        for edge in EDGES:
            if edge == "target":
                continue  # an aim only has to lie inside the band, see below
            here, there = open_as(edge, getattr(old, edge)), open_as(edge, getattr(new, edge))
            value = open_as(edge, getattr(band, edge))
            assert min(here, there) <= value <= max(here, there), (edge, band)


@settings(max_examples=300)
@given(QUANTITIES, bands(), bands())
def test_edges_never_turn_back(quantity: Quantity, old: Band, new: Band) -> None:
    way = steps(quantity, old, new)
    for edge in EDGES[:2] + EDGES[3:]:
        values = [open_as(edge, getattr(band, edge)) for band in way]
        assert values in (sorted(values), sorted(values, reverse=True)), (edge, values)


@example(
    Quantity.TEMPERATURE,
    Band(None, 0.3, 0.2, None, 0.4, "a limit at once, over an aim"),
    Band(0.4, 0.6, 0.5, 0.3, 0.7, "new"),
)
@example(
    Quantity.TEMPERATURE,
    Band(None, 0.3, None, None, 0.4, "a limit at once, over the high edge"),
    Band(0.5, 0.7, None, 0.45, 0.8, "new"),
)
@settings(max_examples=300)
@given(QUANTITIES, bands(), bands())
def test_alarm_limits_stay_outside_the_wish_all_the_way(quantity: Quantity, old: Band, new: Band) -> None:
    for band in steps(quantity, old, new):
        given_edges = [value for edge in EDGES if (value := getattr(band, edge)) is not None]
        assert given_edges == sorted(given_edges), band


@settings(max_examples=300)
@given(QUANTITIES, bands(), bands())
def test_it_ends_at_the_new_band_within_a_day(quantity: Quantity, old: Band, new: Band) -> None:
    whole = length_ms(quantity, old, new)
    assert whole <= LONGEST_MS
    assert whole % STEP_MS == 0
    assert between(quantity, old, new, whole) == new


@given(bands(), bands(), st.integers(0, LONGEST_MS))
def test_a_limit_about_survival_is_never_held_off(old: Band, new: Band, at_ms: int) -> None:
    """A temperature alarm that the new stage has is there from the first moment, whatever the old one had."""
    band = between(Quantity.TEMPERATURE, old, new, at_ms)
    for edge in ("alarm_low", "alarm_high"):
        assert (getattr(band, edge) is None) == (getattr(new, edge) is None)


def test_the_way_by_hand() -> None:
    """20..24 to 12..16 C; the low limit has 9 K to go, so 9 h at 1 K an hour; a third after 3 h."""
    old, new = Band(20, 24, None, 15, 28, "a"), Band(12, 16, None, 6, 20, "b")
    assert length_ms(Quantity.TEMPERATURE, old, new) == 9 * HOUR_MS
    third = between(Quantity.TEMPERATURE, old, new, 3 * HOUR_MS)
    assert (third.alarm_low, third.low, third.high, third.alarm_high) == (12.0, 17.33, 21.33, 25.33)


def test_a_new_co2_alarm_comes_down_with_the_ceiling() -> None:
    """5000 ppm without a limit to 800 with a limit 200 above: on the way the limit keeps its 200."""
    old, new = Band(None, 5000, None, None, None, "a"), Band(None, 800, None, None, 1000, "b")
    assert length_ms(Quantity.CO2, old, new) == 4.25 * HOUR_MS  # 4200 ppm at 1000 an hour, whole quarters
    begin = between(Quantity.CO2, old, new, 0)
    assert (begin.high, begin.alarm_high) == (5000, 5200)
    late = between(Quantity.CO2, old, new, 4 * HOUR_MS)
    assert late.alarm_high == pytest.approx(late.high + 200)


def test_the_same_band_is_no_way() -> None:
    band = Band(85, 95, None, 80, 98, "a")
    assert length_ms(Quantity.HUMIDITY, band, Band(85, 95, None, 80, 98, "another source")) == 0


@given(st.lists(st.integers(-10 * LONGEST_MS, 10 * LONGEST_MS), min_size=1))
def test_the_clock_may_go_anywhere_and_a_ramp_only_forward(offsets: list[int]) -> None:
    ramp, last = Ramp(0, 0), 0
    for offset in offsets:
        ramp.reached_ms = reached(ramp, offset)
        assert last <= ramp.reached_ms <= LONGEST_MS
        last = ramp.reached_ms


@given(QUANTITIES, bands(), bands(), st.lists(st.integers(0, LONGEST_MS), max_size=5))
def test_what_was_asked_before_changes_nothing(
    quantity: Quantity, old: Band, new: Band, asked: list[int]
) -> None:
    assume(old != new)
    first = {ms: between(quantity, old, new, ms) for ms in asked}
    assert {ms: between(quantity, old, new, ms) for ms in reversed(asked)} == first
