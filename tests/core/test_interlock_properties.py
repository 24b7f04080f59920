"""For any asks, times and conditions: what no relay may ever do, checked on boards that know commands alone.

Source: the promises are the project's fail-safe rules (leases, least times, limits per run, hour and day,
exclusion, people, door and tank before any wish). The checks use the commands' intervals, not the state
that the
code under test keeps.
"""

import json
from collections.abc import Iterator
from dataclasses import replace
from datetime import datetime, timedelta
from itertools import pairwise

from hypothesis import given, settings
from hypothesis import strategies as st

from core.equipment_trial import ROME, WALL_MS, Run, Trial, farm, off, on, relay
from gillhouse.core.asks import Ask, RelayState
from gillhouse.core.instant import Instant
from gillhouse.core.interlock import grant
from gillhouse.core.outputs import Authority, Command
from gillhouse.core.reasons import Reason
from gillhouse.core.settings import FarmSettings, Role, SharedAirSettings, SupplySettings
from gillhouse.core.snapshot import from_plain, to_plain

HOUR_MS = 3_600_000
ASKED = ("valve_a", "valve_b", "valve_c", "damper_a", "damper_b", "heater", "cooler", "mist", "pump")
SAFETY = (Authority.EMERGENCY, Authority.INTERLOCK, Authority.LONGEST_RUN)

CAPS = st.floats(0.0, 3.0)
SECONDS = st.integers(0, 90).map(lambda seconds: seconds * 1000)


@st.composite
def farms(draw: st.DrawFn) -> FarmSettings:
    def limits(**fixed: object) -> dict[str, object]:
        return {
            "least_on_ms": draw(SECONDS),
            "least_off_ms": draw(SECONDS),
            "longest_run_ms": draw(st.none() | st.integers(90, 400).map(lambda seconds: seconds * 1000)),
            "rest_after_longest_ms": draw(SECONDS),
            "starts_per_h": draw(st.none() | st.integers(1, 12)),
            "lease_ms": draw(st.integers(2, 300).map(lambda seconds: seconds * 1000)),
            **fixed,
        }

    gap = draw(SECONDS)
    valves = [
        relay(f"valve_{name}", Role.MIST, name, **limits(pulse_gap_ms=gap, only_door_closed=True))
        for name in "abc"
    ]
    relays = [
        *valves,
        relay("pump", Role.PUMP, None, **limits(tank="tank1")),
        *(relay(f"damper_{name}", Role.DAMPER, name, **limits()) for name in "ab"),
        relay("fan", Role.FAN, None, **limits()),
        relay("heater", Role.HEATER, "a", **limits(never_with=("cooler", "mist"))),
        relay("cooler", Role.COOLER, "a", **limits(never_with=draw(st.sampled_from([(), ("pump",)])))),
        relay(
            "mist", Role.MIST, "a",
            **limits(pulse_gap_ms=gap, not_with_people=True, litres_per_h=36.0, daily_litres=draw(CAPS)),
        ),
    ]  # fmt: skip
    supply = SupplySettings("water", "pump", tuple(valve.id for valve in valves), draw(st.integers(1, 3)))
    air = SharedAirSettings("air", "fan", {"a": "damper_a", "b": "damper_b"})
    return farm(relays, [supply], [air])


def asks(name: str) -> st.SearchStrategy[Ask]:
    authority = st.sampled_from([Authority.DEMAND, Authority.SCHEDULE, Authority.OVERRIDE, Authority.DEFAULT])
    stops = st.sampled_from([*Authority])
    run_s = st.none() | st.integers(1, 600)
    wish = st.sampled_from([Reason.AIR_DRY, Reason.PROGRAMME, Reason.OVERRIDE])
    start = st.builds(on, st.just(name), run_s, authority, wish)
    stop = st.builds(off, st.just(name), stops)
    return start | start | stop


MAYBE = st.sampled_from([True, False, None])
SITUATIONS = st.fixed_dictionaries({
    "door_open": st.fixed_dictionaries(dict.fromkeys("abc", MAYBE)),
    "people": st.fixed_dictionaries({"a": MAYBE}),
    "tank_wet": st.fixed_dictionaries({"tank1": MAYBE}),
    "need": st.fixed_dictionaries(dict.fromkeys("abc", st.floats(0, 10))),
    "harmed_by_shared_air": st.fixed_dictionaries(dict.fromkeys("ab", st.booleans())),
})  # fmt: skip
WISHES = st.lists(st.sampled_from(ASKED), min_size=2, unique=True).map(
    lambda names: [on(name) for name in names]
)
"""Many at once, all held: so that they meet."""
STEPS = st.lists(
    st.one_of(
        st.tuples(st.just("ask"), st.lists(st.sampled_from(ASKED).flatmap(asks), min_size=1, max_size=3)),
        st.tuples(st.just("ask"), WISHES),
        st.tuples(st.just("look"), SITUATIONS),
        st.tuples(st.just("wait"), st.integers(1, 4000)),
        st.tuples(st.just("stall"), st.integers(1, 900)),
    ),
    max_size=30,
)


