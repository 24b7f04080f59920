"""F16 no network, F17 rules that want a restart, F19 people inside, F22 a stop, F24 a board back again."""

import signal
import time
from dataclasses import replace

import pytest
from farm import Board, Daemon

from core.farm_parts import WALL_MS, Bench, farm
from failsafe.farms import CALM, by_hand, is_on, override, with_relays
from gillhouse.config import load
from gillhouse.config.restarts import needs_restart
from gillhouse.core.inputs import Act, Due, Link, LinkChange, RelayReport
from gillhouse.core.settings import ProgrammeSettings, Role, When
from servers import MosquittoBroker, wait_until


def test_f16_without_the_broker_relays_of_this_machine_go_on():
    """The sensors came by the broker and are gone too; the timed programme steps in, on a pin of this box."""
    every_15 = ProgrammeSettings("mist-15", "room", Role.MIST, 5_000, 5_000, When.FALLBACK, 15)
    here = with_relays(farm(programmes=(every_15,)), room_mist={"over_broker": False})
    bench = Bench(here)
    bench.give(LinkChange(Link.BROKER, False))
    bench.wait(1_200)
    bench.give(Due("mist-15", WALL_MS + bench.ms))
    assert is_on(bench, "room-mist")
    assert is_on(bench, "room-light") is False  # that one hangs behind the broker


def test_f17_a_changed_rule_of_safety_wants_a_restart(tmp_path, broker: MosquittoBroker):
    daemon = Daemon(tmp_path, broker)
    old = load(daemon.config)
    daemon.write_config(low=88)
    assert needs_restart(old, load(daemon.config)) == ()  # a band may change any time
    text = daemon.config.read_text()
    daemon.config.write_text(text.replace("t/mist/set", "t/elsewhere/set"))
    (moved,) = needs_restart(old, load(daemon.config))
    assert moved.startswith("relays.tent-mist: hangs elsewhere")
    daemon.config.write_text(text.replace("pulse: 3 s,", "pulse: 3 s, not_with_people: no,"))
    (rule,) = needs_restart(old, load(daemon.config))
    assert rule == "relays.tent-mist: other not_with_people; restart gillhouse for it"


def test_f19_with_somebody_inside_the_fan_runs_and_mist_is_off_for_two_hours():
    bench = Bench(with_relays(farm(), room_mist={"not_with_people": True}))
    bench.every(30, 10, room_rh=75.0, **CALM)
    bench.give(by_hand(Act.INSIDE, "room"))
    bench.wait(60)
    assert is_on(bench, "room-fan")
    assert not is_on(bench, "room-mist")
    count = len(bench.on("room-mist"))
    override(bench, "room-mist", True)
    bench.every(60, 100, room_rh=75.0, **CALM)
    assert len(bench.on("room-mist")) == count
    bench.every(60, 30, room_rh=75.0, **CALM)  # past 2 h
    assert len(bench.on("room-mist")) > count


def test_f22_a_stop_lets_go_first_and_a_second_one_changes_nothing(tmp_path, broker: MosquittoBroker):
    daemon, board = Daemon(tmp_path, broker), Board(broker)
    try:
        daemon.start()
        wait_until(daemon.connected, 20, "the link")
        board.air(rh=60.0)
        wait_until(lambda: board.ons("t/mist/set"), 20, "mist")
        begun = time.monotonic()
        daemon.signal(signal.SIGTERM)
        daemon.signal(signal.SIGTERM)
        assert daemon.wait(15) == 0
        assert time.monotonic() - begun < 10
        last = {where: what["on"] for where, what in board.heard}
        assert last == {"t/mist/set": False, "t/fan/set": False}
    finally:
        daemon.kill()
        board.close()


@pytest.mark.parametrize("wanted", [True, False])
def test_f24_a_board_that_comes_back_is_told_anew(wanted):
    bench = Bench(with_relays(farm(), room_light={"echo_within_ms": 5_000}))
    bench.give(RelayReport("room-light", True))
    override(bench, "room-light", wanted, 3600)
    bench.wait(10)
    bench.give(RelayReport("room-light", None, available=False))
    bench.wait(60)
    count = len(bench.commands)
    bench.give(RelayReport("room-light", False, available=True))
    told = [command for _, command in bench.commands[count:] if command.relay == "room-light"]
    assert [command.on for command in told] == [wanted]
    assert all(replace(command).lease_ms > 0 for command in told if wanted)
