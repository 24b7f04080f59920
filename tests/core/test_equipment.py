"""Equipment shared by spaces: a pump behind valves, a fan with dampers. The farm is invented.

The rules are the project's own; each expected order is worked by hand. That a pump should not run against
shut valves, nor a fan against shut dampers, is common practice.
"""

import pytest

from core.equipment_trial import Trial, farm, off, on, relay
from gillhouse.core.outputs import Authority
from gillhouse.core.reasons import Reason
from gillhouse.core.settings import FarmSettings, RelaySettings, Role, SharedAirSettings, SupplySettings


def mist_farm(most_at_once: int = 1, **pump: object) -> FarmSettings:
    valves = [relay(f"valve_{name}", Role.MIST, name, pulse_gap_ms=60_000) for name in "abc"]
    supply = SupplySettings("water", "pump", tuple(valve.id for valve in valves), most_at_once)
    return farm([*valves, relay("pump", Role.PUMP, None, **pump)], [supply])


def air_farm(**fan: object) -> FarmSettings:
    dampers = [relay(f"damper_{name}", Role.DAMPER, name) for name in "abc"]
    shared = SharedAirSettings("air", "fan", {name: f"damper_{name}" for name in "abc"})
    return farm([*dampers, relay("fan", Role.FAN, None, **fan)], airs=[shared])


def test_the_pump_runs_while_a_valve_is_open_and_names_it() -> None:
    trial = Trial(mist_farm())
    commands = trial.ask(on("valve_a", 8)).commands
    assert [(command.relay, command.on) for command in commands] == [("valve_a", True), ("pump", True)]
    pump = commands[1]
    assert (pump.reason, pump.facts["valve"], pump.facts["other"], pump.causes) == (
        Reason.VALVE_OPEN, "valve_a", "Tent A", (7,),
    )  # fmt: skip
    assert pump.lease_ms == 10_000  # the valve's eight seconds and two more, not five minutes
    trial.ask(off("valve_a"))
    trial.wait(60)
    assert trial.told("pump")[-1] == (8, False, "run-ended", False)
    assert [(run.start, run.end) for run in trial.board.runs["pump"]] == [(0, 8_000)]


def test_the_pump_keeps_its_own_least_run_and_two_pulses_share_one_start() -> None:
    trial = Trial(mist_farm(least_on_ms=75_000, starts_per_h=12))
    trial.ask(on("valve_a", 8))
    trial.wait(20)
    trial.ask(off("valve_a"), on("valve_b", 8))
    trial.ask(off("valve_b"))
    trial.wait(100)
    assert [(run.start, run.end) for run in trial.board.runs["pump"]] == [(0, 75_000)]


def test_a_valve_waits_for_its_pump_and_says_what_the_pump_waits_for() -> None:
    trial = Trial(mist_farm(least_off_ms=75_000))
    trial.ask(on("valve_a", 8))
    (event,) = [event for _, event in trial.events]
    assert (event.subject, event.reason, event.facts["behind"]) == ("valve_a", Reason.LEAST_OFF, "pump")
    trial.wait(80)
    assert trial.told("valve_a")[0] == (75, True, "air-dry", False)
    assert trial.told("pump")[0] == (75, True, "valve-open", False)


def test_no_more_valves_than_allowed_and_the_driest_space_first() -> None:
    trial = Trial(mist_farm(2))
    trial.look(need={"a": 1.0, "b": 3.0, "c": 2.0})
    trial.ask(on("valve_a", 8))
    trial.asks.clear()
    trial.wait(100)
    trial.ask(on("valve_a", 8), on("valve_b", 20), on("valve_c", 8))
    waiting = [event for _, event in trial.events if event.reason is Reason.OTHER_SPACE_FIRST]
    assert [(event.subject, event.facts["other"], event.facts["shared"]) for event in waiting] == [
        ("valve_a", "Tent B", "water")
    ]
    assert waiting[0].facts["other_wanted"] == "air-dry"
    trial.wait(20)
    starts = {name: trial.board.runs[name][-1].start for name in ("valve_a", "valve_b", "valve_c")}
    assert starts == {"valve_b": 100_000, "valve_c": 100_000, "valve_a": 108_000}  # as soon as C's is shut


def test_an_empty_tank_behind_the_pump_shuts_every_valve_at_once() -> None:
    trial = Trial(mist_farm(2, tank="tank1"))
    trial.ask(on("valve_a", 60), on("valve_b", 60))
    trial.wait(5)
    commands = trial.look(tank_wet={"tank1": False}).commands
    assert [command.relay for command in commands] == ["valve_a", "valve_b", "pump"]
    assert {(command.on, command.reason) for command in commands} == {(False, Reason.TANK_EMPTY)}
    assert {command.facts.get("behind") for command in commands[:2]} == {"pump"}


def test_the_pumps_longest_run_ends_its_valves_too() -> None:
    trial = Trial(mist_farm(2, longest_run_ms=60_000))
    trial.ask(on("valve_a", 50))
    trial.wait(40)
    trial.ask(off("valve_a"), on("valve_b", 50))
    trial.wait(60)
    assert [(run.start, run.end) for run in trial.board.runs["valve_b"]] == [(40_000, 60_000)]
    assert [(run.start, run.end) for run in trial.board.runs["pump"]] == [(0, 60_000)]


