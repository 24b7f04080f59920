"""The real daemon with a relay on a Modbus board: at its start, without a broker, unplugged, killed."""

import json
import time
from collections.abc import Iterator
from pathlib import Path

import pytest

from relays.modbus_board import ModbusBoard
from servers import MosquittoBroker, wait_until
from service.farm import Daemon

FARM = """\
farm: {name: Test farm (invented), zone: UTC, advise_only: no}
broker: {host: 127.0.0.1, port: %d}
spaces:
  tent:
    {name: Tent, kind: tent, walk_in: no, volume_m3: 9, crop: {species: lions-mane, stage: fruiting, kg: 40}}
sensors:
  tent-rh: {space: tent, quantity: humidity, unit: "%%", topic: t/air, format: json, path: /rh, seq: /n, every: 1 s}
  tent-co2: {space: tent, quantity: co2, unit: ppm, topic: t/air, format: json, path: /co2, seq: /n, every: 1 s}
relays:
  tent-fan:
    {space: tent, role: fan, air_m3_per_h: 150, least_on: 0 s, least_off: 0 s, driver: modbus,
     modbus: {host: 127.0.0.1, port: %d, coil: 3, timeout: 500 ms, within: 2 s}}
"""  # noqa: E501
FAN = 3


class ModbusFarm(Daemon):
    def __init__(self, folder: Path, broker: MosquittoBroker, modbus_port: int) -> None:
        folder.mkdir(exist_ok=True)
        self._modbus_port = modbus_port
        super().__init__(folder, broker)

    def write_config(self, low: float = 87, protocol: str = "auto") -> None:
        self.config.write_text(FARM % (self._port, self._modbus_port))

    def up(self) -> "ModbusFarm":
        self.start()
        wait_until(lambda: self.attempt(["now", "--json"]).returncode == 0, 20, "something in the log")
        return self

    def fan(self, wish: str) -> None:
        more = [] if wish == "end" else ["--for", "20m", "--why", "a test"]
        self.run("override", "tent-fan", wish, *more)


@pytest.fixture
def modbus() -> Iterator[ModbusBoard]:
    made = ModbusBoard(lambda: round(time.monotonic() * 1000))
    yield made
    made.stop()


@pytest.fixture
def house(tmp_path: Path, broker: MosquittoBroker, modbus: ModbusBoard) -> Iterator[ModbusFarm]:
    made = ModbusFarm(tmp_path / "one", broker, modbus.port)
    modbus.coils[FAN] = True  # as a run before left it
    made.up()
    yield made
    made.kill()


def becomes(modbus: ModbusBoard, on: bool, within_s: float, what: str) -> None:
    wait_until(lambda: modbus.coils[FAN] is on, within_s, what)


def test_off_at_the_start_and_it_works_on_without_the_broker(
    house: ModbusFarm, modbus: ModbusBoard, broker: MosquittoBroker
) -> None:
    """Fail-safe F1, F15, F16: what is not behind the broker does not care whether there is one."""
    becomes(modbus, False, 10, "off at the start")
    wait_until(house.connected, 20, "the broker")
    broker.stop()
    wait_until(lambda: not house.connected(), 20, "the broker to be missed")
    house.fan("on")
    becomes(modbus, True, 10, "on without a broker")
    house.fan("end")
    becomes(modbus, False, 10, "off without a broker")


def test_a_pulled_plug_is_told_and_the_board_is_commanded_afresh(
    house: ModbusFarm, modbus: ModbusBoard
) -> None:
    """Fail-safe F24, all the way: gone, told, back off, and on again because the core still wants it."""
    becomes(modbus, False, 10, "off at the start")
    house.fan("on")
    becomes(modbus, True, 10, "on")
    modbus.pull_out(keeps_coils=True)

    def alarms() -> list[str]:
        return [alarm["alarm"] for alarm in json.loads(house.run("now", "--json"))["alarms"]]

    wait_until(lambda: "relay-silent:tent-fan" in alarms(), 20, "the loss to be told")
    modbus.changes.clear()
    modbus.plug_in()
    wait_until(lambda: len(modbus.changes) >= 2, 25, "off, and on again")
    assert [on for _, coil, on in modbus.changes[:2] if coil == FAN] == [False, True]


def test_a_killed_daemon_off_by_the_command_and_a_second_run_is_refused(
    house: ModbusFarm, modbus: ModbusBoard, broker: MosquittoBroker, tmp_path: Path
) -> None:
    """A Modbus board keeps its coils when we are killed: what the service manager then runs puts them off."""
    becomes(modbus, False, 10, "off at the start")
    house.fan("on")
    becomes(modbus, True, 10, "on")
    second = ModbusFarm(tmp_path / "two", broker, modbus.port)
    second.up()
    try:
        wait_until(
            lambda: "is in use by another relay or another run" in second.log.read_text(), 10, "its refusal"
        )
        assert modbus.coils[FAN] is True  # the first one's fan runs on
    finally:
        second.kill()
    house.kill()
    assert modbus.coils[FAN] is True
    done = house.attempt(["off", "--config", str(house.config), "--within", "5"])
    assert modbus.coils[FAN] is False, done.stdout + done.stderr
    house.up()
    assert modbus.coils[FAN] is False
    assert json.loads(house.run("now", "--json"))
