"""Who has the say over a relay: the stronger always, whatever the weaker ask.

Order: emergency stop, interlock, longest run, by hand, rule, schedule, default. Source: the fail-safe list of
the project's own design (its fifth point); that a safety stop waits for no least on time is common practice,
no source. The expected answer is read from a plain list here, not from the code's own order.
"""

from hypothesis import given, settings
from hypothesis import strategies as st

from core.equipment_trial import Trial, farm, off, on, relay
from gillhouse.core.asks import Ask, Bar
from gillhouse.core.outputs import Authority
from gillhouse.core.reasons import Reason
from gillhouse.core.settings import Role

LEAST_ON_S = 60
REST_MS = 10_000_000
ORDER = ("emergency", "interlock", "longest run", "by hand", "rule", "schedule")
"""Strongest first; with none of them the relay is off."""
SAFETY = ORDER[:3]
ASKED = {
    "by hand": (Authority.OVERRIDE, Reason.OVERRIDE),
    "rule": (Authority.DEMAND, Reason.AIR_DRY),
    "schedule": (Authority.SCHEDULE, Reason.PROGRAMME),
}
CLAIMS = st.fixed_dictionaries(
    {},
    optional={
        "emergency": st.just(False),
        "interlock": st.just(False),
        "longest run": st.just(False),
        "by hand": st.booleans(),
        "rule": st.booleans(),
        "schedule": st.booleans(),
    },
)


def wanted(claims: dict[str, bool]) -> bool:
    return next((claims[name] for name in ORDER if name in claims), False)


def trial_of(role: Role = Role.MIST) -> Trial:
    return Trial(farm([relay("it", role, least_on_ms=LEAST_ON_S * 1000, not_with_people=True)]))


def claim(trial: Trial, claims: dict[str, bool]) -> None:
    asks: list[Ask] = []
    for name, (authority, reason) in ASKED.items():
        if name in claims:
            make = on("it", None, authority, reason) if claims[name] else off("it", authority)
            asks.append(make)
    trial.asks = {str(place): ask for place, ask in enumerate(asks)}
    if "longest run" in claims:
        state = trial.states["it"]
        state.rest_until = trial.mono_ms + REST_MS
        if state.on:  # it has run for as long as it may
            state.limit_end, state.limit_reason = trial.mono_ms, Reason.LONGEST_RUN
    stop = {"it": Bar(Reason.RELAY_STUCK, {}, Authority.EMERGENCY)} if "emergency" in claims else {}
    trial.look(people={"a": "interlock" in claims}, barred=stop)


@settings(max_examples=200)
@given(CLAIMS)
def test_from_rest_the_strongest_decides(claims: dict[str, bool]) -> None:
    trial = trial_of()
    trial.wait(1000)
    claim(trial, claims)
    assert trial.board.is_on("it", trial.mono_ms) is wanted(claims)


@settings(max_examples=200)
@given(CLAIMS)
def test_while_it_runs_the_strongest_decides_and_safety_waits_for_nothing(claims: dict[str, bool]) -> None:
    trial = trial_of()
    trial.wait(1000)
    trial.ask(on("it"))
    trial.wait(1)
    claim(trial, claims)
    hurries = any(name in claims for name in SAFETY)
    if not wanted(claims) and not hurries:
        assert trial.board.is_on("it", trial.mono_ms)  # its least on time is kept
        trial.wait(LEAST_ON_S)
    assert trial.board.is_on("it", trial.mono_ms) is wanted(claims)


@settings(max_examples=100)
@given(CLAIMS, st.booleans())
def test_air_for_people_is_an_interlock_that_asks_on(claims: dict[str, bool], running: bool) -> None:
    """Over rest, least off time, override, rule and schedule; under the emergency stop alone."""
    trial = trial_of(Role.FAN)
    trial.settings.relays["it"] = relay("it", Role.FAN, least_off_ms=600_000)
    if running:
        trial.wait(1000)
        trial.ask(on("it"))
        trial.wait(1)
    claims = {name: value for name, value in claims.items() if name != "interlock"}
    claim(trial, claims)
    trial.asks["people"] = Ask("it", True, None, Authority.INTERLOCK, Reason.AIR_INSIDE, (9,), {})
    trial.turn()
    trial.turn()  # what went off in a round may go on again in the next alone
    assert trial.board.is_on("it", trial.mono_ms + 1) is ("emergency" not in claims)


DOOR = st.sampled_from([True, False, None])


@given(DOOR, DOOR, st.sampled_from([Authority.OVERRIDE, Authority.DEMAND, Authority.SCHEDULE]), st.booleans())
def test_a_uv_lamp_wants_proof(
    door: bool | None, people: bool | None, authority: Authority, walk_in: bool
) -> None:
    """On only with the door known to be shut and, where people can enter, nobody known to be inside."""
    trial = Trial(farm([relay("it", Role.UV)]))
    space = trial.settings.spaces["a"]
    trial.settings.spaces["a"] = type(space)(
        **{name: getattr(space, name) for name in space.__dataclass_fields__ if name != "walk_in"},
        walk_in=walk_in,
    )
    trial.wait(1000)
    counted = {} if people is None and not walk_in else {"a": people}
    trial.look(door_open={"a": door}, people=counted)
    trial.ask(on("it", None, authority, Reason.PROGRAMME))
    proved = door is False and (people is False or (people is None and not walk_in))
    assert trial.board.is_on("it", trial.mono_ms) is proved


@given(DOOR.filter(lambda door: door is not False))
def test_a_uv_lamp_goes_off_with_the_door(door: bool | None) -> None:
    trial = Trial(farm([relay("it", Role.UV, least_on_ms=3_600_000)]))
    trial.wait(1000)
    trial.look(door_open={"a": False}, people={"a": False})
    trial.ask(on("it"))
    assert trial.board.is_on("it", trial.mono_ms)
    trial.look(door_open={"a": door})
    assert not trial.board.is_on("it", trial.mono_ms)
