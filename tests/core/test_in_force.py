"""What a space should hold: from its batches, with the grower's own figures on top, on its way by ramps."""

from dataclasses import replace
from datetime import datetime
from zoneinfo import ZoneInfo

import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from core.crop_parts import FRUITING, PALE, PINNING, RUN, Crops, crop_farm
from gillhouse.core.bands_meet import UNITS
from gillhouse.core.batch_acts import next_change_ms
from gillhouse.core.batches import CropState
from gillhouse.core.crops import Band, Stage
from gillhouse.core.in_force import in_force, laid_over
from gillhouse.core.inputs import BatchAct
from gillhouse.core.quantities import Quantity
from gillhouse.core.ramps import STEP_MS
from gillhouse.core.reasons import Reason
from gillhouse.core.settings import OwnFigures, SpaceKind

HUMIDITY, TEMPERATURE, CO2 = Quantity.HUMIDITY, Quantity.TEMPERATURE, Quantity.CO2
EDGES = ("alarm_low", "low", "target", "high", "alarm_high")
STAGES = st.sampled_from(list(PALE.stages))


def spaces(crops: Crops):
    return in_force(crops.settings, crops.state).spaces


def test_a_farm_without_batches_is_as_its_config_says() -> None:
    farm = crop_farm()
    assert in_force(farm, CropState()) is farm


def test_a_space_takes_its_figures_from_its_batch() -> None:
    crops = Crops()
    crops.add(where="fruit", stage=Stage.PINNING, kg=80.0)
    crops.wait(24)
    held = spaces(crops)["fruit"]
    assert held.bands == {HUMIDITY: PINNING.humidity, TEMPERATURE: PINNING.temperature, CO2: PINNING.co2}
    assert (held.stage, held.crop_kg, held.fresh_air_ach) == (Stage.PINNING, 80.0, 2.0)
    assert held.light is not None
    assert held.light.hours == 10.0
    assert spaces(crops)["run"] == crops.settings.spaces["run"]


def test_it_goes_back_to_the_config_when_the_last_batch_is_gone() -> None:
    crops = Crops()
    crops.add(where="fruit", stage=Stage.PINNING)
    crops.wait(24)
    crops.do(BatchAct.END)
    crops.wait(24)
    assert spaces(crops)["fruit"] == crops.settings.spaces["fruit"]


def test_several_batches_share_what_they_can_and_their_kilograms_add_up() -> None:
    """Pinning wants 90-95 %, fruiting 85-93 %: both live at 90-93 %; 12-16 and 13-18 C meet at 13-16 C."""
    crops = Crops()
    crops.add("b1", where="fruit", stage=Stage.FRUITING, kg=100.0)
    crops.add("b2", where="fruit", stage=Stage.PINNING, kg=50.0)
    crops.wait(24)
    held = spaces(crops)["fruit"]
    assert (held.bands[HUMIDITY].low, held.bands[HUMIDITY].high) == (90, 93)
    assert (held.bands[TEMPERATURE].low, held.bands[TEMPERATURE].high) == (13, 16)
    assert held.crop_kg == 150.0
    assert held.stage is Stage.FRUITING  # the heavier one leads


def test_priority_beats_weight_where_both_cannot_be_had() -> None:
    """Cold cap wants 5-9 C, pale cap 13-18 C."""
    crops = Crops()
    crops.add("b1", where="fruit", stage=Stage.FRUITING, kg=500.0)
    crops.add("b2", where="fruit", stage=Stage.FRUITING, species="cold-cap", kg=10.0, priority=True)
    crops.wait(24)
    band = spaces(crops)["fruit"].bands[TEMPERATURE]
    assert (band.low, band.high) == (5, 9)


def test_the_growers_own_figures_stay_on_top() -> None:
    own = OwnFigures({HUMIDITY: Band(88, None, None, 82, None, "set by the grower")}, 3.0, 6.0)
    farm = crop_farm()
    fruit = replace(farm.spaces["fruit"], own=own)
    crops = Crops(replace(farm, spaces={**farm.spaces, "fruit": fruit}))
    crops.add(where="fruit", stage=Stage.FRUITING)
    crops.wait(24)
    held = spaces(crops)["fruit"]
    band = held.bands[HUMIDITY]
    assert (band.alarm_low, band.low, band.high, band.alarm_high) == (82, 88, 93, 97)
    assert "set by the grower" in band.source
    assert held.fresh_air_ach == 3.0
    assert held.light is not None
    assert held.light.hours == 6.0


def test_an_open_space_owes_no_fresh_air() -> None:
    farm = crop_farm()
    barn = replace(farm.spaces["fruit"], kind=SpaceKind.OPEN)
    crops = Crops(replace(farm, spaces={**farm.spaces, "fruit": barn}))
    crops.add(where="fruit", stage=Stage.PINNING)
    assert spaces(crops)["fruit"].fresh_air_ach == 0.0


# --- the grower's edges over another crop's ------------------------------------------------------------


def test_edges_of_the_grower_push_the_others_away() -> None:
    """Low 92 over a stage of 80-90 %, limits 75 and 91: the high edge keeps 10 over it, the limit yields."""
    own = Band(92, None, None, None, None, "mine")
    band = laid_over(own, Band(80, 90, 85, 75, 91, "theirs"))
    assert (band.alarm_low, band.low, band.target, band.high, band.alarm_high) == (75, 92, 92, 102, 102)


