"""F18 water nobody asked for, leaks; F20 emergency stop; F21 mains of the loads. Times worked by hand."""

from itertools import pairwise

import pytest

from core.farm_parts import Bench, farm
from failsafe.farms import (
    CALM,
    by_hand,
    calls,
    contact,
    guarded,
    is_on,
    master,
    override,
    polled,
    refusals,
    state_of,
    with_relays,
)
from gillhouse.core.farm import Farm
from gillhouse.core.inputs import Act, Started
from gillhouse.core.modes import Mode, mode_of
from gillhouse.core.outputs import Authority, EventKind, Transition
from gillhouse.core.quantities import Quantity
from gillhouse.core.reasons import Reason
from gillhouse.core.settings import RelaySettings, Role, SupplySettings

FLOW = contact("flow", Quantity.FLOW, None)
STOP = contact("stop", Quantity.EMERGENCY_STOP, None)
LEAK = contact("puddle", Quantity.LEAK)
MAINS = contact("mains", Quantity.MAINS, None)


# --- F18 -----------------------------------------------------------------------------------------------


def test_f18_water_for_over_a_minute_with_every_valve_off_calls_with_priority_1():
    bench = Bench(guarded(FLOW))
    bench.read(flow=1.0)
    bench.wait(59)
    assert calls(bench, "flow-unasked") == []
    bench.wait(2)
    assert calls(bench, "flow-unasked") == [60]
    assert next(n.priority for _, n in bench.notices if n.kind == "flow-unasked") == 1


def test_f18_water_that_a_valve_explains_calls_nobody():
    bench = Bench(guarded(FLOW, room_mist={"longest_run_ms": None}))
    override(bench, "room-mist", True, 200)
    bench.read(flow=1.0)
    bench.wait(250)
    bench.read(flow=0.0)
    bench.wait(100)
    assert calls(bench, "flow-unasked") == []


@pytest.mark.parametrize(("second_report", "called"), [(61, [61]), (59, [])])
def test_f18_a_report_now_and_then_counts_at_its_own_moment(second_report, called):
    bench = Bench(guarded(polled("flow", Quantity.FLOW, None)))
    bench.read(flow=1.0)
    bench.wait(second_report)
    bench.read(flow=1.0)
    bench.wait(30)
    assert calls(bench, "flow-unasked") == called


def pump_room():
    pump = RelaySettings("pump", Role.PUMP, None, advise_only=False)
    return with_relays(
        farm(
            sensors=(FLOW,),
            relays=(pump, master()),
            supplies={"water": SupplySettings("water", "pump", ("room-mist",), 1)},
        ),
        room_mist={"master": "master"},
    )


def test_f18_what_lies_upstream_stays_off_until_a_named_reset():
    bench = Bench(pump_room())
    bench.read(flow=1.0)
    bench.wait(70)
    bench.every(30, 10, room_rh=75.0, **CALM)
    assert not bench.on("pump") and not bench.on("master") and not bench.on("room-mist")
    bench.give(by_hand(Act.RESET, "flow"))
    assert [e.reason for _, e in bench.events if e.kind is EventKind.REFUSED][-1] is Reason.STILL_SO
    bench.read(flow=0.0)
    bench.give(by_hand(Act.RESET, "flow"))
    bench.every(30, 10, room_rh=75.0, **CALM)
    assert bench.on("pump") and bench.on("master") and bench.on("room-mist")
    assert state_of(bench, "flow-unasked:flow") == "A"


def test_f18_a_leak_shuts_all_water_of_its_space_until_it_is_dry_and_reset():
    bench = Bench(guarded(LEAK))
    bench.read(puddle=0.0)
    override(bench, "room-mist", True)
    assert is_on(bench, "room-mist")
    bench.read(puddle=1.0)
    assert not is_on(bench, "room-mist")
    assert calls(bench, "leak") == [0]
    bench.read(puddle=0.0)
    bench.wait(60)
    assert not is_on(bench, "room-mist")  # dry again, but nobody has looked
    bench.wait(40)
    override(bench, "room-fan", True)
    assert is_on(bench, "room-fan")  # air is no water
    bench.give(by_hand(Act.RESET, "puddle"))
    bench.wait(1)
    assert is_on(bench, "room-mist")


# --- F20 -----------------------------------------------------------------------------------------------


def pressed():
    bench = Bench(guarded(STOP))
    bench.read(stop=0.0)
    bench.wait(70)
    for relay in ("room-mist", "room-fan", "room-heater"):
        override(bench, relay, True)
    assert all(is_on(bench, relay) for relay in ("room-mist", "room-fan", "room-heater", "room-light"))
    bench.read(stop=1.0)
    return bench


def test_f20_a_stop_cuts_every_load_at_once_whoever_asked():
    bench = pressed()
    assert not any(is_on(bench, relay) for relay in bench.farm._plan.settings.relays)
    cut = [c for ms, c in bench.commands if ms == bench.ms and not c.on]
    assert {c.authority for c in cut} == {Authority.EMERGENCY}
    assert {c.reason for c in cut} == {Reason.EMERGENCY_STOP}
    assert calls(bench, "emergency-stop") == [70]
    assert mode_of(bench.farm._state, "room") is Mode.EMERGENCY_STOP


