"""Every relay off without the daemon: whatever drives it, in bounded time, and never beside a running one.

A real broker and a board on it, and a Modbus board by pymodbus' own server. What each driver does is in the
drivers' suite. Outside truth: systemd.service(5), ExecStopPost= runs after every end, for TimeoutStopSec= at
most.
"""

import signal
import subprocess
import sys
import time
from pathlib import Path

from farm import FARM, Board, Daemon

from relays.modbus_board import ModbusBoard
from servers import MosquittoBroker, free_port, wait_until


def off(*words: str | Path, code: int) -> str:
    done = subprocess.run(
        [sys.executable, "-m", "gillhouse", "off", *map(str, words)],
        capture_output=True, text=True, timeout=60, check=False,
    )  # fmt: skip
    assert done.returncode == code, done.stdout + done.stderr
    return done.stdout + done.stderr


def offs(board: Board, topic: str) -> int:
    return sum(1 for where, what in board.heard if where == topic and not what["on"])


def test_after_a_kill_every_relay_of_the_config_is_told_off(daemon: Daemon, board: Board) -> None:
    daemon.start()
    wait_until(daemon.connected, 10, "the broker")

    def dry() -> bool:
        board.air(70.0)
        return bool(board.ons("t/mist/set"))

    wait_until(dry, 30, "a mist pulse")
    daemon.kill()
    before = {topic: offs(board, topic) for topic in ("t/mist/set", "t/fan/set")}
    told = off("--config", daemon.config, "--state", daemon.state, code=0)
    assert told.splitlines() == ["tent-fan: told off", "tent-mist: told off"]
    for topic, count in before.items():
        wait_until(lambda topic=topic, count=count: offs(board, topic) > count, 5, f"OFF on {topic}")


def test_it_knows_what_was_in_force_though_the_file_is_broken_now(daemon: Daemon, board: Board) -> None:
    daemon.start()
    wait_until(daemon.connected, 10, "the broker")
    board.air(90.0)
    daemon.signal(signal.SIGKILL)
    daemon.wait()
    daemon.config.write_text("farm: [")
    told = off("--config", daemon.config, "--state", daemon.state, code=0)
    assert "tent-mist: told off" in told
    assert "farm.yaml:1" in told, "what is wrong with the file is said too"


def test_without_a_journal_the_file_is_enough(tmp_path: Path, broker: MosquittoBroker, board: Board) -> None:
    config = tmp_path / "farm.yaml"
    config.write_text(FARM.format(port=broker.port, low=87, protocol="auto"))
    told = off("--config", config, "--state", tmp_path / "none", code=0)
    assert "tent-fan: told off" in told
    wait_until(lambda: offs(board, "t/fan/set"), 5, "OFF for the fan")


def test_without_a_broker_it_says_so_and_ends_in_time(tmp_path: Path) -> None:
    config = tmp_path / "farm.yaml"
    config.write_text(FARM.format(port=free_port(), low=87, protocol="auto"))
    begun = time.monotonic()
    told = off("--config", config, "--state", tmp_path / "none", "--within", "9", code=1)
    assert "tent-mist: not reached" in told
    assert "lets go by itself" in told
    assert time.monotonic() - begun < 20


def test_a_broker_that_hangs_holds_it_up_no_longer_than_its_bound(
    tmp_path: Path, broker: MosquittoBroker
) -> None:
    config = tmp_path / "farm.yaml"
    config.write_text(FARM.format(port=broker.port, low=87, protocol="auto"))
    assert broker._process is not None
    broker._process.send_signal(signal.SIGSTOP)
    try:
        begun = time.monotonic()
        off("--config", config, "--state", tmp_path / "none", "--within", "9", code=1)
        assert time.monotonic() - begun < 20
    finally:
        broker._process.send_signal(signal.SIGCONT)


def test_beside_a_running_daemon_it_is_refused(daemon: Daemon, board: Board) -> None:
    daemon.start()
    wait_until(daemon.connected, 10, "the broker")
    told = off("--config", daemon.config, "--state", daemon.state, code=2)
    assert "would switch them on again" in told
    assert not daemon.ended()


def test_what_is_advice_only_is_not_touched(tmp_path: Path, broker: MosquittoBroker, board: Board) -> None:
    config = tmp_path / "farm.yaml"
    text = FARM.format(port=broker.port, low=87, protocol="auto")
    config.write_text(text.replace("advise_only: no", "advise_only: yes"))
    assert "nothing to switch off" in off("--config", config, "--state", tmp_path / "none", code=0)
    assert not board.heard


def test_with_no_config_at_all_a_person_is_sent(tmp_path: Path) -> None:
    told = off("--config", tmp_path / "none.yaml", "--state", tmp_path / "none", code=2)
    assert "switch off by hand" in told


COILS = """  lamp:
    {{space: tent, role: light, driver: modbus, modbus: {{host: 127.0.0.1, port: {port}, coil: 3}}}}
  stir:
    {{space: tent, role: circulation, driver: modbus, modbus: {{host: 127.0.0.1, port: {port}, coil: 5}}}}
"""


def test_coils_that_a_killed_daemon_left_on_are_read_back_off(
    tmp_path: Path, broker: MosquittoBroker
) -> None:
    coils = ModbusBoard(lambda: 0)
    coils.coils[3] = coils.coils[5] = coils.coils[6] = True
    config = tmp_path / "farm.yaml"
    text = FARM.format(port=broker.port, low=87, protocol="auto") + COILS.format(port=coils.port)
    config.write_text(text)
    try:
        told = off("--config", config, "--state", tmp_path / "none", "--within", "20", code=0)
        assert {"lamp: off", "stir: off", "tent-fan: told off"} <= set(told.splitlines())
        assert (coils.coils[3], coils.coils[5], coils.coils[6]) == (False, False, True), "6 is another's"
        coils.coils[3] = coils.frozen = True
        told = off("--config", config, "--state", tmp_path / "none", "--within", "20", code=1)
        assert "lamp: STILL ON" in told
    finally:
        coils.stop()
    told = off("--config", config, "--state", tmp_path / "none", "--within", "9", code=1)
    assert "lamp: not reached" in told