def played(settings_: FarmSettings, steps: list[tuple[str, object]], stalls: bool) -> Trial:
    trial = Trial(settings_)
    for what, value in steps:
        if what == "ask":
            assert isinstance(value, list)
            trial.ask(*value)
        elif what == "look":
            assert isinstance(value, dict)
            trial.look(**value)
        elif what == "wait" or stalls:
            assert isinstance(value, int)
            if what == "stall":  # the daemon stood still: deadlines passed unseen
                trial.mono_ms += value * 1000
                trial.turn()
            else:
                trial.wait(value)
        check_moment(trial)
    return trial


def check_moment(trial: Trial) -> None:
    """What must hold right after every turn: nothing on that an interlock forbids, no rivals on together."""
    situation, board, mono = trial.situation, trial.board, trial.mono_ms
    for name in "abc":
        assert not (situation.door_open.get(name) and board.is_on(f"valve_{name}", mono))
    assert not (situation.people.get("a") and board.is_on("mist", mono))
    assert not (situation.tank_wet.get("tank1") is False and board.is_on("pump", mono))


def runs(trial: Trial) -> Iterator[tuple[str, list[Run]]]:
    for name, past in trial.board.runs.items():
        for run in past:  # what still runs is looked at up to its lease
            assert run.end > run.start or run.why_ended is not None
        yield name, past


def overlap(first: list[Run], second: list[Run]) -> bool:
    return any(one.start < two.end and two.start < one.end for one in first for two in second)


def litres_by_day(past: list[Run], per_h: float) -> dict[str, float]:
    """Second by second, by the local date on the wall: slow and plain."""
    days: dict[str, float] = {}
    for run in past:
        for mono_ms in range(run.start, run.end, 1000):
            part_ms = min(1000, run.end - mono_ms)
            day = datetime.fromtimestamp((WALL_MS + mono_ms) / 1000, ROME).date().isoformat()
            days[day] = days.get(day, 0.0) + per_h * part_ms / HOUR_MS
    return days


@settings(max_examples=100)
@given(farms(), STEPS, st.booleans())
def test_no_relay_ever_passes_its_limits(
    settings_: FarmSettings, steps: list[tuple[str, object]], stalls: bool
) -> None:
    trial = played(settings_, steps, stalls)
    for name, past in runs(trial):
        limits = settings_.relays[name]
        for run in past:
            if limits.longest_run_ms is not None:
                assert run.end - run.start <= limits.longest_run_ms, name
            ended = run.why_ended
            soft = ended is not None and ended.authority not in SAFETY and not run.let_go
            other = ended is not None and "behind" in ended.facts  # the pump behind it stopped
            if soft and not other:
                assert run.end - run.start >= limits.least_on_ms, (name, ended)
        for before, after in pairwise(past):
            assert after.start - before.end >= limits.least_off_ms, name
        if limits.starts_per_h is not None:
            starts = [run.start for run in past]
            for start in starts:
                recent = [other for other in starts if start - HOUR_MS < other <= start]
                assert len(recent) <= limits.starts_per_h, name


@settings(max_examples=100)
@given(farms(), STEPS, st.booleans())
def test_the_days_water_is_never_passed(
    settings_: FarmSettings, steps: list[tuple[str, object]], stalls: bool
) -> None:
    trial = played(settings_, steps, stalls)
    mist = settings_.relays["mist"]
    assert mist.daily_litres is not None
    for litres in litres_by_day(trial.board.runs.get("mist", []), mist.litres_per_h).values():
        # A run granted before midnight for the old day's litres may take some of them into the new day.
        assert litres <= mist.daily_litres + 0.011


@settings(max_examples=100)
@given(farms(), STEPS, st.booleans())
def test_relays_that_exclude_one_another_never_meet(
    settings_: FarmSettings, steps: list[tuple[str, object]], stalls: bool
) -> None:
    trial = played(settings_, steps, stalls)
    for name, limits in settings_.relays.items():
        for other in limits.never_with:
            assert not overlap(trial.board.runs.get(name, []), trial.board.runs.get(other, [])), (name, other)


