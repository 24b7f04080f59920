"""For any mix of acts, switches and air: what holds while somebody is inside, and that every mode ends.

Source: the fail-safe list of the project's own design (its sixth, seventh and nineteenth points).
"""

import json

from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from core.mode_parts import Room, room
from gillhouse.core.farm import Farm
from gillhouse.core.inputs import Act, Started
from gillhouse.core.mode_acts import LASTS_MS
from gillhouse.core.modes import Mode, modes_of
from gillhouse.core.outputs import Authority

ACTS = [Act.INSIDE, Act.CLEANING, Act.HARVEST, Act.AIRING, Act.EMPTY, Act.OVER]
STEPS = st.lists(
    st.one_of(
        st.tuples(st.sampled_from(ACTS), st.none() | st.integers(-5, 30_000)),
        st.tuples(st.sampled_from(["people", "press", "door"]), st.sampled_from([0.0, 1.0])),
        st.tuples(st.just("air"), st.floats(40.0, 99.0)),
        st.tuples(st.just("wait"), st.integers(1, 9000)),
        st.tuples(st.sampled_from(["room-fan", "room-mist", "lamp"]), st.booleans()),
        st.tuples(st.just("restart"), st.just(0)),
    ),
    min_size=1,
    max_size=25,
)


def check(bench: Room) -> None:
    state = bench.farm._state
    modes = modes_of(state, "room")
    inside = any(mode in (Mode.PEOPLE_INSIDE, Mode.CLEANING, Mode.HARVEST) for mode in modes)
    if inside:
        assert not bench.is_on("room-mist"), modes
        assert not bench.is_on("lamp"), modes
        assert bench.is_on("room-fan"), modes
    for relay, held in state.overrides.items():
        assert 0 < held.until_ms - bench.ms <= 14_400_000, relay
        assert held.who and held.why
    stays = state.stays.get("room")
    for one in [*state.modes.values(), *([stays.now] if stays and stays.now else [])]:
        if one.mode in LASTS_MS:
            assert one.until_ms is not None and 0 < one.until_ms - bench.ms <= LASTS_MS[one.mode][1]


@settings(max_examples=25, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(STEPS, st.booleans())
def test_while_somebody_is_inside_the_fan_runs_and_mist_and_lamp_never(
    steps: list[tuple[object, object]], snapshots: bool
) -> None:
    bench = Room()
    bench.air(1, room_rh=88.0)
    for what, value in steps:
        if isinstance(what, Act):
            bench.does(what, for_ms=None if value is None else int(value) * 1000)  # type: ignore[call-overload]
        elif what == "air":
            bench.air(1, room_rh=value)  # type: ignore[arg-type]
        elif what == "wait":
            bench.wait(value)  # type: ignore[arg-type]
        elif what == "restart":
            bench.give(Started("test", "digest", clean=False))
            bench.air(1, room_rh=88.0)
        elif what in ("people", "press", "door"):
            bench.read(**{str(what): value})  # type: ignore[arg-type]
        else:
            bench.does(Act.OVERRIDE, str(what), on=value)
        if snapshots:
            bench.farm = Farm.restore(room(), json.loads(json.dumps(bench.farm.snapshot())))
        check(bench)


@settings(max_examples=15, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(STEPS)
def test_left_alone_every_mode_but_out_of_use_ends(steps: list[tuple[object, object]]) -> None:
    bench = Room()
    for what, value in steps:
        if isinstance(what, Act):
            bench.does(what)
        elif what in ("people", "press", "door"):
            bench.read(**{str(what): value})  # type: ignore[arg-type]
    bench.wait(8 * 3600 + 1)
    assert set(modes_of(bench.farm._state, "room")) <= {Mode.EMPTY}
    asked = {command.authority for _, command in bench.commands if command.on}
    assert asked <= {*Authority}
    assert bench.farm._state.overrides == {}
