"""The daemon as a grower runs it: a child process, Debian's mosquitto, a board that speaks MQTT."""

import json
import signal
import time

from farm import Board, Daemon

from gillhouse.core.outputs import EventKind, Transition
from gillhouse.store.reader import Reader
from servers import MosquittoBroker, wait_until


def _events(daemon: Daemon, kind: EventKind) -> list[str]:
    with Reader(daemon.state / "journal.db") as reader:
        return [at.event.subject for at in reader.events(0, 1 << 62, kind)]


def _dry_until_mist(board: Board, before: int = 0) -> None:
    def look() -> bool:
        board.air(70.0)
        return len(board.ons("t/mist/set")) > before

    wait_until(look, 30, "a mist pulse")


def test_dry_air_gives_a_pulse_that_carries_its_end_and_a_reason(daemon: Daemon, board: Board) -> None:
    daemon.start()
    wait_until(daemon.connected, 10, "the broker")
    _dry_until_mist(board)
    assert all(0 < on["for"] <= 60 for on in board.ons("t/mist/set")), "no ON without its end"
    daemon.signal(signal.SIGTERM)
    begun = time.monotonic()
    assert daemon.wait() == 0
    assert time.monotonic() - begun < 10
    assert wait_until(lambda: board.heard[-1][1]["on"] is False, 5, "the last word to be OFF")
    with Reader(daemon.state / "journal.db") as reader:
        on = next(at for at in reader.commands(0, 1 << 62, "tent-mist") if at.command.on)
        causes = [reader.input(seq) for seq in on.command.causes]
    found = [cause[2] for cause in causes if cause is not None]
    assert any(getattr(item, "sensor", "") == "tent-rh" and item.value == 70.0 for item in found)
    assert _events(daemon, EventKind.STOPPED) == ["daemon"]


def test_a_crash_opens_the_next_log_with_a_gap_and_a_clean_stop_does_not(
    daemon: Daemon, board: Board
) -> None:
    daemon.start()
    wait_until(daemon.connected, 10, "the broker")
    _dry_until_mist(board)
    daemon.kill()
    (daemon.state / "local.sock").unlink()
    daemon.start()
    assert wait_until(lambda: _events(daemon, EventKind.GAP), 10, "the gap to be told")
    gaps = len(_events(daemon, EventKind.GAP))
    daemon.signal(signal.SIGTERM)
    daemon.wait()
    daemon.start()
    wait_until(lambda: len(_events(daemon, EventKind.STARTED)) >= 2, 10, "the third start")
    assert len(_events(daemon, EventKind.GAP)) == gaps


def test_a_broker_restart_is_survived_and_told(daemon: Daemon, board: Board, broker: MosquittoBroker) -> None:
    daemon.start()
    wait_until(daemon.connected, 10, "the broker")
    broker.stop()
    wait_until(lambda: not daemon.connected(), 20, "the loss to be noticed")
    broker.start()
    wait_until(daemon.connected, 60, "the link to come back")
    _dry_until_mist(board)


def test_a_broker_absent_at_the_start_is_waited_for(daemon: Daemon, broker: MosquittoBroker) -> None:
    broker.stop()
    daemon.start()
    assert not daemon.connected()
    broker.start()
    wait_until(daemon.connected, 60, "the link to come up")


def test_a_changed_config_comes_into_force_whole_or_not_at_all(daemon: Daemon, board: Board) -> None:
    daemon.start()
    wait_until(daemon.connected, 10, "the broker")
    daemon.config.write_text(daemon.config.read_text().replace("volume_m3: 9", "volume_m3: nine"))
    daemon.signal(signal.SIGHUP)
    wait_until(lambda: "volume_m3" in daemon.log.read_text(), 10, "the mistake to be told")
    daemon.write_config(low=82)
    daemon.signal(signal.SIGHUP)

    def low() -> float:
        board.air(70.0)
        space = json.loads(daemon.run("now", "--json"))["spaces"]["tent"]
        return float(space["quantities"]["humidity"]["low"])

    wait_until(lambda: low() == 82, 15, "the new limit")


def test_a_second_daemon_on_the_same_journal_is_refused(daemon: Daemon) -> None:
    daemon.start()
    said = daemon.run("run", "--config", str(daemon.config), fails=True)
    assert "is being written by another gillhouse" in said
    assert not daemon.ended()


def test_a_state_directory_that_cannot_be_made_is_refused_with_what_to_do(daemon: Daemon) -> None:
    (daemon.folder / "state").write_text("a file stands here")
    daemon.state = daemon.folder / "state" / "deeper"
    said = daemon.run("run", "--config", str(daemon.config), fails=True)
    assert "cannot write the store" in said and "--state" in said
    assert "Traceback" not in said


def test_dead_air_is_told_listed_and_acknowledged(daemon: Daemon, board: Board) -> None:
    """CO2 over 15,000 ppm is told at once in a space people can enter (HSE EH40/2005, 15-minute limit)."""
    daemon.start()
    wait_until(daemon.connected, 10, "the broker")

    def listed() -> str:
        board.air(90.0, co2=20_000)
        return "co2-people-15000:tent" if "co2-people-15000:tent" in daemon.run("ack") else ""

    alarm = wait_until(listed, 30, "the alarm")
    assert alarm in daemon.run("now")
    assert f"seen: {alarm}" in daemon.run("ack", alarm, "--text", "aired the tent")
    with Reader(daemon.state / "journal.db") as reader:
        seen = [at.notice for at in reader.alarms(0, 1 << 62) if at.notice.transition is Transition.ACK]
    assert [notice.alarm for notice in seen] == [alarm]
    assert "no alarm 'nonsense' stands" in daemon.run("ack", "nonsense", fails=True)


def test_people_are_recorded_with_and_without_a_daemon(daemon: Daemon, board: Board) -> None:
    daemon.start()
    wait_until(daemon.connected, 10, "the broker")
    daemon.run("note", "tent", "hosed by hand")
    daemon.run("override", "tent-fan", "on", "--for", "30s", "--why", "smells stale")
    wait_until(lambda: board.ons("t/fan/set"), 10, "the fan to be asked for")
    assert "tent-fan" in daemon.run("now")
    assert "no alarm" in daemon.run("ack")
    said = daemon.run("override", "tent-fan", "on", "--for", "9h", "--why", "smells stale", fails=True)
    assert "not between 1s and 4h" in said
    daemon.signal(signal.SIGTERM)
    daemon.wait()
    daemon.run("note", "tent", "written while nobody listens")
    with Reader(daemon.state / "journal.db") as reader:
        notes = [at.event.facts.get("text") for at in reader.events(0, 1 << 62, EventKind.NOTE)]
    assert notes == ["hosed by hand", "written while nobody listens"]
    assert "the same" in daemon.run("replay")
    assert "nothing is running" in daemon.run(
        "override", "tent-fan", "on", "--why", "smells stale", fails=True
    )
