"""F1 nothing energises before its time; F2 every ON ends; F25 advice and trial touch nothing real."""

import re
import signal
from math import nan
from pathlib import Path

import pytest
from farm import Board, Daemon
from hypothesis import given, settings
from hypothesis import strategies as st

from core.farm_parts import WALL_MS, Bench, farm
from failsafe.farms import CALM
from gillhouse.core import bars, selfcheck
from gillhouse.core.inputs import Delivery, Reading
from gillhouse.core.outputs import Authority
from gillhouse.core.settings import Role
from servers import MosquittoBroker, wait_until

DRIVEN_BY_AIR = ("room-mist", "room-heater", "room-fan")


@settings(max_examples=40)
@given(
    st.lists(
        st.tuples(
            st.sampled_from(["room-rh", "room-temp", "room-co2"]),
            st.sampled_from([nan, float("inf"), -500.0, 1e9, 60.0]),
            st.sampled_from(list(Delivery)),
        ),
        max_size=15,
    )
)
def test_f01_nothing_that_follows_the_air_goes_on_before_a_valid_reading(readings):
    """Impossible values, and good ones that are old or kept, drive nothing in the sensors' own time."""
    bench = Bench(farm())
    for sensor, value, delivery in readings:
        if delivery is Delivery.LIVE and value == 60.0:
            continue
        bench.wait(5)
        bench.give(Reading(sensor, value, WALL_MS + bench.ms, delivery=delivery))
    assert not any(bench.on(relay) for relay in DRIVEN_BY_AIR)
    assert all(bench.off(relay) for relay in DRIVEN_BY_AIR)  # each was told off at the start


def test_f01_the_check_of_itself_passes_and_finds_a_rule_that_is_gone(monkeypatch):
    assert selfcheck.trouble() == ()
    monkeypatch.setattr(bars, "MAY_NOT_RUN", ())
    found = selfcheck.trouble()
    assert "mist begins with people inside" in found
    assert "mist goes on with the emergency stop" in found
    assert "heater and cooler are not kept apart" not in found or len(found) >= 8


@pytest.fixture
def daemon(tmp_path: Path, broker: MosquittoBroker):
    one = Daemon(tmp_path, broker)
    yield one
    one.kill()


@pytest.fixture
def board(broker: MosquittoBroker):
    one = Board(broker)
    yield one
    one.close()


def switched_on(board: Board) -> list[dict]:
    return [*board.ons("t/mist/set"), *board.ons("t/fan/set")]


def test_f01_a_real_start_a_kill_and_a_stop_energise_nothing_by_themselves(daemon, board):
    daemon.start()
    wait_until(daemon.connected, 20, "the link")
    assert switched_on(board) == []
    board.air(rh=300.0)  # impossible: no reading at all
    board.air(rh=60.0)
    wait_until(lambda: board.ons("t/mist/set"), 20, "mist after a good reading")
    daemon.kill()
    count = len(switched_on(board))
    daemon.start()
    wait_until(daemon.connected, 20, "the link")
    assert len(switched_on(board)) == count


def test_f01_f02_a_daemon_that_hangs_leaves_nothing_on_past_its_end(daemon, board):
    """SIGSTOP: every ON the board has heard carries its own end, and the woken daemon replays none."""
    daemon.start()
    wait_until(daemon.connected, 20, "the link")
    board.air(rh=60.0)
    wait_until(lambda: board.ons("t/mist/set"), 20, "mist")
    daemon.signal(signal.SIGSTOP)
    heard = len(board.heard)
    ends = [one["for"] for one in board.ons("t/mist/set")]
    assert all(1 <= seconds <= 120 for seconds in ends)  # the longest run of a mist relay
    assert len(board.heard) == heard
    daemon.signal(signal.SIGCONT)
    wait_until(lambda: any(not one["on"] for where, one in board.heard[heard:]), 20, "OFF after its pulse")


def test_f02_every_on_is_a_lease_with_an_end():
    bench = Bench(farm())
    bench.every(30, 40, room_rh=75.0, **CALM)
    ons = [command for _, command in bench.commands if command.on]
    assert ons and all(0 < command.lease_ms <= 300_000 for command in ons)


def test_f25_a_farm_on_advice_sends_nothing_to_any_relay(daemon, board):
    text = daemon.config.read_text().replace("advise_only: no", "advise_only: yes")
    daemon.config.write_text(text)
    daemon.start()
    wait_until(daemon.connected, 20, "the link")
    board.air(rh=60.0)
    wait_until(lambda: re.search(r"tent-mist +ON .*\(advice only\)", daemon.run("now")), 20, "the advice")
    daemon.signal(signal.SIGTERM)
    assert daemon.wait(15) == 0
    assert board.heard == []  # no ON, and no OFF either: somebody else may be driving it


@pytest.mark.parametrize("role", list(Role))
def test_f05_the_order_of_authority_is_the_lists(role):
    order = [
        Authority.EMERGENCY,
        Authority.INTERLOCK,
        Authority.LONGEST_RUN,
        Authority.OVERRIDE,
        Authority.DEMAND,
        Authority.SCHEDULE,
        Authority.DEFAULT,
    ]
    assert sorted(Authority) == order
    assert bars.MAY_NOT_RUN[0].__name__ == "_barred", role
