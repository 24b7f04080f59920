"""One relay by itself: pulses, leases, dwell, caps, authority, interlocks, echoes, restarts.

Source of the order of authority, of least times and of limits per run, hour and day: the project's own
decisions, worked by hand below. That safety beats a least on time, and that nothing beats a least off time
but ventilation for people, is common practice.
"""

from datetime import timedelta

import pytest

from core.equipment_trial import ROME, WALL_MS, Trial, farm, off, on, relay
from gillhouse.core import echo
from gillhouse.core.asks import RelayState, Situation
from gillhouse.core.inputs import RelayReport
from gillhouse.core.instant import Instant
from gillhouse.core.interlock import resettle, restart
from gillhouse.core.outputs import Authority, EventKind
from gillhouse.core.reasons import Reason
from gillhouse.core.settings import Role
from gillhouse.core.water import litres_today

MIST = {"role": Role.MIST, "litres_per_h": 36.0, "pulse_gap_ms": 60_000}


def test_a_pulse_is_its_own_lease_and_ends_with_an_off_that_names_its_reading() -> None:
    trial = Trial(farm([relay("mist", **MIST)]))
    (command,) = trial.ask(on("mist", 8)).commands
    assert (command.on, command.lease_ms, command.causes, command.reason) == (
        True,
        8_000,
        (7,),
        Reason.AIR_DRY,
    )
    trial.situation = Situation(causes=(12,))
    trial.ask(off("mist"))  # a demand that ends does not cut the pulse
    trial.wait(20)
    assert trial.told("mist") == [(0, True, "air-dry", False), (8, False, "run-ended", False)]
    last = trial.commands[-1][1]
    assert last.causes == (12, 7)
    assert (last.facts["run_s"], last.facts["litres"]) == (8.0, 0.08)


def test_the_next_pulse_waits_for_the_gap_and_that_is_no_event() -> None:
    trial = Trial(farm([relay("mist", **MIST)]))
    trial.ask(on("mist", 8))
    trial.wait(100)
    assert trial.told("mist") == [
        (0, True, "air-dry", False),
        (8, False, "run-ended", False),
        (68, True, "air-dry", False),
        (76, False, "run-ended", False),
    ]
    assert trial.refusals("mist") == []


@pytest.mark.parametrize(
    ("authority", "cut"),
    [
        (Authority.DEFAULT, False), (Authority.SCHEDULE, False), (Authority.DEMAND, False),
        (Authority.OVERRIDE, True), (Authority.INTERLOCK, True), (Authority.EMERGENCY, True),
    ],
)  # fmt: skip
def test_only_a_person_or_something_stronger_cuts_a_pulse(authority: Authority, cut: bool) -> None:
    trial = Trial(farm([relay("mist", **MIST)]))
    trial.ask(on("mist", 8))
    trial.wait(3)
    commands = trial.ask(off("mist", authority, Reason.STOPPING)).commands
    assert [(command.on, command.authority) for command in commands] == ([(False, authority)] if cut else [])


def test_a_held_run_is_renewed_at_half_its_lease() -> None:
    trial = Trial(farm([relay("fan", lease_ms=60_000)]))
    trial.ask(on("fan", reason=Reason.CO2_HIGH))
    trial.wait(95)
    trial.ask(off("fan"))
    assert trial.told("fan") == [
        (0, True, "co2-high", False),
        (30, True, "co2-high", True),
        (60, True, "co2-high", True),
        (90, True, "co2-high", True),
        (95, False, "in-band", False),
    ]
    assert {command.lease_ms for _, command in trial.commands if command.on} == {60_000}


def test_a_run_longer_than_the_lease_is_renewed_but_never_past_its_end() -> None:
    trial = Trial(farm([relay("fan", lease_ms=60_000)]))
    trial.ask(on("fan", 100, Authority.SCHEDULE, Reason.PROGRAMME))
    trial.wait(200 - 1)
    ends = [
        mono_ms + command.lease_ms for mono_ms, command in trial.commands if command.on and mono_ms < 100_000
    ]
    assert ends == [60_000, 90_000, 100_000]
    assert trial.told("fan")[3] == (100, False, "run-ended", False)


