"""Modbus: the bytes on the wire against the specification, what is read back, junk, and lines that break."""

import socket
import threading
from collections.abc import Iterator

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from gillhouse.clock import VirtualClock
from gillhouse.core.edges import ModbusCoil, ModbusLine, RelayWire
from gillhouse.core.inputs import RelayReport
from gillhouse.core.outputs import Authority, Command
from gillhouse.core.reasons import Reason
from gillhouse.errors import RelayError
from gillhouse.relays import Relays
from gillhouse.relays.holding import LOOK_MS, RETRY_MS, SOON_MS
from gillhouse.relays.modbus import ModbusBank
from relays.modbus_board import ModbusBoard, Wire
from relays.ports import START_MS, ports_of
from servers import HOST, free_port, wait_until


class House:
    """Two relays on one board, on a clock moved by hand."""

    def __init__(self, board: ModbusBoard, line: ModbusLine) -> None:
        self.board, self.line = board, line
        self.clock = board_clock(board)
        self.told: list[RelayReport] = []
        self.ports = ports_of(self.told.append, self.clock)
        wires = [
            RelayWire(name, "modbus", modbus=ModbusCoil(line, coil))
            for name, coil in (("fan", 0), ("light", 6))
        ]
        self.relays = Relays.wired(wires, self.ports)

    def start(self) -> "House":
        self.relays.start(self.clock.now())
        self.settle()
        return self

    def settle(self) -> None:
        wait_until(lambda: all(keeper.at_rest() for keeper in self.ports.shared.values()), 30, "rest")

    def to(self, mono_ms: int) -> None:
        self.settle()
        self.clock.advance_to(mono_ms)
        self.settle()

    def say(self, relay: str, on: bool, lease_ms: int = 60_000) -> None:
        reason = Reason.AIR_DRY
        self.relays.apply(Command(relay, on, lease_ms, Authority.DEMAND, reason), self.clock.now())
        self.settle()

    def stop(self) -> None:
        self.relays.close(self.clock.now())
        self.board.stop()


CLOCKS: dict[int, VirtualClock] = {}


def board_clock(board: ModbusBoard) -> VirtualClock:
    return CLOCKS.pop(id(board))


def board(serial: str | None = None) -> ModbusBoard:
    clock = VirtualClock(START_MS)
    made = ModbusBoard(lambda: clock.now().mono_ms, serial)
    CLOCKS[id(made)] = clock
    return made


@pytest.fixture(params=["tcp", "serial"])
def house(request: pytest.FixtureRequest) -> Iterator[House]:
    wire = Wire() if request.param == "serial" else None
    made = board(wire.right if wire else None)
    line = ModbusLine(serial=wire.left, baud=19_200, timeout_ms=300) if wire else ModbusLine(HOST, made.port)
    running = House(made, line).start()
    yield running
    running.stop()
    if wire:
        wire.close()


def test_each_relay_has_its_coil_and_is_read_back(house: House) -> None:
    house.say("light", True)
    assert house.board.coils == [False] * 6 + [True, False]
    assert RelayReport("light", True) in house.told
    assert RelayReport("fan", True) not in house.told


def test_a_welded_contact_is_told_again_and_again(house: House) -> None:
    """What is told is what the coil does: on though told off, and each look tells it off once more."""
    house.say("fan", True)
    house.board.frozen = True
    house.say("fan", False)
    writes = house.board.writes.count((0, False))
    told = house.told.count(RelayReport("fan", True))
    for look in range(1, 5):
        house.to(look * LOOK_MS)
    assert house.told.count(RelayReport("fan", True)) >= told + 2
    assert house.board.writes.count((0, False)) >= writes + 4
    house.board.frozen = False
    house.to(6 * LOOK_MS)
    house.to(7 * LOOK_MS)
    assert house.told[-1] == RelayReport("fan", False)


def test_a_relay_pushed_on_by_hand_is_switched_off_and_told_of(house: House) -> None:
    house.board.coils[0] = True
    house.to(LOOK_MS)
    assert house.board.coils[0] is False
    house.to(2 * LOOK_MS)
    assert [report.on for report in house.told if report.relay == "fan"][-2:] == [True, False]


