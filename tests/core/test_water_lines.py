"""Water lines: frost, water that stood, lime, and what people do to them. All farms are invented.

The limits themselves are our own choice (see `core.lines`); what is checked here by hand is that they hold:
in degrees, hours and litres.
"""

from dataclasses import replace

import pytest

from core.farm_parts import WALL_MS, Bench, farm, sensor, space
from gillhouse.core.farm import Farm
from gillhouse.core.inputs import Act, Due, OperatorAction
from gillhouse.core.lines import LineState, feel, lime_litres
from gillhouse.core.outputs import EventKind, Transition
from gillhouse.core.quantities import Quantity
from gillhouse.core.reasons import WORDS, Reason
from gillhouse.core.recursive import Pair
from gillhouse.core.settings import (
    ProgrammeSettings,
    RelaySettings,
    Role,
    SpaceKind,
    SupplySettings,
    WaterSettings,
    When,
)
from gillhouse.core.shadow import Learner, ShadowState

HOUR_S = 3600
EVERY_15 = ProgrammeSettings("mist-15", "room", Role.MIST, 5_000, 5_000, When.ALWAYS, 15)


def by_hand(act: Act, subject: str = "room-mist") -> OperatorAction:
    return OperatorAction(act, subject, "Ada")


def called(bench: Bench, kind: str, transition: Transition = Transition.ACT) -> list[int]:
    return [ms for ms, one in bench.notices if one.kind == kind and one.transition is transition]


def reasons(bench: Bench, kind: EventKind) -> list[Reason | None]:
    return [event.reason for _, event in bench.events if event.kind is kind]


def due(bench: Bench) -> None:
    bench.give(Due("mist-15", WALL_MS + bench.ms))


# --- frost ---------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("celsius", "freezing"),
    [((3.0, 2.1), False), ((3.0, 2.0), True), ((2.0, 2.9), True), ((2.0, 3.0), False), ((-5.0, 3.1), False)],
)
def test_cold_begins_at_the_limit_and_ends_a_kelvin_above(celsius, freezing) -> None:
    line = LineState()
    for value in celsius:
        feel(line, {"a": value, "b": 9.0}, 2.0, 0)
    assert line.freezing is freezing
    assert line.sensor == "a"


def test_cold_is_believed_for_a_day_after_the_last_word() -> None:
    line = LineState()
    feel(line, {"a": 1.0}, 2.0, 0)
    assert not feel(line, {}, 2.0, 23 * 3_600_000)
    assert line.freezing
    assert feel(line, {}, 2.0, 24 * 3_600_000)
    assert not line.freezing


def test_no_mist_near_freezing_whoever_asks() -> None:
    """Demand (70 %), the programme and a person's own wish: none moves the valve; said once why."""
    bench = Bench(farm(programmes=(EVERY_15,)))
    bench.every(60, 3, room_temp=1.9, room_rh=70.0, room_co2=600.0)
    before = len(bench.on("room-mist"))
    bench.every(60, 5, room_temp=1.9, room_rh=70.0, room_co2=600.0)
    due(bench)
    bench.give(OperatorAction(Act.OVERRIDE, "room-mist", "Ada", "a trial", on=True, for_ms=600_000))
    bench.wait(300)
    assert len(bench.on("room-mist")) == before == 0
    refused = [e for _, e in bench.events if e.kind is EventKind.REFUSED]
    assert {e.reason for e in refused} == {Reason.NEAR_FREEZING}
    assert (
        WORDS[Reason.NEAR_FREEZING].format(**refused[0].facts)
        == "near freezing, 1.9 C: no mist at 2 C or under"
    )
    assert len(called(bench, "drain-down")) == 1


def test_a_running_valve_closes_with_the_reading_that_says_frost() -> None:
    bench = Bench(farm())
    bench.read(room_temp=2.5, room_rh=90.0)
    bench.give(OperatorAction(Act.OVERRIDE, "room-mist", "Ada", "a trial", on=True, for_ms=600_000))
    assert bench.on("room-mist")
    bench.wait(20)
    assert not [c for _, c in bench.off("room-mist") if c.reason is Reason.NEAR_FREEZING]
    bench.read(room_temp=2.0)
    ((ms, off),) = [(ms, c) for ms, c in bench.off("room-mist") if c.reason is Reason.NEAR_FREEZING]
    assert ms == bench.ms
    assert off.facts["value"] == 2.0


def test_mist_comes_back_and_the_call_ends_when_it_is_warmer() -> None:
    bench = Bench(farm())
    bench.every(60, 3, room_temp=1.5, room_rh=70.0, room_co2=600.0)
    bench.every(60, 15, room_temp=3.5, room_rh=70.0, room_co2=600.0)
    assert bench.on("room-mist")
    assert called(bench, "drain-down", Transition.RTN)