def test_a_lease_nobody_renewed_counts_as_let_go() -> None:
    trial = Trial(farm([relay("fan", lease_ms=60_000, least_off_ms=30_000)]))
    trial.wait(30)
    trial.ask(on("fan"))
    trial.mono_ms = 200_000  # the daemon was stopped: nothing was renewed
    trial.turn()
    trial.wait(60)
    assert trial.told("fan")[:3] == [
        (30, True, "air-dry", False), (200, False, "let-go", False), (230, True, "air-dry", False),
    ]  # fmt: skip
    assert [(run.start, run.end) for run in trial.board.runs["fan"][:1]] == [(30_000, 90_000)]


def test_least_on_and_least_off_hold_a_wish_back_once_each_with_one_event() -> None:
    trial = Trial(farm([relay("cooler", Role.COOLER, least_on_ms=180_000, least_off_ms=300_000)]))
    assert trial.refusals("cooler") == []
    trial.ask(on("cooler"))  # the daemon has just begun: it may have been on a second ago
    trial.wait(310)
    trial.ask(off("cooler"))
    for _ in range(5):
        trial.wait(20)
        trial.turn()
    trial.wait(200)
    assert trial.told("cooler") == [(300, True, "air-dry", False), (480, False, "in-band", False)]
    assert trial.refusals("cooler") == ["least-off", "least-on"]


def test_safety_does_not_wait_for_least_on_but_a_person_does() -> None:
    for authority, at_s in ((Authority.OVERRIDE, 30), (Authority.INTERLOCK, 5), (Authority.EMERGENCY, 5)):
        trial = Trial(farm([relay("fan", least_on_ms=30_000)]))
        trial.ask(on("fan"))
        trial.wait(5)
        trial.ask(off("fan", authority, Reason.STOPPING))
        trial.wait(60)
        assert trial.told("fan")[-1] == (at_s, False, "stopping", False)


def test_longest_run_ends_a_run_whoever_asked_and_lets_it_rest() -> None:
    settings = farm([relay("mist", Role.MIST, longest_run_ms=120_000, rest_after_longest_ms=300_000)])
    trial = Trial(settings)
    trial.ask(on("mist", None, Authority.OVERRIDE, Reason.OVERRIDE))
    trial.wait(700)
    assert trial.told("mist")[:3] == [
        (0, True, "override", False), (120, False, "longest-run", False), (420, True, "override", False),
    ]  # fmt: skip
    assert trial.commands[2][1].authority is Authority.LONGEST_RUN
    leases = [mono_ms + command.lease_ms for mono_ms, command in trial.commands if command.on]
    assert leases[0] == 120_000  # the board itself lets go then, daemon or no daemon


def test_fresh_air_for_people_waits_for_no_dwell_and_no_longest_run() -> None:
    trial = Trial(farm([relay("fan", least_off_ms=600_000, longest_run_ms=60_000, starts_per_h=1)]))
    trial.ask(on("fan", None, Authority.INTERLOCK, Reason.CO2_HIGH))
    trial.wait(600)
    assert trial.board.is_on("fan", 1_000)
    assert trial.board.is_on("fan", 599_000)
    assert not [told for told in trial.told("fan") if told[1] is False]


def test_starts_per_hour_are_counted_over_any_hour() -> None:
    trial = Trial(farm([relay("pump", Role.CIRCULATION, starts_per_h=3)]))
    for minute in range(0, 130, 10):
        trial.mono_ms = minute * 60_000
        trial.ask(on("pump", 60))
        trial.ask(off("pump"))
        trial.wait(599)
    starts = [at_s / 60 for at_s, is_on, _, renewal in trial.told("pump") if is_on and not renewal]
    assert starts == [0, 10, 20, 60, 70, 80, 120]


def test_the_days_water_ends_with_the_cap_and_comes_back_at_local_midnight() -> None:
    # 36 l/h is 10 ml a second. 1 litre a day: 12 pulses of 8 s are 0.96 l, a thirteenth would pass the cap.
    trial = Trial(farm([relay("mist", daily_litres=1.0, **MIST)]))
    trial.ask(on("mist", 8))
    trial.wait(3 * 3600)  # it is 22:00 in Rome: from 24:00 on, another day
    starts = [at_s for at_s, is_on, *_ in trial.told("mist") if is_on]
    assert starts[:12] == [68.0 * number for number in range(12)]
    assert trial.refusals("mist")[:1] == ["water-cap"]
    assert starts[12] == 7200.0
    assert len(starts) == 24


