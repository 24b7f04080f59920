"""F8, F9: a load that does not do as its relay was told is found within its time, both ways.

Proof times are worked by hand in each test. That a change is compared with its proof some seconds later is
from an open model of ASHRAE Guideline 36 (fan status, 15 s), as documented in the Modelica Buildings library;
5 s for a pump and 10 s for a valve with flow are our choice.
"""

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from core.farm_parts import Bench
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
    proved_by,
    refusals,
    state_of,
)  # fmt: skip
from gillhouse.core.farm import Farm
from gillhouse.core.inputs import Act, Started
from gillhouse.core.outputs import EventKind, Transition
from gillhouse.core.quantities import Quantity
from gillhouse.core.reasons import Reason

FLOW = contact("flow", Quantity.FLOW)
FAN_RUNS = contact("turns", Quantity.RUNNING)


def wet_room(*more, **changes):
    return guarded(FLOW, *more, room_mist={**proved_by("flow"), **changes.pop("room_mist", {})}, **changes)


def test_f08_a_load_that_runs_though_told_off_is_found_and_calls_with_priority_1():
    bench = Bench(wet_room())
    bench.read(flow=0.0)
    override(bench, "room-mist", True, 30)
    bench.wait(1)
    bench.read(flow=1.0)
    bench.wait(29)  # 30 s: the override ends, and with it the run
    assert not is_on(bench, "room-mist")
    bench.wait(9)
    assert calls(bench, "load-stuck") == []  # 39 s: within its 10 s
    bench.wait(2)
    assert calls(bench, "load-stuck") == [40]
    ((_, notice),) = [(ms, n) for ms, n in bench.notices if n.kind == "load-stuck"]
    assert (notice.priority, notice.space, notice.announce) == (1, "room", True)


def test_f08_a_load_that_stands_though_told_on_is_found_and_calls():
    bench = Bench(guarded(FAN_RUNS, room_fan=proved_by("turns", 15)))
    bench.read(turns=0.0)
    bench.wait(40)  # past its least off time
    override(bench, "room-fan", True)
    bench.wait(14)
    assert calls(bench, "load-dead") == []
    bench.wait(3)
    assert calls(bench, "load-dead") == [55]
    bench.read(turns=1.0)  # somebody put the belt on
    bench.wait(1)
    assert calls(bench, "load-dead", Transition.RTN) == [57]


def test_f08_a_pulse_shorter_than_its_proof_calls_after_three_that_were_never_seen():
    bench = Bench(wet_room())
    bench.read(flow=0.0)
    for n in range(3):
        assert calls(bench, "load-dead") == []
        override(bench, "room-mist", True, 5)
        bench.wait(60)
        assert not is_on(bench, "room-mist"), n
    assert calls(bench, "load-dead") == [135]  # the third pulse ended at 125, and had 10 s
    override(bench, "room-mist", True, 5)
    bench.wait(1)
    bench.read(flow=1.0)
    bench.wait(5)
    bench.read(flow=0.0)
    assert calls(bench, "load-dead", Transition.RTN) == [181]


def test_f08_what_reports_now_and_then_counts_by_reports_made_after_its_time():
    """A report of 10 s ago proves nothing about now: no call before the next one."""
    bench = Bench(guarded(polled("flow", Quantity.FLOW), room_mist=proved_by("flow")))
    override(bench, "room-mist", True, 30)
    bench.wait(29)
    bench.read(flow=1.0)
    bench.wait(20)  # told off at 30, its time ends at 40
    assert calls(bench, "load-stuck") == []
    bench.wait(10)
    bench.read(flow=1.0)
    assert calls(bench, "load-stuck") == [59]


def test_f08_a_count_that_grew_while_it_ran_is_no_water_after_it():
    meter = polled("flow", Quantity.FLOW, pulses=1.0)
    bench = Bench(guarded(meter, room_mist=proved_by("flow")))
    bench.read(flow=100.0)
    override(bench, "room-mist", True, 20)
    bench.wait(40)
    bench.read(flow=140.0)  # grown since 0 s, so by the run that ended at 20 s
    assert calls(bench, "load-stuck") == []
    bench.wait(30)
    bench.read(flow=140.0)
    bench.wait(30)
    bench.read(flow=141.0)  # grown between 70 and 100 s: nothing explains that
    assert calls(bench, "load-stuck") == [100]


@pytest.mark.parametrize("told_on", [True, False])
def test_f08_a_proof_that_is_silent_proves_nothing(told_on):
    silent = contact("flow", Quantity.FLOW, silent_after_ms=20_000)
    bench = Bench(guarded(silent, room_mist={**proved_by("flow"), "longest_run_ms": None}))
    bench.read(flow=0.0 if told_on else 1.0)
    if told_on:
        bench.wait(15)
        override(bench, "room-mist", True)
    bench.wait(300)
    assert calls(bench, "load-dead") == []
    assert calls(bench, "load-stuck") == ([] if told_on else [10])


