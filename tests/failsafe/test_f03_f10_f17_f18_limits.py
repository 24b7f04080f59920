"""F3 running time by hour and day; F10 statements of hardware; F17 a refused config; F18 the day's water.

All figures worked by hand in each test.
"""

from dataclasses import replace

import pytest

from core.farm_parts import WALL_MS, Bench, farm
from failsafe.farms import CALM, by_hand, calls, guarded, is_on, override, with_relays
from gillhouse.core.farm import Farm
from gillhouse.core.guard_settings import LimiterSettings, StatementSettings
from gillhouse.core.inputs import Act, Link, LinkChange, Started
from gillhouse.core.instant import Instant
from gillhouse.core.outputs import EventKind, Transition
from gillhouse.core.reasons import WORDS, Reason
from gillhouse.core.reminders import due

TODAY = Instant(WALL_MS, 0)
"""2025-10-09."""


def test_f03_running_time_of_an_hour_is_used_up_and_comes_back():
    bench = Bench(guarded(room_mist={"most_per_h_ms": 100_000, "longest_run_ms": None}))
    override(bench, "room-mist", True, 3 * 3600)
    bench.wait(3599)
    on = [(ms // 1000, c.on) for ms, c in bench.commands if c.relay == "room-mist" and not c.renewal]
    assert on == [(0, False), (0, True), (100, False)]
    assert bench.off("room-mist")[1][1].reason is Reason.HOUR_USED
    bench.wait(200)
    assert bench.on("room-mist")[1][0] // 1000 in range(3600, 3700)  # as the first 100 s drop out of the hour


def test_f03_running_time_of_a_day_is_used_up_until_local_midnight():
    """The bench begins at 08:53:20 UTC; midnight is 54,400 s later."""
    bench = Bench(guarded(room_light={"most_per_day_ms": 3_600_000}))
    bench.wait(54_399)
    assert [ms // 1000 for ms, _ in bench.off("room-light")] == [3_600]
    assert [ms // 1000 for ms, _ in bench.on("room-light")] == [0]


@pytest.mark.parametrize("limit", ["most_per_h_ms", "most_per_day_ms"])
def test_f03_a_restart_gets_round_neither(limit):
    settings = guarded(room_light={limit: 600_000})
    bench = Bench(settings)
    bench.wait(700)
    assert not is_on(bench, "room-light")
    kept = bench.farm.snapshot()
    again = Bench(settings, started=False)
    again.farm, again.ms, again.seq = Farm.restore(settings, kept), 710_000, 1_000
    again.give(Started("test", "digest", False, 10_000))
    again.wait(60)
    assert not is_on(again, "room-light")


def test_f10_an_untested_limiter_is_reminded_of_after_180_days():
    """2025-10-09 is 180 days after 2025-04-12 and 181 after 2025-04-11 (worked on a calendar)."""
    for tested, lines in (("2025-04-12", 0), ("2025-04-11", 1)):
        limiter = {"limiter": LimiterSettings(180_000, tested)}
        settings = with_relays(farm(), room_mist=limiter, room_heater=limiter)
        found = due(settings, None, TODAY)
        assert len([one for one in found if one.reason is Reason.TEST_OVERDUE]) == 2 * lines
    assert WORDS[found[0].reason].format(**found[0].facts) == (
        "test the run-time limiter of room-mist: last done 2025-04-11, 181 days ago"
    )


def test_f10_a_load_that_can_flood_or_burn_without_one_is_told():
    assert [one.subject for one in due(farm(), None, TODAY)] == ["room-mist", "room-heater"]
    advised = with_relays(farm(), room_mist={"advise_only": True}, room_heater={"advise_only": True})
    assert due(advised, None, TODAY) == ()


def test_f10_statements_grow_old_and_dates_to_come_are_doubted():
    stated = {
        "pull-resistors": StatementSettings("pull-resistors", "2025-10-01"),
        "emergency-stop": StatementSettings("emergency-stop", "2025-01-01"),
        "residual-current": StatementSettings("residual-current", "2025-09-01", 30 * 86_400_000),
        "hand-valve": StatementSettings("hand-valve", "2026-10-01"),
    }
    settings = replace(farm(relays=()), statements=stated, relays={})
    found = {one.subject: one.reason for one in due(settings, None, TODAY)}
    assert found == {
        "emergency-stop": Reason.TEST_OVERDUE,
        "residual-current": Reason.TEST_OVERDUE,
        "hand-valve": Reason.TEST_AHEAD,
    }


def test_f17_a_refused_config_calls_and_a_good_one_ends_that():
    bench = Bench(farm())
    bench.give(LinkChange(Link.CONFIG, False, "farm.yaml:3:1: farm.zone: is no time zone"))
    bench.wait(1)
    assert calls(bench, "config-refused") == [0]
    bench.give(LinkChange(Link.CONFIG, True))
    bench.wait(600)
    assert len(calls(bench, "config-refused", Transition.RTN)) == 1


def wet_day():
    """6 l/h and 0.1 l a day: 60 s of mist; 80 % of it after 48 s."""
    return guarded(room_mist={"daily_litres": 0.1, "longest_run_ms": None})


def test_f18_the_days_cap_is_told_at_80_percent_and_ends_the_mist():
    bench = Bench(wet_day())
    override(bench, "room-mist", True)
    bench.wait(47)
    bench.read(room_rh=90.0)
    assert calls(bench, "water-cap-near") == []
    bench.wait(100)
    bench.read(room_rh=90.0, **CALM)
    assert [ms // 1000 for ms, _ in bench.off("room-mist")][-1] == 60
    assert len(calls(bench, "water-cap-near")) == 1


def test_f18_a_person_gives_half_of_it_again_once():
    bench = Bench(wet_day())
    override(bench, "room-mist", True, 3600)
    bench.wait(100)
    bench.give(by_hand(Act.MORE_WATER, "room-mist"))
    assert is_on(bench, "room-mist")
    bench.wait(100)
    assert [ms // 1000 for ms, _ in bench.off("room-mist")][1:] == [60, 130]  # 30 s more
    bench.give(by_hand(Act.MORE_WATER, "room-mist"))
    assert not is_on(bench, "room-mist")
    assert [e.reason for _, e in bench.events if e.kind is EventKind.REFUSED][-1] is Reason.ALREADY_MORE