def test_a_held_run_ends_at_the_last_drop() -> None:
    trial = Trial(farm([relay("mist", daily_litres=1.0, **MIST)]))
    trial.ask(on("mist"))
    trial.wait(600)
    assert trial.told("mist")[-1] == (100, False, "water-cap", False)
    (run,) = trial.board.runs["mist"]
    assert (run.start, run.end) == (0, 100_000)


def test_a_clock_that_jumps_a_day_and_back_does_not_refill_the_day() -> None:
    settings = farm([relay("mist", daily_litres=1.0, **MIST)])
    state = RelayState(litres={"2025-12-31": 0.9})
    day = 86_400_000
    today, tomorrow = Instant(WALL_MS, 0), Instant(WALL_MS + day, 0)
    mist = settings.relays["mist"]
    assert litres_today(tomorrow, mist, state, ROME) == 0.0
    assert litres_today(today, mist, state, ROME) == 0.9


@pytest.mark.parametrize(
    ("limits", "situation", "reason"),
    [
        ({"only_door_closed": True}, {"door_open": {"a": True}}, "door-open"),
        ({"not_with_people": True}, {"people": {"a": True}}, "people-inside"),
        ({"tank": "tank1"}, {"tank_wet": {"tank1": False}}, "tank-empty"),
    ],
)
def test_an_interlock_beats_an_override_cuts_at_once_and_says_so_once(
    limits: dict[str, object], situation: dict[str, object], reason: str
) -> None:
    trial = Trial(farm([relay("mist", Role.MIST, least_on_ms=60_000, **limits)]))
    trial.ask(on("mist", None, Authority.OVERRIDE, Reason.OVERRIDE))
    assert trial.board.is_on("mist", 0)
    trial.wait(5)
    (command,) = trial.look(**situation).commands
    assert (command.on, command.reason.value, command.authority) == (False, reason, Authority.INTERLOCK)
    for _ in range(10):
        trial.wait(30)
        assert trial.turn().commands == ()
    assert trial.refusals("mist") == []  # the OFF said it
    fresh = Trial(trial.settings, situation=trial.situation)
    fresh.ask(on("mist", None, Authority.OVERRIDE, Reason.OVERRIDE))
    for _ in range(10):
        fresh.wait(30)
        fresh.turn()
    assert fresh.refusals("mist") == [reason]
    (event,) = [event for _, event in fresh.events]
    assert (event.kind, event.facts["wanted"], event.causes) == (EventKind.REFUSED, "override", (7,))


def test_what_is_not_known_lets_mist_run_and_is_noted() -> None:
    trial = Trial(farm([relay("mist", Role.MIST, tank="tank1", only_door_closed=True, not_with_people=True)]))
    (command,) = trial.ask(on("mist", 8)).commands
    assert {name for name, value in command.facts.items() if value is True} == {
        "tank_unknown", "door_unknown", "people_unknown",
    }  # fmt: skip


def test_relays_that_exclude_one_another_never_meet_and_the_stronger_wish_wins() -> None:
    settings = farm([relay("heater", Role.HEATER, never_with=("cooler",)), relay("cooler", Role.COOLER)])
    trial = Trial(settings)
    trial.wait(10)
    trial.ask(on("heater"), on("cooler"))
    assert (trial.board.is_on("heater", 10_000), trial.board.is_on("cooler", 10_000)) == (True, False)
    assert trial.refusals("cooler") == ["never-with"]
    trial.wait(10)
    trial.ask(on("cooler", None, Authority.OVERRIDE, Reason.OVERRIDE))
    trial.wait(10)
    assert trial.told("heater")[-1] == (20, False, "never-with", False)
    assert trial.told("cooler") == [(22, True, "override", False)]  # two seconds between OFF and ON


def test_what_is_only_advised_hinders_nothing_that_is_driven() -> None:
    heater = relay("heater", Role.HEATER, never_with=("cooler",))
    cooler = relay("cooler", Role.COOLER)
    settings = farm([type(heater)("heater", Role.HEATER, "a", never_with=("cooler",)), cooler])
    trial = Trial(settings)
    trial.wait(10)
    (advice,) = [c for c in trial.ask(on("heater"), off("cooler")).commands if c.relay == "heater"]
    assert advice.advise is True
    trial.ask(on("cooler"))
    assert trial.board.is_on("cooler", 10_000)