def stuck(settings_):
    bench = Bench(settings_)
    bench.read(flow=0.0)
    override(bench, "room-mist", True, 30)
    bench.wait(1)
    bench.read(flow=1.0)
    bench.wait(60)
    assert calls(bench, "load-stuck") == [40]
    return bench


def test_f09_nothing_but_a_named_person_lets_it_run_again():
    bench = stuck(wet_room())
    count = len(bench.on("room-mist"))
    bench.read(flow=0.0)
    override(bench, "room-mist", True)
    bench.every(30, 30, room_rh=75.0, **CALM)
    assert len(bench.on("room-mist")) == count
    assert "relay-stuck" in refusals(bench, "room-mist")
    bench.give(by_hand(Act.RESET, "room-mist", text="valve swapped"))
    bench.every(30, 20, room_rh=75.0, **CALM)
    assert len(bench.on("room-mist")) > count
    (done,) = [e for _, e in bench.events if e.reason is Reason.RESET_DONE]
    assert done.facts == {"who": "Ana", "subject": "room-mist", "text": "valve swapped"}
    assert state_of(bench, "load-stuck:room-mist") == "A"


def test_f09_a_reset_is_refused_while_it_still_runs():
    bench = stuck(wet_room())
    bench.give(by_hand(Act.RESET, "room-mist"))
    assert [e.reason for _, e in bench.events if e.kind is EventKind.REFUSED][-1] is Reason.STILL_SO
    assert bench.farm._state.relays["room-mist"].locked


def test_f09_a_reset_by_the_alarms_name_follows_its_table():
    """Alarm table: a reset is refused before the acknowledgement (state E), and ends it after (F)."""
    bench = stuck(wet_room())
    bench.read(flow=0.0)
    bench.wait(1)
    alarm = "load-stuck:room-mist"
    assert state_of(bench, alarm) == "E"
    bench.give(by_hand(Act.RESET, alarm))
    assert (state_of(bench, alarm), bench.farm._state.relays["room-mist"].locked) == ("E", True)
    bench.give(by_hand(Act.ACK, alarm))
    bench.give(by_hand(Act.RESET, alarm))
    assert (state_of(bench, alarm), bench.farm._state.relays["room-mist"].locked) == ("A", False)


def test_f09_the_lock_outlasts_a_restart():
    bench = stuck(wet_room())
    again = Farm.restore(wet_room(), bench.farm.snapshot())
    bench.farm, bench.ms = again, 0
    bench.give(Started("test", "digest", False, 10_000))
    bench.read(flow=0.0)
    override(bench, "room-mist", True)
    assert not is_on(bench, "room-mist")


def test_f08_welded_while_the_daemon_was_away_is_found_after_the_start():
    bench = Bench(wet_room())
    bench.read(flow=1.0)
    bench.wait(11)
    assert calls(bench, "load-stuck") == [10]


def test_f09_the_master_upstream_runs_with_its_loads_and_falls_when_one_sticks():
    bench = stuck(wet_room(relays=(master(),), room_mist={"master": "master"}))
    (began,) = bench.on("master")
    assert (began[0], began[1].reason) == (0, Reason.UPSTREAM_OF)
    assert [ms for ms, c in bench.off("master") if c.reason is not Reason.STARTING] == [30_000]
    assert not is_on(bench, "master")
    override(bench, "master", True)
    assert not is_on(bench, "master")
    assert refusals(bench, "master") == ["upstream-off"]


@settings(max_examples=60)
@given(
    st.lists(st.tuples(st.sampled_from(["on", "off", "flow", "still"]), st.floats(0.5, 40.0)), max_size=25)
)
def test_f08_whatever_happens_a_load_seen_to_run_past_its_time_is_locked(moves):
    """Water and relay move as they like; told off for over 10 s with water seen, it is locked for good."""
    bench = Bench(wet_room(room_mist={"longest_run_ms": None}))
    bench.read(flow=0.0)
    wet, locked = False, False
    for what, seconds in moves:
        if what in ("on", "off"):
            override(bench, "room-mist", what == "on")
        else:
            wet = what == "flow"
            bench.read(flow=float(wet))
        bench.wait(seconds)
        run = bench.farm._state.relays["room-mist"]
        if wet and not run.on and bench.ms >= run.since_mono_ms + 10_000:
            locked = True
        assert run.locked is locked
        assert not (locked and run.on)