def test_a_board_that_lost_its_current_for_a_moment_is_not_switched_on_by_itself(house: House) -> None:
    """Between two looks: nobody missed it. Its coil is off, its lease runs: the core is told and decides."""
    house.say("fan", True, 3_600_000)
    house.board.coils[0] = False
    house.to(LOOK_MS)
    assert house.board.coils[0] is False
    assert house.told[-1] == RelayReport("fan", False)
    house.say("fan", True)
    assert house.board.coils[0] is True


def test_a_cable_that_was_cut_brings_back_a_board_still_on_and_it_goes_off_first(house: House) -> None:
    """The board kept its current: fail-safe F24 holds for it too."""
    house.say("fan", True, 3_600_000)
    house.board.pull_out(keeps_coils=True)
    house.to(LOOK_MS)
    assert [(report.relay, report.available) for report in house.told[-2:]] == [
        ("fan", False),
        ("light", False),
    ]
    gone_ms = house.clock.now().mono_ms
    house.board.plug_in()
    assert house.board.coils[0] is True
    house.to(gone_ms + SOON_MS)
    assert house.board.coils[0] is False
    assert house.told[-2:] == [RelayReport("fan", False), RelayReport("light", False)]


def test_a_hung_core_still_lets_go(house: House) -> None:
    house.say("fan", True, 7_000)
    house.board.changes.clear()
    house.to(6_999)
    house.to(7_000)
    assert house.board.changes == [(7_000, 0, False)]


def test_one_more_relay_on_a_board_leaves_the_others_as_they_are(house: House) -> None:
    """A re-read config adds a relay to a board whose fan runs: no click, and the lease goes on."""
    house.say("fan", True)
    house.board.changes.clear()
    more = RelayWire("stir", "modbus", modbus=ModbusCoil(house.line, 2))
    changed = Relays.wired([*(driver.wire for driver in house.relays.drivers.values()), more], house.ports)
    changed.start(house.clock.now(), before=house.relays)
    house.settle()
    house.relays = changed
    house.say("stir", True)
    assert [house.board.coils[coil] for coil in (0, 2)] == [True, True]
    assert [(coil, on) for _, coil, on in house.board.changes] == [(2, True)]


def test_a_dead_board_on_the_line_does_not_lengthen_anothers_lease() -> None:
    """Device 1 answers, device 9 never does. Time stands while the dead one is asked for: the other's lease
    ends at its own moment, not with the round."""
    wire = Wire()
    made = board(wire.right)
    house = House(made, ModbusLine(serial=wire.left, baud=19_200, timeout_ms=100))
    dead = RelayWire("dead", "modbus", modbus=ModbusCoil(house.line, 0, device=9))
    house.relays = Relays.wired(
        [*(driver.wire for driver in house.relays.drivers.values()), dead], house.ports
    )
    house.start()
    assert RelayReport("dead", None, available=False) in house.told
    house.say("fan", True, 30_000)
    made.changes.clear()
    for at_ms in range(1_000, 31_000, 1_000):
        house.to(at_ms)
    assert made.changes == [(30_000, 0, False)]
    house.stop()
    wire.close()


def test_noise_on_a_serial_line_moves_nothing() -> None:
    wire = Wire()
    made = board(wire.right)
    house = House(made, ModbusLine(serial=wire.left, baud=19_200, timeout_ms=300)).start()
    house.say("fan", True)
    for junk in (b"\xff" * 40, b"\x01\x05", bytes(range(256))):
        wire.noise(junk)
        house.to(house.clock.now().mono_ms + LOOK_MS)
    house.to(house.clock.now().mono_ms + 2 * RETRY_MS)
    house.say("fan", True)
    assert made.coils[0] is True
    house.stop()
    assert made.coils == [False] * 8
    wire.close()


def test_a_coil_the_board_does_not_have_is_named() -> None:
    made = board()
    line = ModbusLine(HOST, made.port)
    bank = ModbusBank(line)
    with pytest.raises(RelayError, match=r"refuses coil 99 \(exception code 2\); compare the coil"):
        bank.switch(ModbusCoil(line, 99), True)
    bank.release(ModbusCoil(line, 99), True)
    made.stop()