def test_the_board_is_told_off_at_the_start_and_again_when_it_comes_back() -> None:
    settings = farm([relay("fan", echo_within_ms=5_000)])
    trial = Trial(settings)
    ((_, first),) = trial.commands
    assert (first.on, first.reason) == (False, Reason.STARTING)
    assert trial.ask(off("fan")).commands == ()
    state, fan = trial.states["fan"], settings.relays["fan"]
    echo.report(Instant(WALL_MS, 0), fan, state, RelayReport("fan", None, available=False))
    assert echo.proof(Instant(WALL_MS, 0), fan, state) is echo.Proof.SILENT
    trial.ask(on("fan"))
    echo.report(Instant(WALL_MS, 0), fan, state, RelayReport("fan", False, available=True))
    (again,) = trial.turn().commands
    assert (again.on, again.renewal, again.lease_ms) == (True, True, 300_000)


def test_a_relay_that_stays_on_is_locked_until_a_person_resets_it() -> None:
    settings = farm([relay("mist", Role.MIST, echo_within_ms=5_000, pulse_gap_ms=0)])
    trial = Trial(settings)
    trial.ask(on("mist", 8))
    state, mist = trial.states["mist"], settings.relays["mist"]
    trial.ask(off("mist"))
    trial.wait(9)
    now = Instant(WALL_MS + 9_500, 9_500)
    echo.report(now, mist, state, RelayReport("mist", True))
    assert echo.proof(now, mist, state) is echo.Proof.AWAITED
    trial.wait(10)
    assert echo.proof(Instant(WALL_MS, trial.mono_ms), mist, state) is echo.Proof.STUCK_ON
    trial.ask(on("mist", 8, Authority.OVERRIDE, Reason.OVERRIDE))
    assert trial.refusals("mist") == ["relay-stuck"]
    assert echo.reset(state) is True
    trial.turn()
    assert trial.board.is_on("mist", trial.mono_ms)


def test_a_restart_gets_round_no_limit() -> None:
    settings = farm([
        relay("mist", daily_litres=1.0, longest_run_ms=60_000, rest_after_longest_ms=300_000, **MIST),
        relay("fan", starts_per_h=2, least_off_ms=30_000),
    ])  # fmt: skip
    trial = Trial(settings)
    trial.wait(30)
    trial.ask(on("mist", 8), on("fan", 10))
    trial.wait(12)
    trial.ask(off("fan"))
    trial.wait(60)
    trial.ask(on("fan", 10), on("mist"))
    trial.wait(30)
    away = timedelta(minutes=10) // timedelta(milliseconds=1)
    now = Instant(WALL_MS + trial.mono_ms + away, 0)
    fresh = restart(now, settings, trial.states)
    assert litres_today(now, settings.relays["mist"], fresh["mist"], ROME) >= 0.08
    assert [(now.wall_ms - start.wall_ms) for start in fresh["fan"].starts] == [
        away + trial.mono_ms - start for start in (30_000, 102_000)
    ]
    after = Trial(settings, fresh)
    after.asks = {}
    assert all(not state.on for state in fresh.values())
    assert fresh["mist"].rest_until == 300_000


def test_new_settings_switch_off_what_is_taken_away() -> None:
    old = farm([relay("fan"), relay("lamp", Role.LIGHT)])
    new = farm([relay("lamp", Role.LIGHT)])
    trial = Trial(old)
    trial.ask(on("fan"), on("lamp"))
    (command,) = resettle(Instant(WALL_MS, 5_000), trial.states, old, new)
    assert (command.relay, command.on) == ("fan", False)
    assert list(trial.states) == ["lamp"]
    assert trial.states["lamp"].on


def test_a_pulse_that_takes_over_a_hold_keeps_the_least_on_time() -> None:
    # By hand: on at 100 s and held; a pulse of 1 s is asked 2 s later; least on is 65 s, so off at 165 s.
    trial = Trial(farm([relay("fan", least_on_ms=65_000)]))
    trial.wait(100)
    trial.ask(on("fan"))
    trial.wait(2)
    trial.ask(on("fan", 1))
    trial.wait(100)
    first = trial.board.runs["fan"][0]
    assert (first.start, first.end) == (100_000, 165_000)