def test_f20_after_release_nothing_restarts_until_a_named_reset():
    bench = pressed()
    count = len([c for _, c in bench.commands if c.on])
    bench.give(by_hand(Act.RESET, "stop"))  # still pressed
    bench.read(stop=0.0)
    bench.every(30, 20, room_rh=75.0, **CALM)
    override(bench, "room-light", True)
    assert len([c for _, c in bench.commands if c.on]) == count
    bench.give(by_hand(Act.RESET, "stop"))
    assert is_on(bench, "room-light")
    assert mode_of(bench.farm._state, "room") is None
    assert [e.facts["who"] for _, e in bench.events if e.reason is Reason.RESET_DONE] == ["Ana"]


def test_f20_a_stop_outlasts_a_restart_and_the_silence_of_its_input():
    bench = pressed()
    settings = guarded(STOP)
    bench.farm, bench.ms = Farm.restore(settings, bench.farm.snapshot()), 0
    bench.give(Started("test", "digest", False, 60_000))
    bench.every(30, 20, room_rh=75.0, **CALM)
    assert not any(is_on(bench, relay) for relay in settings.relays)


def test_f20_at_the_start_everything_waits_until_the_stop_has_reported():
    bench = Bench(guarded(contact("stop", Quantity.EMERGENCY_STOP, None, silent_after_ms=120_000)))
    assert not is_on(bench, "room-light")
    assert refusals(bench, "room-light") == ["not-heard"]
    bench.read(stop=0.0)
    assert is_on(bench, "room-light")


# --- F21 -----------------------------------------------------------------------------------------------

LOADS = ("room-fan", "room-heater", "room-light")


def powered(*more):
    one = {"mains": "mains"}
    return guarded(MAINS, *more, room_fan=one, room_heater=one, room_light=one)


def test_f21_mains_gone_counts_loads_as_off_and_calls_once():
    bench = Bench(powered())
    bench.read(mains=1.0)
    bench.wait(60)
    assert is_on(bench, "room-light")
    bench.read(mains=0.0)
    assert not any(is_on(bench, relay) for relay in LOADS)
    bench.every(30, 10, room_rh=75.0, **CALM)
    assert calls(bench, "mains-off") == [90]  # 30 s of delay: a blink calls nobody
    assert bench.on("room-mist")  # it hangs on other mains
    assert not any(is_on(bench, relay) for relay in LOADS)


def test_f21_loads_come_back_one_after_the_other_five_seconds_apart():
    bench = Bench(powered())
    bench.read(mains=1.0)
    bench.wait(60)
    for relay in LOADS:
        override(bench, relay, True, 3600)
    bench.read(mains=0.0)
    bench.wait(7200 - 60)
    for relay in LOADS:
        override(bench, relay, True, 3600)
    bench.read(mains=1.0)
    bench.wait(30)
    back = sorted(ms for relay in LOADS for ms, _ in bench.on(relay) if ms >= 7_200_000)
    assert back == [7_205_000, 7_210_000, 7_215_000]


def test_f21_loads_wanted_in_one_moment_a_minute_after_the_return_come_one_by_one_too():
    """The first reading after a cut makes everything start at once; each waits for its turn, 5 s apart."""
    bench = Bench(powered())
    bench.read(mains=1.0)
    bench.wait(60)
    bench.read(mains=0.0)
    bench.wait(540)
    bench.read(mains=1.0)  # at 600 s
    bench.wait(60)
    rest = [relay for relay in LOADS if not is_on(bench, relay)]
    assert len(rest) >= 2
    for relay in rest:
        override(bench, relay, True, 3600)
    bench.wait(30)
    begun = sorted(next(ms for ms, _ in bench.on(relay) if ms >= 660_000) for relay in rest)
    assert begun == [660_000 + 5_000 * place for place in range(len(rest))]
    override(bench, rest[0], False)
    bench.wait(60)
    override(bench, rest[0], True, 600)
    assert bench.on(rest[0])[-1][0] == 750_000, "it had its turn"


def test_f21_after_mains_a_load_still_rests_its_least_off_time():
    bench = Bench(with_relays(powered(), room_heater={"least_off_ms": 300_000}))
    bench.read(mains=1.0)
    bench.wait(400)
    override(bench, "room-heater", True, 3600)
    assert is_on(bench, "room-heater")
    bench.wait(100)
    bench.read(mains=0.0)  # at 500 s
    bench.wait(20)
    bench.read(mains=1.0)
    bench.wait(400)
    assert bench.on("room-heater")[-1][0] == 800_000  # 500 + 300


def test_f21_a_start_staggers_too():
    """The cut that took the loads took the box as well."""
    bench = Bench(powered())
    bench.read(mains=1.0)
    for relay in LOADS:
        override(bench, relay, True, 3600)
    bench.wait(60)
    begun = sorted(ms for relay in LOADS for ms, _ in bench.on(relay))
    assert begun[0] == 5_000
    assert all(later - sooner >= 5_000 for sooner, later in pairwise(begun))


def test_f21_back_again_is_told():
    bench = Bench(powered())
    bench.read(mains=0.0)
    bench.wait(60)
    bench.read(mains=1.0)
    bench.wait(150)
    assert calls(bench, "mains-off", Transition.RTN) == [180]  # 60 s, and two minutes that must be quiet