EDGE = st.none() | st.integers(0, 100).map(float)


def ordered(edges: list[float | None]) -> Band:
    figures = iter(sorted(edge for edge in edges if edge is not None))
    alarm_low, low, target, high, alarm_high = (None if edge is None else next(figures) for edge in edges)
    return Band(low, high, target, alarm_low, alarm_high, "invented")


BANDS = st.lists(EDGE, min_size=5, max_size=5).map(ordered)


@example(Band(None, None, None, 1.0, None, "mine"), Band(None, 0.0, 0.0, None, None, "theirs"))
@settings(max_examples=300)
@given(BANDS, BANDS)
def test_laid_over_keeps_the_growers_edges_and_the_order(own: Band, base: Band) -> None:
    band = laid_over(own, base)
    for edge in EDGES:
        if getattr(own, edge) is not None:
            assert getattr(band, edge) == getattr(own, edge)
    edges = [value for edge in EDGES if (value := getattr(band, edge)) is not None]
    assert edges == sorted(edges)


# --- ramps ---------------------------------------------------------------------------------------------


def test_a_stage_change_moves_the_bands_by_quarters_of_an_hour() -> None:
    crops = Crops()
    crops.add()
    crops.wait(24)
    assert crops.do(BatchAct.STAGE, stage=Stage.PINNING) == [Reason.STAGE_BEGUN, Reason.BANDS_MOVING]
    assert spaces(crops)["run"].bands[TEMPERATURE] == replace(RUN.temperature, source="invented")
    seen = []
    while (due := next_change_ms(crops.settings, crops.state)) is not None and crops.state.ramps:
        assert due - crops.ms == STEP_MS
        crops.wait(0.25)
        seen.append(spaces(crops)["run"].bands[TEMPERATURE].low)
    assert seen[:3] == [19.78, 19.56, 19.33]  # 8 K in the 9 h that its low limit needs: 0.222 K a step
    assert spaces(crops)["run"].bands[TEMPERATURE] == PINNING.temperature
    assert crops.told[-1].reason is Reason.BANDS_THERE


@given(STAGES, STAGES, STAGES, st.floats(0, 30), st.lists(st.floats(0.01, 5), max_size=6))
def test_any_changes_stay_between_and_are_over_a_day_after_the_last(
    first: Stage, second: Stage, third: Stage, wait_h: float, looks: list[float]
) -> None:
    crops = Crops()
    crops.add(where="fruit", stage=first)
    crops.wait(wait_h)
    crops.do(BatchAct.STAGE, stage=second)
    crops.wait(looks[0] if looks else 1.0)
    before = spaces(crops)["fruit"].bands
    crops.do(BatchAct.STAGE, stage=third)
    wish = PALE.stages[third]
    new = {HUMIDITY: wish.humidity, TEMPERATURE: wish.temperature, CO2: wish.co2}
    for hours in looks:
        crops.wait(hours)
        for quantity, band in spaces(crops)["fruit"].bands.items():
            for edge, far in (("low", float("-inf")), ("high", float("inf"))):
                ends = [
                    far if value is None else value
                    for value in (getattr(before[quantity], edge), getattr(new[quantity], edge))
                ]
                value = getattr(band, edge)
                assert min(ends) <= (far if value is None else value) <= max(ends)
            alarm = band.alarm_high
            assert alarm is None or band.high is None or alarm >= band.high
    crops.wait(24)
    assert not crops.state.ramps
    assert {q: replace(b, source="") for q, b in spaces(crops)["fruit"].bands.items()} == {
        q: replace(b, source="") for q, b in new.items()
    }


@pytest.mark.parametrize("night", ["2025-03-30T00:30", "2025-10-26T00:30"])
def test_the_hour_that_is_missing_or_doubled_changes_no_ramp(night: str) -> None:
    """Rome's clocks change at 01:00 UTC of these nights (IANA time zone data); the ramp's steps do not."""
    zone = ZoneInfo("Europe/Rome")
    over_change, plain = Crops(crop_farm(zone=zone)), Crops(crop_farm(zone=zone))
    over_change.ms = round(datetime.fromisoformat(f"{night}+01:00").timestamp() * 1000)
    ways = []
    for crops in (over_change, plain):
        crops.add(where="fruit", stage=Stage.FRUITING)
        crops.do(BatchAct.STAGE, stage=Stage.REST)
        way = []
        for _ in range(40):
            crops.wait(0.25)
            way.append(spaces(crops)["fruit"].bands)
        ways.append(way)
    assert ways[0] == ways[1]


def test_looking_often_or_once_comes_to_the_same() -> None:
    often, once = Crops(), Crops()
    for crops in (often, once):
        crops.add(where="fruit", stage=Stage.FRUITING)
        crops.do(BatchAct.STAGE, stage=Stage.REST)
    for _ in range(180):
        often.wait(1 / 60)
    once.wait(3)
    assert spaces(often) == spaces(once)


def test_every_quantity_with_a_band_has_a_pace() -> None:
    from gillhouse.core.ramps import PACE_PER_H

    assert set(PACE_PER_H) == set(UNITS)


def test_fruiting_to_fruiting_of_the_config_needs_no_ramp() -> None:
    crops = Crops()
    assert crops.add(where="fruit", stage=Stage.FRUITING) == [Reason.BATCH_ADDED]
    assert spaces(crops)["fruit"].bands[HUMIDITY] == FRUITING.humidity
