"""`gillhouse measure` and the real daemon: begun over its socket, told in its journal, ended by hand."""

import json
from typing import Any

from farm import Board, Daemon

from gillhouse.clock import SystemClock
from gillhouse.commands.measure import await_journal
from gillhouse.core.inputs import Measure
from gillhouse.core.reasons import Reason
from gillhouse.local import ask
from gillhouse.store.reader import Reader
from servers import wait_until


def _run(daemon: Daemon) -> dict[str, Any]:
    status: dict[str, Any] = json.loads(daemon.run("now", "--json"))
    run: dict[str, Any] = status["measuring"].get("tent", {}).get("run") or {"running": False}
    return run


def _co2(daemon: Daemon) -> float:
    status = json.loads(daemon.run("now", "--json"))
    return float(status["spaces"]["tent"]["quantities"]["co2"]["value"])


def test_a_run_is_begun_rests_the_fan_and_is_ended_by_hand(daemon: Daemon, board: Board) -> None:
    daemon.start()
    wait_until(daemon.connected, 10, "the broker")
    said = daemon.run("measure", "tent", "--nobody-inside", fails=True)
    assert "no CO2 sensor of it reports" in said

    def begun() -> bool:
        board.air(90.0, 650.0)
        ask(daemon.state, {"ask": "measure", "space": "tent", "begin": True})
        return bool(_run(daemon)["running"])

    wait_until(begun, 20, "a run to begin")
    assert _run(daemon)["words"] == "fan off, CO2 climbs"
    assert "it is being measured already" in daemon.run("measure", "tent", "--nobody-inside", fails=True)
    board.air(90.0, 980.0)  # enough for the fan to run, were it not measured
    wait_until(lambda: _co2(daemon) > 970.0, 10, "the reading to be taken")
    assert board.ons("t/fan/set") == []
    assert "decides for itself again" in daemon.run("measure", "tent", "--end")
    assert _run(daemon)["why"] == "by-hand"
    await_journal(daemon.state, "tent", SystemClock())
    assert "incomplete" in daemon.run("measure", "tent", "--last", "--json")
    assert board.ons("t/fan/set"), "the stale air is let out as soon as the run is over"
    with Reader(daemon.state / "journal.db") as reader:
        events = [at.event for at in reader.events(0, 1 << 62)]
        told = [event.facts["phase"] for event in events if event.reason is Reason.MEASURING]
        items = [item for *_, item in reader.inputs_between(0, None)]
    assert told[-1] == "given up: ended by hand"
    assert [item.begin for item in items if isinstance(item, Measure)][-1] is False
