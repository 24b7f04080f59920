"""A measuring run's phases, and everything that ends one. Limits: see the module; no outside source."""

from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from core.farm_parts import farm, sensor, space
from core.measured_room import MeasuredRoom
from core.measuring_run import MeasuringRun, settings
from gillhouse.core.instant import Instant
from gillhouse.core.outputs import Authority
from gillhouse.core.quantities import Quantity
from gillhouse.core.reasons import WORDS, Reason
from gillhouse.core.settings import SpaceKind
from gillhouse.core.snapshot import from_plain, to_plain
from gillhouse.core.step_plan import PHASE_WORDS, STOP_WORDS, Phase, RunPlan, Stop, plan_run
from gillhouse.core.step_test import Look, RunState, advance, asks, begin, due_ms, facts, give_up

GOOD = Look(700.0, 90.0, 17.0, False, False, True, False)


def _plan() -> RunPlan:
    plan = plan_run(settings(), "room")
    assert isinstance(plan, RunPlan)
    return plan


def _at(ms: int) -> Instant:
    return Instant(1_760_000_000_000 + ms, ms)


def _begun(minute: int = 0) -> RunState:
    state = RunState()
    assert begin(_plan(), state, GOOD, _at(minute * 60_000), "ana") is None
    return state


def test_every_phase_and_stop_has_words() -> None:
    assert set(PHASE_WORDS) == set(Phase)
    assert set(STOP_WORDS) == set(Stop)
    for phase in Phase:
        assert WORDS[Reason.MEASURING].format(who="ana", phase=PHASE_WORDS[phase])


@pytest.mark.parametrize(
    ("made", "why"),
    [
        (farm(space(kind=SpaceKind.OPEN)), Stop.OPEN),
        (farm(space(), relays=()), None),
        (replace(farm(), relays={}), Stop.NO_FAN),
        (replace(farm(), sensors={"rh": sensor("rh", Quantity.HUMIDITY, "room")}), Stop.NO_CO2_SENSOR),
        (
            replace(farm(), relays={"f": replace(farm().relays["room-fan"], id="f", advise_only=True)}),
            Stop.ADVISE_ONLY,
        ),
    ],
)
def test_what_can_be_measured(made, why) -> None:
    found = plan_run(made, "room")
    assert found is why if why else isinstance(found, RunPlan)


def test_a_pulse_adds_seven_points_and_keeps_the_longest_run() -> None:
    """60 m3 x 1.19 kg/m3 x 0.0008 / 0.6 is 95 g; at 24 L/h that is 14.3 s."""
    assert _plan().pulse_ms == pytest.approx(14_280, abs=5)
    small = settings()
    mist = replace(small.relays["room-mist"], longest_run_ms=5_000)
    plan = plan_run(replace(small, relays={**small.relays, "room-mist": mist}), "room")
    assert isinstance(plan, RunPlan)
    assert plan.pulse_ms == 4_000


@pytest.mark.parametrize(
    ("changed", "why"),
    [
        ({"co2": None}, Stop.NO_CO2_SENSOR),
        ({"people": True}, Stop.PEOPLE),
        ({"door_open": True}, Stop.DOOR),
        ({"link_up": False}, Stop.LINK),
        ({"co2": 1400.0}, Stop.CO2_LIMIT),
        ({"humidity": 79.0}, Stop.DRY),
        ({"temperature": 9.0}, Stop.COLD),
        ({"temperature": 26.0}, Stop.HOT),
    ],
)
def test_a_run_is_refused(changed, why) -> None:
    state = RunState()
    assert begin(_plan(), state, replace(GOOD, **changed), _at(0), "ana") is why
    assert not state.running
    assert asks(_plan(), state, _at(0), 1) == []


def test_only_one_run_at_a_time() -> None:
    state = _begun()
    assert begin(_plan(), state, GOOD, _at(1000), "beno") is Stop.RUNNING
    assert state.who == "ana"


def test_the_fan_rests_and_mist_goes_on_as_usual() -> None:
    state = _begun()
    (only,) = asks(_plan(), state, _at(0), 7)
    assert (only.relay, only.on, only.authority, only.causes) == ("room-fan", False, Authority.OVERRIDE, (7,))
    assert WORDS[only.reason].format(**only.facts) == "being measured for ana: fan off, CO2 climbs"


@pytest.mark.parametrize(
    ("changed", "why", "after_s"),
    [
        ({"people": True}, Stop.PEOPLE, 0),
        ({"door_open": True}, Stop.DOOR, 0),
        ({"link_up": False}, Stop.LINK, 0),
        ({"co2": 1500.0}, Stop.CO2_LIMIT, 0),
        ({"temperature": 9.9}, Stop.COLD, 0),
        ({"temperature": 25.1}, Stop.HOT, 0),
        ({"humidity": 79.9}, Stop.DRY, 300),
        ({"co2": None}, Stop.SENSOR, 180),
        ({"fan_on": True}, Stop.FAN_HELD, 0),
    ],
)
def test_a_run_is_given_up(changed, why, after_s) -> None:
    """At once, or after the time that the module states; until then the run goes on."""
    plan, state = _plan(), _begun()
    for second in range(0, 240, 10):
        assert not advance(plan, state, GOOD, _at(second * 1000))
    ended = None
    for second in range(240, 1200, 10):
        if advance(plan, state, replace(GOOD, **changed), _at(second * 1000)):
            ended = second
            break
    assert (state.phase, state.why) == (Phase.GIVEN_UP, why)
    assert ended is not None
    slack = 10 if why is Stop.SENSOR else 0  # counted from the last time it was known
    assert 240 + after_s - slack <= ended <= 240 + after_s
    assert asks(plan, state, _at(ended * 1000), 1) == []
    assert due_ms(state, ended * 1000) is None


