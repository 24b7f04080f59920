"""People inside and relays by hand, from the command line through a real broker to the boards."""

import json
import signal

import pytest
from farm import Board, Daemon

from gillhouse.core.inputs import Act, OperatorAction
from gillhouse.core.reasons import Reason
from gillhouse.replay import replay
from gillhouse.store.reader import Reader
from servers import wait_until


@pytest.fixture
def dry(daemon: Daemon, board: Board) -> Daemon:
    """The daemon, up, with air so dry that it mists."""
    daemon.start()
    wait_until(daemon.connected, 20, "the broker link")
    for _ in range(3):
        board.air(70.0)
    wait_until(lambda: board.ons("t/mist/set"), 20, "the first mist")
    return daemon


def last(board: Board, topic: str) -> bool | None:
    said = [what["on"] for where, what in board.heard if where == topic]
    return said[-1] if said else None


def test_somebody_inside_by_word(dry: Daemon, board: Board) -> None:
    said = dry.run("mode", "tent", "inside", "--why", "picking up a label")
    assert said.startswith("tent: somebody inside, 120 min at most (") and "picking up a label" in said
    wait_until(lambda: last(board, "t/fan/set") is True, 10, "the fan")
    wait_until(lambda: last(board, "t/mist/set") is False, 10, "no mist")
    now = dry.run("now")
    assert "SOMEBODY INSIDE since" in now
    board.heard.clear()
    board.air(70.0)
    said = dry.run("override", "tent-mist", "on", "--why", "looks dry")
    assert said == "tent-mist: not on now, somebody is inside; asked for 30m\n"
    said = dry.run("override", "tent-fan", "off", "--for", "5m", "--why", "too loud")
    assert said == "tent-fan: not off now, fresh air while somebody is inside; asked for 5m\n"
    assert dry.run("override", "tent-fan", "end") == "tent-fan decides for itself again\n"
    assert dry.run("override", "tent-mist", "end") == "tent-mist decides for itself again\n"
    assert board.ons("t/mist/set") == [] and last(board, "t/fan/set") in (None, True)
    assert "no longer somebody inside" in dry.run("mode", "tent", "over")
    again = dry.run("mode", "tent", "over", fails=True)
    assert "nothing was changed: nothing is on in tent that could be ended" in again
    board.air(70.0)
    wait_until(lambda: board.ons("t/mist/set"), 20, "mist again")


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (("override", "tent-fan", "on"), "say why"),
        (("override", "tent-fan", "on", "--why", "  "), "say why"),
        (("override", "tent-fan", "on", "--for", "5h", "--why", "x"), "5h is not between 1s and 4h"),
        (("override", "attic-fan", "on", "--why", "x"), "not done, there is no such thing as attic-fan here"),
        (("override", "tent-fan", "end"), "not done, nobody asked anything of tent-fan by hand"),
        (("mode", "attic", "inside"), "there is no such thing as attic here"),
        (("mode", "tent", "inside", "--for", "9h"), "9h is not between 1s and 8h"),
        (("mode", "tent", "air"), "no board says whether a fan of tent runs"),
    ],
)
def test_what_cannot_be_is_refused_in_words(dry: Daemon, words: tuple[str, ...], said: str) -> None:
    assert said in dry.run(*words, fails=True)


def test_out_of_use_while_a_batch_is_inside(dry: Daemon) -> None:
    dry.run(
        "batch",
        "add",
        "lm-1",
        "--species",
        "lions-mane",
        "--stage",
        "fruiting",
        "--kg",
        "40",
        "--space",
        "tent",
    )
    told = dry.run("mode", "tent", "empty", fails=True)
    assert "nothing was changed: lm-1 is still in tent: move it or end it first" in told


def test_a_restart_drops_what_was_by_hand_and_keeps_who_is_inside(dry: Daemon, board: Board) -> None:
    dry.run("override", "tent-fan", "on", "--why", "smells stale")
    dry.run("mode", "tent", "inside")
    dry.signal(signal.SIGTERM)
    assert dry.wait(20) == 0
    board.heard.clear()
    dry.start()
    wait_until(dry.connected, 20, "the broker link")
    wait_until(lambda: last(board, "t/fan/set") is True, 20, "the fan for who is inside")
    status = json.loads(dry.run("now", "--json"))
    tent = status["spaces"]["tent"]
    assert [one["mode"] for one in tent["modes"]] == ["inside"]
    assert tent["relays"]["tent-fan"]["override_s"] is None
    assert tent["modes"][0]["until_ms"] - tent["modes"][0]["since_ms"] == 2 * 3_600_000
    dry.signal(signal.SIGTERM)
    assert dry.wait(20) == 0
    with Reader(dry.state / "journal.db") as reader:
        acts = [item.act for _, _, item in reader.inputs_of(OperatorAction, 0, 1 << 62)]
        reasons = [one.event.reason for one in reader.events(0, 1 << 62)]
        again = replay(reader, 0, 1 << 48)
    assert acts == [Act.OVERRIDE, Act.INSIDE]
    assert {Reason.DROPPED, Reason.MODE_BEGUN} <= set(reasons)
    assert again.first is None and again.inputs > 0