class Raw:
    """A TCP listener that keeps what it is sent and answers with what it was given."""

    def __init__(self, answer: bytes | None) -> None:
        self.port, self.heard, self._answer = free_port(), b"", answer
        self._server = socket.create_server((HOST, self.port))
        self._thread = threading.Thread(target=self._serve, daemon=True)
        self._thread.start()

    def _serve(self) -> None:
        while True:
            try:
                peer, _ = self._server.accept()
            except OSError:
                return
            with peer:
                got = peer.recv(4096)
                self.heard += got
                # With no answer given: the right one to a write, which is the request itself.
                peer.sendall(got if self._answer is None else self._answer)

    def stop(self) -> None:
        self._server.shutdown(socket.SHUT_RDWR)
        self._server.close()
        self._thread.join(5)


def test_a_stop_asks_a_dead_board_once_not_once_for_each_relay() -> None:
    """Eight relays behind an address where somebody listens and says nothing: a stop must not take eight
    time-outs."""
    asked = 0

    class Mute(Raw):
        def _serve(self) -> None:
            nonlocal asked
            peers = []
            while True:
                try:
                    peer, _ = self._server.accept()
                except OSError:
                    break
                peers.append(peer)
                asked += 1
            for peer in peers:
                peer.close()

    mute = Mute(None)
    clock = VirtualClock(START_MS)
    ports = ports_of(clock=clock)
    line = ModbusLine(HOST, mute.port, timeout_ms=100)
    relays = Relays.wired(
        [RelayWire(f"r{coil}", "modbus", modbus=ModbusCoil(line, coil)) for coil in range(8)], ports
    )
    relays.start(clock.now())
    (keeper,) = ports.shared.values()
    wait_until(keeper.at_rest, 10, "rest")
    before = asked
    relays.all_off(clock.now())
    relays.close(clock.now())
    mute.stop()
    assert before >= 1
    assert asked - before <= 1


def test_the_bytes_are_those_of_the_specification() -> None:
    """Modbus application protocol V1.1b3, 6.5: writing output 173 on is 05 00 AC FF 00. Seven bytes of MBAP
    header stand before it (Modbus messaging on TCP/IP implementation guide V1.0b, 3.1.3)."""
    raw = Raw(None)
    line = ModbusLine(HOST, raw.port)
    bank, place = ModbusBank(line), ModbusCoil(line, 172, 17)
    bank.switch(place, True)
    bank.release(place, True)
    assert raw.heard[2:] == bytes.fromhex("0000 0006 11 05 00AC FF00")
    raw.stop()


@settings(max_examples=25, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(junk=st.binary(max_size=40))
def test_whatever_a_board_answers_is_a_relay_error_or_an_answer(junk: bytes) -> None:
    raw = Raw(junk)
    line = ModbusLine(HOST, raw.port, timeout_ms=60)
    place = ModbusCoil(line, 0)
    bank = ModbusBank(line)
    try:
        assert bank.read([place]) in ([True], [False])
    except RelayError as error:
        assert f"modbus {HOST}:{raw.port} device 1" in str(error)
    finally:
        bank.release(place, True)
        raw.stop()


def test_a_missing_serial_device_is_named() -> None:
    line = ModbusLine(serial="/dev/tty-not-there")
    with pytest.raises(RelayError, match="modbus /dev/tty-not-there device 1 does not answer"):
        ModbusBank(line).read([ModbusCoil(line, 0)])


def test_two_runs_on_one_coil_the_second_is_refused() -> None:
    made = board()
    line = ModbusLine(HOST, made.port)
    first = House(made, line).start()
    told: list[RelayReport] = []
    ports = ports_of(told.append, first.clock)
    second = Relays.wired([RelayWire("fan", "modbus", modbus=ModbusCoil(line, 0))], ports)
    second.start(first.clock.now())
    wait_until(lambda: told == [RelayReport("fan", None, available=False)], 10, "the refusal")
    second.close(first.clock.now())
    first.stop()


def test_a_wire_without_a_coil_is_refused() -> None:
    with pytest.raises(ValueError, match="relay fan: driver modbus needs a coil"):
        Relays.wired([RelayWire("fan", "modbus")], ports_of())