def test_a_thermometer_on_the_line_counts_and_is_not_the_rooms_air() -> None:
    strapped = sensor("line-temp", Quantity.TEMPERATURE, "room", "line")
    bench = Bench(farm(sensors=(strapped,)))
    bench.every(60, 3, line_temp=0.5, room_temp=17.0, room_rh=70.0, room_co2=600.0)
    assert not bench.on("room-mist")
    assert bench.farm.status(bench.now())["spaces"]["room"]["quantities"]["temperature"]["value"] == 17.0
    assert not called(bench, "temperature-low")


def test_outdoors_counts_for_an_open_space_alone() -> None:
    outdoor = sensor("outdoor-temp", Quantity.TEMPERATURE, None, "outdoor")
    rooms = (space(), space("barn", kind=SpaceKind.OPEN))
    bench = Bench(farm(*rooms, sensors=(outdoor,)))
    bench.every(60, 3, outdoor_temp=-3.0, room_rh=70.0, room_temp=15.0, barn_rh=70.0, barn_temp=4.0)
    assert bench.on("room-mist")
    assert not bench.on("barn-mist")
    assert [one.space for _, one in bench.notices if one.kind == "drain-down"] == ["barn"]


def test_a_pump_follows_its_frozen_valve_and_obeys_the_farms_line_thermometer() -> None:
    pump = RelaySettings("pump", Role.PUMP, None, advise_only=False)
    strapped = sensor("line-temp", Quantity.TEMPERATURE, None, "line")
    supply = {"water": SupplySettings("water", "pump", ("room-mist",), 1)}
    bench = Bench(farm(relays=(pump,), sensors=(strapped,), supplies=supply))
    bench.every(60, 3, line_temp=1.0, room_temp=17.0, room_rh=70.0, room_co2=600.0)
    bench.give(OperatorAction(Act.OVERRIDE, "pump", "Ada", "a trial", on=True, for_ms=600_000))
    assert not bench.on("pump")
    assert not bench.on("room-mist")


def test_a_drained_line_calls_nobody_until_water_flows_again() -> None:
    bench = Bench(farm())
    bench.give(by_hand(Act.DRAINED))
    bench.every(60, 5, room_temp=1.0, room_rh=70.0, room_co2=600.0)
    assert not called(bench, "drain-down")
    bench.every(60, 10, room_temp=6.0, room_rh=70.0, room_co2=600.0)
    assert bench.on("room-mist")
    bench.every(60, 5, room_temp=1.0, room_rh=70.0, room_co2=600.0)
    assert called(bench, "drain-down")


def test_the_limit_is_a_setting() -> None:
    bench = Bench(farm(water=WaterSettings(drain_below_c=5.0)))
    bench.every(60, 3, room_temp=4.5, room_rh=70.0, room_co2=600.0)
    assert not bench.on("room-mist")


# --- water that stood ----------------------------------------------------------------------------------


def damp_for(bench: Bench, hours: float) -> None:
    """Air that needs no mist; a reading every ten minutes."""
    bench.every(600, int(hours * 6), room_rh=96.0, room_temp=17.0, room_co2=600.0)


def test_water_that_stood_for_three_days_is_told() -> None:
    bench = Bench(farm())
    damp_for(bench, 71.5)
    assert not called(bench, "water-stood")
    damp_for(bench, 1.0)
    (ms,) = called(bench, "water-stood")
    assert ms == pytest.approx(72 * 3_600_000, abs=600_000)
    assert not [c for _, c in bench.on("room-mist")]
    bench.give(by_hand(Act.FLUSHED))
    assert called(bench, "water-stood", Transition.RTN)


@pytest.mark.parametrize(("people", "flushed"), [(0.0, 1), (1.0, 0), (None, 0)])
def test_flushed_by_itself_only_with_nobody_inside(people, flushed) -> None:
    counter = sensor("inside", Quantity.PEOPLE, "room", silent_after_ms=10**9)
    room = farm(sensors=(counter,), water=WaterSettings(stood_ms=2 * 3_600_000, flush_ms=20_000))
    bench = Bench(room)
    if people is not None:
        bench.read(inside=people)
    damp_for(bench, 3.0)
    runs = [c for _, c in bench.on("room-mist") if c.reason is Reason.FLUSHING]
    assert len(runs) == flushed
    assert all(run.lease_ms == 20_000 and WORDS[run.reason].format(**run.facts) for run in runs)
    assert len(called(bench, "water-stood")) == 1


