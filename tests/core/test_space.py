"""One space: its plan from the settings, and that every relay of it always has exactly one ask."""

from dataclasses import replace

from hypothesis import given
from hypothesis import strategies as st

from core.farm_parts import WALL_MS, farm, sensor, space
from gillhouse.core.asks import RelayState
from gillhouse.core.instant import Instant
from gillhouse.core.quality import SensorState
from gillhouse.core.quantities import Quantity
from gillhouse.core.readings import Mark, Quality
from gillhouse.core.reasons import Reason
from gillhouse.core.settings import RelaySettings, Role, SharedAirSettings, SpaceKind
from gillhouse.core.space import SpaceState, asks, refresh, refresh_intake, steered
from gillhouse.core.space_plan import plan_space


def good(value):
    return SensorState(
        0, value, 0, quality=Quality.GOOD, mark=Mark.NONE, good_value=value, good_ms=0, good_seq=3
    )


def test_a_pulse_is_cut_down_for_little_air():
    """6 l/h is 1.667 g/s; 0.3 g/kg in 20 m3 x 1.19 kg is 7.14 g: 4.28 s instead of 8 s. In 5 m3 it would be
    1.07 s, but never less than a quarter of the pulse: 2 s."""
    settings = farm()
    assert abs(plan_space(settings, settings.spaces["room"]).mist.pulse_ms - 4_284) <= 1
    small = farm(space(volume_m3=5.0))
    assert plan_space(small, small.spaces["room"]).mist.pulse_ms == 2_000
    large = farm(space(volume_m3=200.0))
    assert plan_space(large, large.spaces["room"]).mist.pulse_ms == 8_000


def test_an_open_space_steers_its_nozzles_and_nothing_else():
    settings = farm(space(kind=SpaceKind.OPEN))
    plan = plan_space(settings, settings.spaces["room"])
    assert plan.mist is not None
    assert (plan.air, plan.heat, plan.cool) == (None, None, None)


def test_intake_and_outdoor_sensors_are_not_the_rooms_air():
    settings = farm(
        sensors=(
            sensor("in-rh", Quantity.HUMIDITY, "room", "intake"),
            sensor("out-temp", Quantity.TEMPERATURE, None, "outdoor"),
        )
    )
    plan = plan_space(settings, settings.spaces["room"])
    assert [s.id for s in plan.sensors[Quantity.HUMIDITY]] == ["room-rh"]
    assert [s.id for s in plan.intake[Quantity.HUMIDITY]] == ["in-rh"]
    assert [s.id for s in plan.intake[Quantity.TEMPERATURE]] == ["out-temp"]


def test_a_shared_fan_is_asked_through_the_spaces_damper():
    relays = (
        RelaySettings("big-fan", Role.FAN, None, air_m3_per_h=500.0),
        RelaySettings("room-damper", Role.DAMPER, "room"),
    )
    settings = farm(
        relays=relays, shared_air={"air": SharedAirSettings("air", "big-fan", {"room": "room-damper"})}
    )
    settings = replace(settings, relays={k: r for k, r in settings.relays.items() if k != "room-fan"})
    plan = plan_space(settings, settings.spaces["room"])
    assert plan.flows == (("room-damper", 500.0),)
    assert plan.relays["room-damper"] is Role.FAN
    assert "big-fan" not in plan.relays


def test_intake_air_comes_from_sensors_first_then_settings_then_a_guess():
    settings = farm(sensors=(sensor("out-temp", Quantity.TEMPERATURE, None, "outdoor"),))
    plan, state = plan_space(settings, settings.spaces["room"]), SpaceState()
    sensors = {id: SensorState(0) for id in settings.sensors}
    refresh_intake(plan, state, sensors)
    assert state.intake.temperature_c == 12.0
    sensors["out-temp"] = good(3.0)
    refresh_intake(plan, state, sensors)
    assert state.intake.temperature_c == 3.0
    # psychrolib 2.5: 3 C at 70 % carries 3.28 g/kg
    assert abs(state.intake.ratio * 1000 - 3.284) < 0.01


def test_steered_roles():
    state = SpaceState()
    settings = farm()
    plan = plan_space(settings, settings.spaces["room"])
    sensors = {id: SensorState(0) for id in settings.sensors}
    sensors["room-rh"] = good(90.0)
    refresh(plan, state, sensors, Quantity.HUMIDITY, 0)
    assert steered(state, Role.MIST)
    assert not steered(state, Role.FAN)
    assert not steered(state, Role.LIGHT)


@given(
    st.lists(
        st.tuples(
            st.sampled_from(["room-rh", "room-temp", "room-co2"]),
            st.one_of(st.none(), st.floats(1, 60)),
            st.integers(0, 700_000),
            st.booleans(),
        ),
        max_size=30,
    )
)
def test_every_relay_has_exactly_one_ask_whatever_is_known(steps):
    settings = farm()
    plan, state, at = plan_space(settings, settings.spaces["room"]), SpaceState(), 0
    sensors = {id: SensorState(0) for id in settings.sensors}
    relays = {id: RelayState() for id in settings.relays}
    refresh_intake(plan, state, sensors)
    for id, value, ms, fan in steps:
        at += ms
        sensors[id] = SensorState(at) if value is None else good(value)
        refresh(plan, state, sensors, settings.sensors[id].quantity, at)
        relays["room-fan"].on = fan
        given_asks = asks(plan, state, relays, Instant(WALL_MS + at, at), settings)
        assert [ask.relay for ask in given_asks] == list(plan.relays)
        for ask in given_asks:
            assert ask.run_ms is None or (ask.on and ask.run_ms > 0)
            if ask.reason is Reason.NO_GOOD_READING:
                assert not ask.on
