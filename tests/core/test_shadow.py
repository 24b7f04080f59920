"""The shadow estimate on a simulated room that shares no physics with it, under an ordinary day's steering.

What is true is read from the room. Days run from midnight to midnight with weather between 6 and 14 C.
"""

from random import Random

import pytest
from hypothesis import given
from hypothesis import strategies as st

from core.measured_room import MeasuredRoom
from core.steered_room import DAY_MS, WALL_MS, SteeredRoom
from gillhouse.core.shadow import (
    DAYS_BETTER,
    DRIFT_WORDS,
    Drift,
    Seen,
    ShadowPlan,
    ShadowState,
    drift_words,
    drifts,
    fan_factor,
    follow,
    mist_share,
    settle_anew,
)
from gillhouse.core.snapshot import from_plain, to_plain

LABELS = ShadowPlan(60.0, 0.3, 250.0, 0.6, 24.0)


@pytest.fixture(scope="module")
def lived() -> list[SteeredRoom]:
    """Three rooms (other sensors each) with a fan that gives three quarters of its label, three days on."""
    rooms = [SteeredRoom(MeasuredRoom(seed), LABELS) for seed in (0, 1, 2)]
    for room in rooms:
        room.days(3)
    return rooms


def test_fan_and_breath_are_found_within_fifteen_percent(lived: list[SteeredRoom]) -> None:
    for room in lived:
        assert room.state.air is not None
        found = room.state.air.pair
        assert found.gain * 250.0 == pytest.approx(room.room.added_m3_per_h(), rel=0.15)
        climb = room.room.source_m3_per_h() * 1e6 / 60.0
        assert found.base == pytest.approx(climb, rel=0.15)


def test_useful_mist_lies_between_what_evaporates_in_flight_and_a_quarter_more(
    lived: list[SteeredRoom],
) -> None:
    """Films that dry within a quarter of an hour count too; the ledger tells flight apart, not films."""
    for room in lived:
        assert room.state.water is not None
        book = room.room.room.ledger
        label_kg = sum(end - begin for begin, end in room.room.spans["mist"]) / 3_600_000 * 24.0
        flown = book.flown_kg / label_kg
        assert 0.95 * flown < room.state.water.pair.gain < 1.25 * flown


def test_it_takes_over_after_three_better_days_and_not_before(lived: list[SteeredRoom]) -> None:
    room = lived[0]
    assert room.state.air is not None
    assert room.state.air.better_days < DAYS_BETTER
    assert fan_factor(room.state) == 1.0, "three days have begun, two have been judged better"
    room.days(1.1)
    assert room.state.air.better_days >= DAYS_BETTER
    assert fan_factor(room.state) == pytest.approx(room.room.added_m3_per_h() / 250.0, rel=0.15)


def test_right_labels_stay_in_charge() -> None:
    """The fan's label is what it gives; the estimate can predict no better, so nothing changes."""
    plan = ShadowPlan(60.0, 0.3, 188.0, 0.6, 24.0)
    room = SteeredRoom(MeasuredRoom(3), plan, fan_label=188.0)
    for _ in range(5):
        room.days(1)
        assert fan_factor(room.state) == 1.0


def test_a_nozzle_that_gives_a_third_less_is_told_within_four_days() -> None:
    room = SteeredRoom(MeasuredRoom(1), LABELS)
    room.days(4.05)
    assert list(drifts(room.state)) == []
    room.room.mist_kg_s *= 0.7
    room.days(4)
    (found,) = drifts(room.state)
    assert found.what == "mist"
    assert 0.6 < found.share < 0.85
    assert "clean nozzles and filter" in drift_words(found)
    settle_anew(room.state, "mist")
    assert list(drifts(room.state)) == []


def _noise(rng: Random, ms: int) -> Seen:
    return Seen(
        WALL_MS + ms, ms, rng.uniform(400, 2000), rng.uniform(0.003, 0.012), 425.0, rng.uniform(0.003, 0.009),
        250.0 * (rng.random() < 0.3), 24.0 * (rng.random() < 0.2),
    )  # fmt: skip


@pytest.mark.parametrize("seed", range(4))
def test_it_does_not_take_over_on_garbage(seed: int) -> None:
    rng, state = Random(seed), ShadowState()
    for ms in range(0, 8 * DAY_MS, 60_000):
        follow(LABELS, state, _noise(rng, ms))
        if ms % DAY_MS == 0:
            assert fan_factor(state) == 1.0
            assert mist_share(state) is None
            assert list(drifts(state)) == []


def test_a_flat_or_silent_sensor_teaches_nothing() -> None:
    state = ShadowState()
    for ms in range(0, 5 * DAY_MS, 60_000):
        co2 = None if ms % DAY_MS < DAY_MS // 2 else 800.0
        follow(LABELS, state, Seen(WALL_MS + ms, ms, co2, 0.009, 425.0, 0.006, 0.0, 0.0))
    assert fan_factor(state) == 1.0
    assert mist_share(state) is None


def test_an_open_door_is_left_out() -> None:
    """A block that a door cuts into is thrown away whole."""
    state = ShadowState()
    for ms in range(0, DAY_MS, 60_000):
        shut = ms // 60_000 % 10 != 0
        follow(LABELS, state, Seen(WALL_MS + ms, ms, 800.0, 0.009, 425.0, 0.006, 250.0, 0.0, shut))
    assert state.air is not None
    assert state.air.pair.gain == 1.0


def test_every_drift_has_words() -> None:
    assert {(what, less) for what, less in DRIFT_WORDS} == {
        (what, less) for what in ("fan", "mist") for less in (True, False)
    }
    assert drift_words(Drift("fan", 0.6)).startswith("the fan moves 40 % less air than it did")


VALUE = st.none() | st.floats(allow_nan=True, allow_infinity=True) | st.floats(0, 5000)


@given(
    st.lists(
        st.tuples(
            st.integers(-(10**6), 10**8), st.integers(-1000, 10**6), VALUE, VALUE,
            st.floats(allow_nan=True, allow_infinity=True), st.floats(-1, 1), st.floats(0, 1e6),
            st.floats(0, 1e6),
        ),
        max_size=60,
    )
)  # fmt: skip
def test_whatever_is_seen_the_state_stays_finite(steps) -> None:
    """`to_plain` refuses what is not finite; clocks may step either way."""
    state, wall, mono = ShadowState(), WALL_MS, 0
    for wall_step, mono_step, co2, ratio, intake, outside, fan, mist in steps:
        wall, mono = wall + wall_step, max(mono + mono_step, 0)
        follow(LABELS, state, Seen(wall, mono, co2, ratio, intake, outside, fan, mist))
        assert from_plain(ShadowState, to_plain(state)) == state
        assert 0.1 <= fan_factor(state) <= 2.5