def test_what_is_only_advised_is_not_told_as_standing() -> None:
    room = farm()
    advised = {name: replace(relay, advise_only=True) for name, relay in room.relays.items()}
    bench = Bench(replace(room, relays=advised))
    damp_for(bench, 80.0)
    assert not called(bench, "water-stood")


# --- lime ----------------------------------------------------------------------------------------------


def test_hours_of_spraying_until_the_lime_is_too_much() -> None:
    """By hand: 20 g for each l/h at 250 mg/l is 80 h of spraying, at 6 l/h 480 l; soft water, 50 mg/l, five
    times as much; nothing where the hardness is not known."""
    mist = RelaySettings("m", Role.MIST, "room", litres_per_h=6.0)
    assert lime_litres(mist, 250.0) == pytest.approx(480.0)
    assert lime_litres(mist, 50.0) == pytest.approx(2400.0)
    assert lime_litres(replace(mist, hardness_mg_l=125.0), 250.0) == pytest.approx(960.0)
    assert lime_litres(mist, None) is None


def test_litres_are_counted_told_and_begin_anew_when_cleaned() -> None:
    """6 l/h for an hour is 6 l; at 20 g per l/h, 24,000 mg/l would be too much after 5 l."""
    relay = replace(farm().relays["room-mist"], longest_run_ms=None)
    room = farm(water=WaterSettings(hardness_mg_l=24_000.0))
    bench = Bench(replace(room, relays={**room.relays, "room-mist": relay}))
    bench.give(OperatorAction(Act.OVERRIDE, "room-mist", "Ada", "a trial", on=True, for_ms=3_600_000))
    damp_for(bench, 2.0)
    lines = bench.farm.snapshot()["lines"]
    assert lines["room-mist"]["litres"] == pytest.approx(6.0, rel=0.01)
    (found,) = [e for _, e in bench.events if e.reason is Reason.DESCALE_DUE]
    assert "sprayed 5 l" in WORDS[found.reason].format(**found.facts)
    bench.give(by_hand(Act.CLEANED))
    damp_for(bench, 0.5)
    assert bench.farm.snapshot()["lines"]["room-mist"]["litres"] == 0.0
    assert Reason.FOUND_OVER in reasons(bench, EventKind.SENSOR)
    (told,) = [e for _, e in bench.events if e.reason is Reason.CLEANED]
    assert WORDS[told.reason].format(**told.facts) == "Ada cleaned room-mist: 6 l since the last time"


@pytest.mark.parametrize(("relay", "which"), [("room-mist", "water"), ("room-fan", "air")])
def test_cleaning_lets_what_was_learnt_settle_anew(relay, which) -> None:
    bench = Bench(farm())
    learner = Learner(
        Pair(0.6, 0.0, 0.1, 0.1), Pair(0.6, 0.0, 0.1, 0.1), settled=0.6, moved_days=3, settled_days=3
    )
    bench.farm._state.shadows["room"] = ShadowState(**{which: learner})
    bench.give(by_hand(Act.CLEANED, relay))
    assert (learner.settled, learner.moved_days, learner.settled_days) == (0.0, 0, 0)


@pytest.mark.parametrize(("act", "subject"), [(Act.CLEANED, "nowhere"), (Act.DRAINED, "room-fan"),
                                              (Act.FLUSHED, "room")])  # fmt: skip
def test_what_is_no_water_line_is_refused(act, subject) -> None:
    bench = Bench(farm())
    bench.give(by_hand(act, subject))
    assert reasons(bench, EventKind.REFUSED) == [Reason.UNKNOWN_SUBJECT]


def test_a_state_from_before_there_were_lines_is_taken() -> None:
    """As a daemon of the version before left it."""
    kept = Bench(farm(space("barn", kind=SpaceKind.OPEN))).farm.snapshot()
    old = {name: value for name, value in kept.items() if name not in ("lines", "caps", "reach")}
    again = Farm.restore(farm(space("barn", kind=SpaceKind.OPEN)), old)
    assert again.snapshot()["lines"]["barn-mist"]["litres"] == 0.0


def test_what_is_known_of_lines_outlives_a_restart() -> None:
    bench = Bench(farm())
    bench.every(60, 30, room_temp=17.0, room_rh=70.0, room_co2=600.0)
    bench.every(60, 2, room_temp=1.0, room_rh=70.0, room_co2=600.0)
    kept = bench.farm.snapshot()
    again = Farm.restore(farm(), kept)
    assert again.snapshot()["lines"] == kept["lines"]
    assert kept["lines"]["room-mist"]["freezing"] is True
    assert kept["lines"]["room-mist"]["litres"] > 0.0
