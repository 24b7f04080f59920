"""Dew on cold blocks: by hand, and told and ended by the watch."""

from math import exp, inf

import pytest

from core.crop_parts import Crops
from gillhouse.core.batch_acts import act
from gillhouse.core.block_watch import Air, come_in, warm_up
from gillhouse.core.cold_blocks import time_constant_s, warmed_c, wet_h
from gillhouse.core.crops import Stage
from gillhouse.core.inputs import BatchAct, BatchAction
from gillhouse.core.reasons import WORDS, Reason

ROOM = Air(20.0, 90.0)


def test_how_slowly_a_block_warms_by_hand() -> None:
    """3 kg at 600 kg/m3 is 0.005 m3, a cube of 0.171 m with 0.1754 m2; 9600 J/K over 0.1754 / 0.13 W/K."""
    assert time_constant_s(3.0) == pytest.approx(9600.0 / (0.17544 / 0.13), rel=1e-3)
    assert time_constant_s(3.0) == pytest.approx(7114, rel=1e-3)


def test_bigger_blocks_are_slower_as_their_edge() -> None:
    """Eight times the mass: twice the edge, twice the time."""
    assert time_constant_s(8.0) == pytest.approx(2.0 * time_constant_s(1.0))


def test_the_hours_wet_by_hand() -> None:
    """Blocks of 5 C into 20 C, 90 %: dew point 18.31 C (1.69 K lower by the Magnus form, from memory).
    With 0.3 K of margin: 1.976 h x ln(15 / 1.39) = 4.70 h."""
    hours = wet_h(5.0, 20.0, 90.0, 3.0)
    assert hours == pytest.approx(4.70, abs=0.02)
    assert warmed_c(5.0, 20.0, hours * 3600, 3.0) == pytest.approx(18.61, abs=0.01)


def test_after_one_time_constant_63_percent_of_the_way_is_gone() -> None:
    assert warmed_c(0.0, 10.0, time_constant_s(3.0), 3.0) == pytest.approx(10.0 * (1.0 - exp(-1.0)))


@pytest.mark.parametrize(
    ("block_c", "humidity", "hours"),
    [(19.0, 90.0, 0.0), (5.0, 30.0, 0.0), (5.0, 100.0, inf), (5.0, 0.0, 0.0)],
)
def test_warm_blocks_dry_air_and_fog(block_c: float, humidity: float, hours: float) -> None:
    """At 20 C and 30 % dew forms under 1.9 C (same equation); saturated air never lets them dry."""
    assert wet_h(block_c, 20.0, humidity, 3.0) == hours


def move_in(crops: Crops, airs: dict[str, Air], from_c: float | None = None, **more: object) -> list:
    turn = crops.turn()
    action = BatchAction(
        BatchAct.ADD, "b1", "ana", species="pale-cap", stage=Stage.FRUITING, kg=50.0, space="fruit", **more
    )
    act(turn, action)
    come_in(turn, action, airs, from_c)
    return turn.events


def test_cold_blocks_are_told_with_their_hours_and_then_told_dry() -> None:
    crops = Crops()
    wet = move_in(crops, {"fruit": ROOM}, blocks_c=5.0)[-1]
    assert wet.reason is Reason.BLOCKS_WET
    assert wet.facts["hours"] == 4.7
    assert "hold the mist" in WORDS[Reason.BLOCKS_WET].format(**wet.facts)
    told = []
    while crops.state.cold:
        crops.ms += 900_000
        turn = crops.turn()
        warm_up(turn, {"fruit": ROOM})
        told += turn.events
    assert [event.reason for event in told] == [Reason.BLOCKS_DRY]
    began = wet.facts["since_ms"]
    assert crops.ms - began == 19 * 900_000  # the first quarter of an hour after 4.70 h


def test_where_they_stood_before_counts_if_nobody_says() -> None:
    crops = Crops()
    assert move_in(crops, {"fruit": ROOM}, from_c=4.0)[-1].facts["blocks_c"] == 4.0


@pytest.mark.parametrize("airs", [{}, {"fruit": Air(20.0, 25.0)}])
def test_unknown_or_dry_air_begins_no_watch(airs: dict[str, Air]) -> None:
    crops = Crops()
    assert Reason.BLOCKS_WET not in [event.reason for event in move_in(crops, airs, blocks_c=5.0)]
    assert not crops.state.cold


def test_blocks_in_fog_are_let_go_after_a_day() -> None:
    crops = Crops()
    move_in(crops, {"fruit": Air(20.0, 100.0)}, blocks_c=5.0)
    assert crops.state.cold
    crops.ms += 86_400_000
    warm_up(crops.turn(), {})
    assert not crops.state.cold