def test_people_unknown_or_nobody_does_not_stop_it() -> None:
    plan, state = _plan(), _begun()
    assert not advance(plan, state, replace(GOOD, people=None, door_open=None), _at(10_000))
    assert state.running


def test_no_climb_is_given_up_after_its_time() -> None:
    plan, state = _plan(), _begun()
    for minute in range(1, 110):
        advance(plan, state, replace(GOOD, co2=700.0 + minute % 2), _at(minute * 60_000))
    assert state.why is Stop.NO_CLIMB


def test_a_fan_that_moves_nothing_is_given_up() -> None:
    plan, state = _plan(), _begun()
    for minute in range(1, 240):
        on = state.phase is not Phase.REST
        look = replace(GOOD, co2=min(700.0 + 20.0 * minute, 1300.0), fan_on=on)
        advance(plan, state, look, _at(minute * 60_000))
    assert state.why is Stop.NO_FALL


def test_by_hand() -> None:
    state = _begun()
    give_up(state, Stop.BY_HAND, _at(5000))
    assert facts(state)["why"] == "by-hand"
    give_up(state, Stop.DOOR, _at(6000))
    assert state.why is Stop.BY_HAND


def test_too_wet_for_long_ends_the_rest_early() -> None:
    plan, state = _plan(), _begun()
    for minute in range(1, 40):
        look = replace(GOOD, co2=700.0 + 10.0 * minute, humidity=98.5 if minute >= 20 else 90.0)
        if advance(plan, state, look, _at(minute * 60_000)):
            break
    assert (state.phase, minute) == (Phase.AIR, 30)


def test_a_whole_run_on_a_simulated_room() -> None:
    room = MeasuredRoom(3)
    room.heat = True
    room.run(300)
    run = MeasuringRun(room)
    assert run.begin() is None
    run.run(400)
    assert run.state.phase is Phase.DONE
    assert list(run.state.marks) == ["rest", "air", "mist", "again", "done"]
    assert run.state.top_ppm - run.state.start_ppm > 300
    assert 5 <= run.state.pulses <= 7
    pulses = [s for s in room.spans["mist"] if run.mark_ms("mist") <= s[0] < run.mark_ms("again")]
    assert all(end - begin <= run.plan.pulse_ms + 4_000 for begin, end in pulses)


@pytest.mark.parametrize("phase", [Phase.REST, Phase.AIR, Phase.MIST, Phase.AGAIN])
@pytest.mark.parametrize("what", ["people", "door", "link", "blind"])
def test_a_run_is_given_up_in_every_phase(phase: Phase, what: str) -> None:
    room = MeasuredRoom(3)
    room.heat = True
    room.run(300)
    run = MeasuringRun(room)
    run.begin()
    while run.state.phase is not phase:
        run.run(0.2)
    run.run(1)
    if what == "link":
        run.link_up = False
    else:
        setattr(run, what, True)
    run.run(4)
    why = {"people": Stop.PEOPLE, "door": Stop.DOOR, "link": Stop.LINK, "blind": Stop.SENSOR}[what]
    assert run.state.why is why
    assert not asks(run.plan, run.state, run.now(), 1)


@given(
    st.lists(
        st.tuples(
            st.integers(1, 1200),
            st.none() | st.floats(150, 40_000),
            st.none() | st.floats(0, 100),
            st.none() | st.floats(-40, 60),
            st.sampled_from([None, True, False]),
            st.booleans(),
        ),
        max_size=60,
    )
)
def test_whatever_happens_a_run_ends_and_its_state_is_kept(steps) -> None:
    """It takes no longer than its phases may; the snapshot goes round; nothing is asked once it is over."""
    plan, state, second = _plan(), _begun(), 0
    for wait, co2, humidity, temperature, shut, fan in steps:
        second += wait
        look = Look(co2, humidity, temperature, shut, None, True, fan)
        advance(plan, state, look, _at(second * 1000))
        assert from_plain(RunState, to_plain(state)) == state
        assert bool(asks(plan, state, _at(second * 1000), 1)) is state.running
        due = due_ms(state, second * 1000)
        assert due is None or due > second * 1000
    for _ in range(300 * 60 // 30):
        second += 30
        look = replace(GOOD, fan_on=state.phase in (Phase.AIR, Phase.MIST))
        advance(plan, state, look, _at(second * 1000))
    assert not state.running


def test_one_high_reading_does_not_end_the_fans_rest() -> None:
    """Near the limit five minutes are the least: a climb of one reading carries no figure."""
    plan, state = _plan(), RunState()
    begin(plan, state, replace(GOOD, co2=1200.0), _at(0), "ana")
    for second in range(10, 300, 10):
        assert not advance(plan, state, replace(GOOD, co2=1470.0), _at(second * 1000))
    assert advance(plan, state, replace(GOOD, co2=1470.0), _at(300_000))
    assert state.phase is Phase.AIR