@settings(max_examples=100)
@given(farms(), STEPS, st.booleans())
def test_shared_equipment_follows_and_never_serves_too_many(
    settings_: FarmSettings, steps: list[tuple[str, object]], stalls: bool
) -> None:
    trial = played(settings_, steps, stalls)
    board = trial.board
    moments = sorted({run.start for _, past in runs(trial) for run in past})
    for mono_ms in moments:
        valves = [name for name in ("valve_a", "valve_b", "valve_c") if board.is_on(name, mono_ms)]
        dampers = [name for name in ("damper_a", "damper_b") if board.is_on(name, mono_ms)]
        assert len(valves) <= settings_.supplies["water"].most_at_once
        assert len(dampers) <= 1
        assert not valves or board.is_on("pump", mono_ms), mono_ms
        assert not dampers or board.is_on("fan", mono_ms), mono_ms


@settings(max_examples=100)
@given(farms(), STEPS)
def test_a_lease_is_renewed_in_time_whenever_deadlines_are_kept(
    settings_: FarmSettings, steps: list[tuple[str, object]]
) -> None:
    trial = played(settings_, steps, stalls=False)
    assert not [command for _, command in trial.commands if command.reason is Reason.LET_GO]
    for _, command in trial.commands:
        limits = settings_.relays[command.relay]
        assert 0 < command.lease_ms <= limits.lease_ms if command.on else command.lease_ms == 0


@settings(max_examples=100)
@given(farms(), STEPS, st.booleans())
def test_every_command_has_a_cause_and_no_refusal_is_said_twice(
    settings_: FarmSettings, steps: list[tuple[str, object]], stalls: bool
) -> None:
    """That each reason can be worded from its facts is checked by the trial at every turn."""
    trial = played(settings_, steps, stalls)
    assert all(command.causes for _, command in trial.commands if command.on)
    trial.wait(1)  # what a stall cut off begins again at a deadline of its own, a millisecond later
    assert not [command for command in trial.turn().commands if not command.renewal]  # no deadline was missed
    # What went on last in a round may change another's reason in the next, once.
    again = trial.turn()
    assert again.events == ()
    assert [command for command in again.commands if not command.renewal] == []


@settings(max_examples=60)
@given(farms(), STEPS)
def test_the_same_inputs_give_the_same_commands_also_through_a_snapshot(
    settings_: FarmSettings, steps: list[tuple[str, object]]
) -> None:
    trial, twin = Trial(settings_), Trial(settings_)
    for what, value in steps:
        text = json.dumps(to_plain(twin.states))
        twin.states = from_plain(dict[str, RelayState], json.loads(text))
        for one in (trial, twin):
            if what == "ask":
                assert isinstance(value, list)
                one.ask(*value)
            elif what == "look":
                assert isinstance(value, dict)
                one.look(**value)
            else:
                assert isinstance(value, int)
                one.wait(value)
    assert trial.commands == twin.commands
    assert trial.events == twin.events
    assert to_plain(trial.states) == to_plain(twin.states)


@settings(max_examples=60)
@given(farms(), STEPS, st.sampled_from(["door_open", "people", "tank_wet"]))
def test_no_override_passes_an_interlock(
    settings_: FarmSettings, steps: list[tuple[str, object]], which: str
) -> None:
    """After any night, everything is asked on by a person while every interlock says no."""
    trial = played(settings_, steps, stalls=True)
    no = {"door_open": dict.fromkeys("abc", True), "people": {"a": True}, "tank_wet": {"tank1": False}}
    trial.situation = replace(trial.situation, **{which: no[which]})
    everything = [on(name, None, Authority.OVERRIDE, Reason.OVERRIDE) for name in ASKED]
    trial.ask(*everything)
    for _ in range(20):
        trial.wait(61)
        trial.turn()
        check_moment(trial)


@given(farms(), st.integers(-400, 400))
def test_a_wall_clock_that_steps_moves_no_run(settings_: FarmSettings, days: int) -> None:
    """Two farms, one with a stepping wall clock, give the same commands but for the day's water."""
    step_ms = timedelta(days=days) // timedelta(milliseconds=1)
    wishes = tuple(on(name, 30) for name in ASKED if name != "mist")
    plain: dict[str, RelayState] = {}
    stepped: dict[str, RelayState] = {}
    for second in range(0, 900, 10):
        mono = second * 1000
        first = _commands(settings_, Instant(WALL_MS + mono, mono), plain, wishes)
        shift = step_ms if second > 100 else 0
        assert _commands(settings_, Instant(WALL_MS + mono + shift, mono), stepped, wishes) == first


def _commands(
    settings_: FarmSettings, now: Instant, states: dict[str, RelayState], wishes: tuple[Ask, ...]
) -> tuple[Command, ...]:
    return grant(
        now, settings_, states, wishes, Trial.__dataclass_fields__["situation"].default_factory()
    ).commands
