"""Batches through the farm's one entry: bands, alarms, restarts, and the same bytes again."""

import json
from dataclasses import replace

from core.crop_parts import DAY_MS, FRUITING, PINNING, crop_farm
from core.farm_parts import WALL_MS, Bench, farm, space
from gillhouse.core.crops import Stage
from gillhouse.core.farm import Farm
from gillhouse.core.inputs import (
    BatchAct,
    BatchAction,
    ClockStep,
    Reading,
    SettingsChange,
    Started,
)
from gillhouse.core.instant import Instant
from gillhouse.core.outputs import EventKind, Transition
from gillhouse.core.quantities import Quantity
from gillhouse.core.reasons import Reason
from gillhouse.core.snapshot import to_plain

HUMIDITY, TEMPERATURE, CO2 = Quantity.HUMIDITY, Quantity.TEMPERATURE, Quantity.CO2


def add(bench: Bench, batch: str = "b1", where: str = "fruit", stage: Stage = Stage.FRUITING, **more):
    given = {"species": "pale-cap", "kg": 100.0, **more}
    return bench.give(BatchAction(BatchAct.ADD, batch, "ana", space=where, stage=stage, **given))


def begin(bench: Bench, stage: Stage, batch: str = "b1"):
    return bench.give(BatchAction(BatchAct.STAGE, batch, "ana", stage=stage))


def now(bench: Bench, where: str = "fruit") -> dict:
    return bench.farm.status(bench.now())["spaces"][where]


def told(bench: Bench) -> list[Reason]:
    return [event.reason for _, event in bench.events if event.kind is EventKind.BATCH]


def test_the_bands_of_now_go_over_to_the_new_stage_and_get_there() -> None:
    """FRUITING to REST is 85..93 to 70..85 % and 13..18 to 18..22 C: the low limit of humidity has 20 to go,
    10 h; after two of them low is 85 - 15 / 5 = 82."""
    bench = Bench(crop_farm())
    add(bench)
    begin(bench, Stage.REST)
    bench.read(fruit_rh=88.0, fruit_temp=15.0)
    assert now(bench)["bands_moving_h"] == 10.0
    bench.wait(2 * 3600)
    assert now(bench)["quantities"]["humidity"]["low"] == 82.0
    assert now(bench)["bands_moving_h"] == 8.0
    bench.wait(8 * 3600)
    assert now(bench)["bands_moving_h"] is None
    assert now(bench)["quantities"]["humidity"]["low"] == 70
    assert now(bench)["stage"] == "rest"
    assert told(bench) == [Reason.BATCH_ADDED, Reason.STAGE_BEGUN, Reason.BANDS_MOVING, Reason.BANDS_THERE]


def test_mist_is_given_for_the_batch_not_for_the_config() -> None:
    """Config: fruiting, from 85 %. With pins in it the room is kept from 90 %: at 87 % there is mist."""
    bench = Bench(crop_farm())
    bench.every(30, 20, fruit_rh=89.0, fruit_temp=15.0, fruit_co2=600.0)
    dry = [c for _, c in bench.on("fruit-mist") if c.reason is Reason.AIR_DRY]
    add(bench, stage=Stage.PINNING)
    bench.wait(24 * 3600)
    bench.every(30, 20, fruit_rh=87.0, fruit_temp=15.0, fruit_co2=600.0)
    after = [c for _, c in bench.on("fruit-mist") if c.reason is Reason.AIR_DRY]
    assert not dry
    assert after
    assert after[-1].facts["limit"] == PINNING.humidity.low


def test_the_alarm_limit_travels_with_the_ramp() -> None:
    """70 % is over the limit of the run (60), under that of pins (85): it calls once the limit has come by,
    not before. 60 to 85 at 2 an hour is 12.5 h; 70 is passed after 5 h."""
    bench = Bench(crop_farm())
    add(bench, where="run", stage=Stage.SPAWN_RUN)
    begin(bench, Stage.PINNING)
    bench.every(60, 8 * 60, run_rh=70.0, run_temp=18.0, run_co2=900.0)
    calls = [ms for ms, n in bench.notices if n.kind == "humidity-low" and n.transition is Transition.ACT]
    assert len(calls) == 1
    assert 5 * 3_600_000 < calls[0] < 5.75 * 3_600_000  # one step more, and ten minutes of delay


def test_a_limit_that_is_gone_takes_its_alarm_with_it() -> None:
    """CO2 over fruiting's 1200 ppm; the run has no such limit, so nothing stays on the list."""
    bench = Bench(crop_farm())
    add(bench)
    bench.every(60, 20, fruit_rh=88.0, fruit_temp=15.0, fruit_co2=2000.0)
    assert "co2-high:fruit" in [alarm["alarm"] for alarm in bench.farm.status(bench.now())["alarms"]]
    begin(bench, Stage.SPAWN_RUN)
    bench.every(60, 60, fruit_rh=88.0, fruit_temp=15.0, fruit_co2=2000.0)
    last = [n for _, n in bench.notices if n.kind == "co2-high"][-1]
    assert last.transition is Transition.RTN


def test_people_limits_hold_at_every_moment_of_a_ramp() -> None:
    bench = Bench(crop_farm())
    add(bench)
    begin(bench, Stage.SPAWN_RUN)
    bench.every(30, 20, fruit_rh=88.0, fruit_temp=15.0, fruit_co2=16_000.0)
    assert any(n.kind == "co2-people-15000" for _, n in bench.notices)


