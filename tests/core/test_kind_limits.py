"""The limits of a spawn run's blocks and of a cold store, as a whole farm tells them.

30 degrees C inside a block: a European substrate producer's sheets. 5 degrees C in a cold store: common
practice, no source. Delays are the project's own and stand in the table of kinds.
"""

from dataclasses import replace

import pytest

from core.crop_parts import FRUITING as FRUITING_PROFILE
from core.farm_parts import Bench, farm, sensor, space
from gillhouse.core.batches import Batch, CropState
from gillhouse.core.crops import Band, Species, Stage
from gillhouse.core.fresh_air import floor_flow
from gillhouse.core.in_force import in_force
from gillhouse.core.inputs import Reading
from gillhouse.core.kind_limits import core_limit_c, kind_limits
from gillhouse.core.outputs import AlarmNotice, Transition
from gillhouse.core.quantities import Quantity
from gillhouse.core.settings import SpaceKind

OPEN = Band(None, None, None, None, None, "test")
NONE_OPEN = dict.fromkeys((Quantity.HUMIDITY, Quantity.TEMPERATURE, Quantity.CO2), OPEN)


def run_farm(**more: object):
    own = space("run", SpaceKind.SPAWN_RUN, stage=Stage.SPAWN_RUN, **more)
    return farm(own, sensors=(sensor("block", Quantity.TEMPERATURE, "run", "core"),))


def store_farm():
    own = space("store", SpaceKind.COLD_STORE, bands=NONE_OPEN, light=None, fresh_air_ach=0.0)
    return farm(own, sensors=(sensor("store-door", Quantity.DOOR, "store"),))


def told(bench: Bench, kind: str, transition: Transition = Transition.ACT) -> list[tuple[int, AlarmNotice]]:
    return [(ms, n) for ms, n in bench.notices if n.kind == kind and n.transition is transition]


def test_a_hot_block_calls_after_ten_minutes_and_not_before():
    bench = Bench(run_farm())
    bench.every(60, 5, block=29.8)
    start = bench.ms + 60_000
    bench.every(60, 15, block=30.5)
    [(ms, notice)] = told(bench, "block-hot")
    assert ms - start == 600_000
    assert (notice.alarm, notice.space, notice.priority) == ("block-hot:block", "run", 2)
    assert notice.facts["limit"] == 30.0
    assert notice.facts["sensor"] == "block"


def test_a_block_says_nothing_of_the_rooms_air():
    """Else the fan and cooler would be steered by it, and the room told as too hot."""
    bench = Bench(run_farm())
    bench.every(60, 30, run_temp=17.0, block=35.0)
    assert bench.farm.status(bench.now())["spaces"]["run"]["quantities"]["temperature"]["value"] == 17.1
    assert not told(bench, "temperature-high")
    assert told(bench, "block-hot")


def test_the_crops_own_figure_comes_first():
    bench = Bench(run_farm(block_core_c=28.0))
    bench.every(60, 15, block=28.5)
    assert [notice.facts["limit"] for _, notice in told(bench, "block-hot")] == [28.0]


def test_a_silent_block_sensor_is_told_as_that_and_ends_nothing():
    bench = Bench(run_farm())
    bench.every(60, 15, block=31.0)
    bench.wait(1800)
    assert told(bench, "sensor-silent")
    assert not told(bench, "block-hot", Transition.RTN)


def test_a_block_that_keeps_its_warmth_for_hours_is_not_called_stuck():
    """240 identical readings freeze a room's sensor; a block gets four times as many."""
    bench = Bench(run_farm())
    for _ in range(600):
        bench.wait(60)
        bench.give(Reading("block", 27.3, bench.now().wall_ms))
        bench.give(Reading("run-temp", 17.0, bench.now().wall_ms))
    stuck = {notice.alarm for _, notice in bench.notices if notice.kind == "sensor-flat"}
    assert stuck == {"sensor-flat:run-temp"}


def test_a_cold_store_calls_after_half_an_hour_over_five_degrees():
    bench = Bench(store_farm())
    bench.every(60, 5, store_temp=3.0)
    start = bench.ms + 60_000
    bench.every(60, 40, store_temp=5.5)
    [(ms, notice)] = told(bench, "store-warm")
    assert ms - start == 1_800_000
    assert (notice.alarm, notice.facts["limit"]) == ("store-warm:store", 5.0)


def test_loading_a_store_for_twenty_minutes_calls_nobody():
    bench = Bench(store_farm())
    bench.every(60, 20, store_temp=8.0)
    bench.every(60, 60, store_temp=3.0)
    assert not told(bench, "store-warm")


def test_the_door_of_a_cold_store_has_an_alarm_of_its_own():
    bench = Bench(store_farm())
    bench.every(60, 8, store_temp=3.0, store_door=1.0)
    assert told(bench, "store-open")
    assert not told(bench, "door-open")


def test_a_cold_store_moves_no_relay():
    """All relays of a room stand there; nothing is wished for, so nothing is switched on."""
    bench = Bench(store_farm())
    bench.every(60, 60, store_temp=8.0, store_rh=60.0, store_co2=900.0)
    assert not [command for _, command in bench.commands if command.on]


def test_an_enoki_room_calls_for_too_little_co2():
    """Under 0.1 % stems stay short: Chinese trade articles."""
    stems = Band(1500.0, 4000.0, None, 1000.0, 5000.0, "test")
    bands = {**space().bands, Quantity.CO2: stems}
    bench = Bench(farm(space(bands=bands)))
    bench.every(60, 15, room_co2=600.0)
    assert told(bench, "co2-low")


@pytest.mark.parametrize(("figure", "limit_c"), [(None, 30.0), (28.0, 28.0), (32.0, 32.0)])
def test_limits_of_a_space(figure, limit_c):
    settings = run_farm(block_core_c=figure)
    assert core_limit_c(settings.spaces["run"]) == limit_c
    assert [
        (each.kind, each.sensor, each.limit_c) for each in kind_limits(settings, settings.spaces["run"])
    ] == [("block-hot", "block", limit_c)]


def test_batches_bring_their_block_limit_and_weight_and_a_store_stays_cold():
    core = Band(None, None, None, None, 28.0, "test")
    profile = replace(FRUITING_PROFILE, block_core=core, fresh_air_m3_per_h_kg=0.1)
    kind = Species("test-cap", "test cap", "Testus", {Stage.FRUITING: profile})
    spaces = (space("room"), space("store", SpaceKind.COLD_STORE, bands=NONE_OPEN))
    settings = farm(*spaces, species={"test-cap": kind})
    batches = {
        name: Batch(name, "test-cap", Stage.FRUITING, 50.0, where, "", 0, 0)
        for name, where in (("a", "room"), ("b", "store"))
    }
    held = in_force(settings, CropState(batches)).spaces
    assert (held["room"].block_core_c, held["room"].fresh_air_m3_per_h) == (28.0, pytest.approx(5.0))
    assert held["store"] == settings.spaces["store"]


def test_the_crops_own_weight_figure_sets_the_air_floor():
    """20 m3 at 2 air changes are 40 m3/h at most; the crop's own 60 kg x 0.1 make 6, the usual 60 x 0.05 make
    3."""
    assert floor_flow(2.0, 20.0, 60.0, 6.0) == 6.0
    assert floor_flow(2.0, 20.0, 60.0) == pytest.approx(3.0)
    assert floor_flow(2.0, 20.0, 600.0, 60.0) == 40.0