def test_a_person_who_stops_the_pump_shuts_the_valves() -> None:
    trial = Trial(mist_farm())
    trial.ask(on("valve_a", 60))
    trial.wait(5)
    trial.ask(off("pump", Authority.OVERRIDE, Reason.OVERRIDE))
    assert not trial.board.is_on("valve_a", trial.mono_ms)
    assert not trial.board.is_on("pump", trial.mono_ms)
    trial.wait(200)
    assert not trial.board.is_on("valve_a", trial.mono_ms)


def test_a_valve_that_is_only_advised_moves_no_pump() -> None:
    settings = mist_farm()
    relays = dict(settings.relays)
    relays["valve_a"] = RelaySettings("valve_a", Role.MIST, "a")
    trial = Trial(farm(list(relays.values()), list(settings.supplies.values())))
    commands = trial.ask(on("valve_a", 8)).commands
    assert [(command.relay, command.advise) for command in commands] == [("valve_a", True)]
    trial.ask(on("valve_b", 8))  # and takes no turn away
    assert trial.board.is_on("valve_b", 0)


def test_the_fan_serves_the_space_in_most_need_and_the_others_learn_whose_turn_it_is() -> None:
    trial = Trial(air_farm(least_on_ms=30_000))
    trial.look(need={"a": 1.0, "b": 2.0, "c": 0.5})
    stale = [on(f"damper_{name}", reason=Reason.CO2_HIGH) for name in "abc"]
    trial.ask(*stale)
    assert [name for name in "abc" if trial.board.is_on(f"damper_{name}", 0)] == ["b"]
    assert trial.board.is_on("fan", 0)
    assert [(event.subject, event.facts["other"]) for _, event in trial.events] == [
        ("damper_a", "Tent B"), ("damper_c", "Tent B"),
    ]  # fmt: skip


def test_a_greater_need_takes_the_fan_after_the_least_turn_and_the_fan_runs_on() -> None:
    trial = Trial(air_farm())
    trial.look(need={"a": 1.0, "b": 0.0})
    trial.ask(on("damper_a"))
    trial.wait(30)
    trial.look(need={"a": 1.0, "b": 2.0})
    trial.ask(on("damper_b"))
    trial.wait(89)
    assert trial.board.is_on("damper_a", trial.mono_ms)
    trial.wait(2)
    assert [(run.start, run.end) for run in trial.board.runs["damper_a"]] == [(0, 120_000)]
    assert trial.board.runs["damper_b"][0].start == 120_000
    assert len(trial.board.runs["fan"]) == 1
    told = [command for _, command in trial.commands if command.relay == "damper_a" and not command.on]
    assert (told[-1].reason, told[-1].facts["other"]) == (Reason.OTHER_SPACE_FIRST, "Tent B")


def test_equal_need_does_not_take_the_fan_away() -> None:
    trial = Trial(air_farm())
    trial.ask(on("damper_a"))
    trial.wait(1)
    trial.ask(on("damper_b"))
    trial.wait(3600)
    assert len(trial.board.runs["damper_a"]) == 1


def test_a_space_is_not_served_while_that_takes_another_past_a_hard_limit() -> None:
    trial = Trial(air_farm())
    trial.look(need={"a": 5.0, "b": 1.0})
    trial.ask(on("damper_a"))
    trial.wait(10)
    commands = trial.look(harmed_by_shared_air={"b": True}).commands
    first = commands[0]
    assert (first.relay, first.on, first.facts["other"]) == ("damper_a", False, "Tent B")
    assert not trial.board.is_on("fan", trial.mono_ms)  # B does not ask, so nobody is served
    trial.ask(on("damper_b"))
    assert trial.board.is_on("damper_b", trial.mono_ms)  # the harmed one may be served
    trial.look(harmed_by_shared_air={})
    trial.ask(off("damper_b"))
    trial.wait(1)
    assert trial.board.is_on("damper_a", trial.mono_ms)


def test_a_damper_stays_open_for_its_fans_least_run() -> None:
    trial = Trial(air_farm(least_on_ms=30_000))
    trial.ask(on("damper_a"))
    trial.wait(5)
    trial.ask(off("damper_a"))
    trial.wait(60)
    for name in ("damper_a", "fan"):
        assert [(run.start, run.end) for run in trial.board.runs[name]] == [(0, 30_000)]


@pytest.mark.parametrize("lease_ms", [20_000, 300_000, 900_000])
def test_the_fans_lease_is_renewed_with_its_dampers_and_never_floods(lease_ms: int) -> None:
    trial = Trial(air_farm(lease_ms=lease_ms))
    trial.ask(on("damper_a"))
    for _ in range(3600):
        trial.wait(1)
        trial.turn()
    renewals = [told for told in trial.told("fan") if told[3]]
    assert len(trial.board.runs["fan"]) == 1
    assert len(renewals) <= 2 * 3_600_000 / min(lease_ms, 300_000) + 1
