"""The bench itself: it tells rules apart, keeps its books straight, and its drills call the right alarm.

One day of the small tent; the whole table is `python -m tests.bench.hold_the_room`. The balances are kept by
the room's ledger (what crossed the walls) and compared with what is in the room (what the state holds).
"""

import pytest
from tests.bench.hold_the_room import drills
from tests.bench.hold_the_room.cell import RULES, Cell, drive, plant_of, run
from tests.bench.hold_the_room.goals import GOALS, summary
from tests.bench.hold_the_room.plant import DAY_MS, HOUR_MS, UNSCORED_MS
from tests.bench.hold_the_room.rules import Ours, is_true

DAY = {rule: Cell("autumn", "tent", rule, 1.0) for rule in RULES}


@pytest.fixture(scope="module")
def found() -> dict[str, dict[str, float]]:
    return {rule: run(DAY[rule]) for rule in ("timer", "onoff", "ours", "limit", "limit-inside")}


def test_ours_holds_the_air_better_than_a_timer_and_a_switch(found: dict[str, dict[str, float]]) -> None:
    assert found["ours"]["joint_pct"] > found["timer"]["joint_pct"] + 20.0
    assert found["ours"]["joint_pct"] > found["onoff"]["joint_pct"] + 20.0
    assert found["ours"]["water_kg_day"] < found["onoff"]["water_kg_day"]
    assert found["ours"]["wet_cap_h_day"] < found["timer"]["wet_cap_h_day"]


def test_nobody_beats_perfect_knowledge(found: dict[str, dict[str, float]]) -> None:
    for rule in ("timer", "onoff", "ours"):
        assert found["limit-inside"]["joint_pct"] >= found[rule]["joint_pct"] - 0.5
        if found[rule]["not_dry_pct"] > 99.0:
            assert found["limit"]["water_kg_day"] < found[rule]["water_kg_day"]
    assert found["limit"]["joint_pct"] > 98.0
    assert found["limit"]["water_kg_day"] < found["limit-inside"]["water_kg_day"]
    assert found["limit"]["fan_h_day"] < found["limit-inside"]["fan_h_day"]


def test_a_cell_gives_the_same_figures_again(found: dict[str, dict[str, float]]) -> None:
    assert run(DAY["ours"]) == found["ours"]


@pytest.mark.parametrize("rule", ["ours", "limit-vapour"])
def test_water_and_carbon_dioxide_are_neither_made_nor_lost(rule: str) -> None:
    plant = plant_of(DAY[rule])
    room = plant.room
    held_kg, held_ppm = room.water_kg(), room.co2_ppm
    drive(plant, RULES[rule][1](plant), UNSCORED_MS + DAY_MS // 4)
    book = room.ledger
    came = book.sprayed_kg + book.air_kg + book.crop_kg
    went = book.drained_kg + book.blown_kg + book.coil_kg
    assert book.sprayed_kg > 0.02
    assert room.water_kg() - held_kg == pytest.approx(came - went, abs=1e-9)
    litres = (room.co2_ppm - held_ppm) * room.plan.volume_m3 / 1000.0
    assert litres == pytest.approx(book.co2_litres, abs=1e-6)


def test_relays_let_go_by_themselves_when_the_farm_falls_silent() -> None:
    """A lease ends without any further word."""
    plant = plant_of(DAY["ours"])
    rule = RULES["ours"][1](plant)
    while not (plant.on["mist"] or plant.on["fan"]):
        drive(plant, rule, plant.at_ms + 10_000)
    plant.advance(plant.at_ms + 300_000)
    assert not any(plant.on.values())


def test_the_farm_is_told_other_figures_than_the_plant_has() -> None:
    plant = plant_of(DAY["ours"])
    rule = RULES["ours"][1](plant)
    assert isinstance(rule, Ours)
    told = rule._settings.relays
    assert abs(told["fan"].air_m3_per_h / plant.site.fan_m3_h - 1.0) >= 0.2
    assert abs(told["mist"].litres_per_h / plant.site.nozzle_kg_h - 1.0) >= 0.2
    assert {id for id, sensor in plant.sensors.items() if sensor.bias} == set(plant.sensors)


def test_an_alert_is_false_where_the_true_air_is_not_so() -> None:
    plant = plant_of(DAY["ours"])
    assert plant.room.humidity_pct == pytest.approx(88.0, abs=0.1)
    assert not is_true("humidity-low", plant)
    assert not is_true("mist-without-effect", plant)
    plant.room.ratio *= 75.0 / 88.0
    assert is_true("humidity-low", plant)


@pytest.mark.parametrize("name", ["humidity sensor silent", "CO2 sensor silent", "tank empty"])
def test_a_fault_is_told_in_time(name: str) -> None:
    told = drills.run(name, "autumn", "tent")
    assert told.told_min is not None
    assert told.told_min <= (drills.DRILLS[name].within_min or 0.0)


def test_a_lost_broker_is_told_and_the_relays_rest() -> None:
    told = drills.run("broker gone for an hour", "autumn", "tent")
    assert told.told_min is not None
    assert told.told_min <= 3.0
    without = drills.run(None, "autumn", "tent")
    assert told.figures["water_kg"] < without.figures["water_kg"]


def test_the_goals_are_met_or_missed_by_the_figures() -> None:
    """Worked by hand: 95 of a limit of 98 is 0.969, a miss; 1.2 kg against 1.0 is a miss of 1.15."""
    good = dict.fromkeys(run(Cell("autumn", "tent", "limit", 1 / 24)), 0.0)
    good |= {"joint_pct": 98.0, "not_dry_pct": 100.0, "co2_pct": 100.0, "water_kg_day": 1.0, "fan_h_day": 1.0}
    ours = good | {"joint_pct": 95.0, "water_kg_day": 1.2, "fan_h_day": 1.05}
    cells = {
        Cell("autumn", "tent", rule): ours if rule == "ours" else good
        for rule in ("ours", "ours-true", "limit", "limit-inside")
    }
    rows = {row[0]: row for row in summary(cells)}
    assert rows[GOALS[0].words][2:4] == ["0 of 1", "0.969 (autumn tent)"]
    water = rows["water against the limit at the very edge"]
    assert water[2:] == ["0 of 1", "1.20 (autumn tent)", "autumn tent"]
    assert rows["fan time against the limit"][2:] == ["1 of 1", "1.05 (autumn tent)", "none"]


def test_a_day_is_two_or_three_doors_long() -> None:
    plant = plant_of(DAY["timer"])
    opened = 0
    for at_ms in range(0, 2 * DAY_MS, HOUR_MS // 60):
        was = plant.room.drive.door_open
        plant.advance(at_ms)
        opened += plant.room.drive.door_open and not was
    assert 4 <= opened <= 6