def lived() -> Bench:
    bench = Bench(crop_farm())
    add(bench, where="run", stage=Stage.SPAWN_RUN)
    bench.every(300, 12, run_rh=80.0, run_temp=22.0, fruit_rh=88.0, fruit_temp=15.0)
    begin(bench, Stage.PINNING)
    bench.every(300, 12, run_rh=88.0, run_temp=20.0, fruit_rh=88.0, fruit_temp=15.0)
    bench.give(BatchAction(BatchAct.MOVE, "b1", "ben", space="fruit", blocks_c=4.0))
    bench.every(300, 30, run_rh=88.0, run_temp=20.0, fruit_rh=92.0, fruit_temp=15.0)
    return bench


def test_a_restored_farm_goes_on_to_the_same_bytes() -> None:
    """Cut at many places: what is restored there says the same as the farm that was never cut, to the end."""
    bench, whole = lived(), Farm(crop_farm())
    kept, said = {}, []
    for place, (seq, at, item) in enumerate(bench.inputs):
        if place % 23 == 5:
            kept[place] = json.dumps(whole.snapshot())
        said.append((to_plain(whole.handle(seq, at, item)), whole.next_deadline_ms()))
    assert len(kept) > 20
    for cut, text in kept.items():
        again = Farm.restore(crop_farm(), json.loads(text))
        for (seq, at, item), told_ in zip(bench.inputs[cut:], said[cut:], strict=True):
            assert (to_plain(again.handle(seq, at, item)), again.next_deadline_ms()) == told_
        assert again.snapshot() == whole.snapshot()


def test_cold_blocks_are_told_by_the_farm_from_where_they_stood() -> None:
    """The first room's sensor says 4 C; at 15 C and 92 % dew forms under 13.7 C."""
    bench = Bench(crop_farm())
    add(bench, where="run", stage=Stage.SPAWN_RUN)
    bench.read(run_rh=80.0, run_temp=4.0, fruit_rh=92.0, fruit_temp=15.0)
    bench.give(BatchAction(BatchAct.MOVE, "b1", "ana", space="fruit"))
    wet = next(event for _, event in bench.events if event.reason is Reason.BLOCKS_WET)
    assert wet.facts["blocks_c"] == 4.0
    assert now(bench)["batches"][0]["blocks_c"] == 4.0
    bench.every(100, 36 * 8, fruit_rh=85.0, fruit_temp=15.0)
    assert Reason.BLOCKS_DRY in told(bench)


def test_a_planned_stage_begins_at_its_moment_with_nothing_else_coming_in() -> None:
    settings = replace(crop_farm(), sensors={}, relays={})
    bench = Bench(settings)
    add(bench)
    when = WALL_MS + 3 * DAY_MS
    bench.give(BatchAction(BatchAct.STAGE, "b1", "ana", stage=Stage.REST, at_ms=when))
    bench.wait(4 * 86_400)
    begun = [ms for ms, event in bench.events if event.reason is Reason.STAGE_BEGUN]
    assert begun == [3 * DAY_MS]


def test_a_restart_keeps_batches_and_the_ramp_goes_on_by_the_wall_clock() -> None:
    bench = Bench(crop_farm())
    add(bench)
    begin(bench, Stage.REST)
    bench.wait(3600)
    again = Farm.restore(crop_farm(), json.loads(json.dumps(bench.farm.snapshot())))
    again.handle(1000, Instant(WALL_MS + 5 * 3_600_000, 0), Started("test", "digest", True, 4 * 3_600_000))
    space = again.status(Instant(WALL_MS + 5 * 3_600_000, 0))["spaces"]["fruit"]
    assert space["bands_moving_h"] == 5.0
    assert [one["batch"] for one in space["batches"]] == ["b1"]


def test_a_step_of_the_clock_does_not_end_a_ramp() -> None:
    bench = Bench(crop_farm())
    add(bench)
    begin(bench, Stage.REST)
    bench.wait(3600)
    day = 400 * DAY_MS
    bench.seq += 1
    bench.farm.handle(bench.seq, Instant(WALL_MS + bench.ms + day, bench.ms), ClockStep(day))
    later = Instant(WALL_MS + bench.ms + day, bench.ms)
    assert bench.farm.status(later)["spaces"]["fruit"]["bands_moving_h"] == 9.0


def test_a_space_or_species_gone_from_the_config_stops_nothing() -> None:
    bench = Bench(crop_farm())
    add(bench)
    begin(bench, Stage.REST)
    bench.give(BatchAction(BatchAct.STAGE, "b1", "ana", stage=Stage.PINNING, at_ms=WALL_MS + 3_600_000))
    bench.farm.resettle(farm(space("other")))
    bench.give(SettingsChange("other"))
    bench.wait(2 * 86_400)
    assert bench.read(other_rh=88.0).verdict is not None


def test_farms_without_batches_decide_as_before() -> None:
    """One that had a batch and lost it ends where one that never had any is."""
    plain, had = Bench(crop_farm()), Bench(crop_farm())
    add(had)
    had.give(BatchAction(BatchAct.END, "b1", "ana"))
    for bench in (plain, had):
        bench.read(fruit_rh=88.0, fruit_temp=15.0, fruit_co2=600.0)
        assert now(bench)["quantities"]["humidity"]["low"] == FRUITING.humidity.low
    assert isinstance(plain.inputs[-1][2], Reading)
