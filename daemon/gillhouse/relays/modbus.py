"""A relay that is a coil of a Modbus board, over TCP or a serial line (the extra `modbus`).

Source: Modbus application protocol V1.1b3: function 05 writes a coil, 01 reads coils back; coils count from
0 in the protocol. pymodbus is used through this module alone, since it renames arguments between minor
releases. No answer is an answer too: on TCP one request without it means the board is gone, on a serial line
a second try is made first. Not here: leases and their ends (`keeper`).
"""

import logging
from collections.abc import Callable, Sequence
from contextlib import suppress
from typing import Any

from gillhouse.core.edges import ModbusCoil, ModbusLine, RelayWire
from gillhouse.errors import RelayError
from gillhouse.relays.exclusive import Claim
from gillhouse.relays.kept import KeptDriver, Way
from gillhouse.relays.ports import Ports

logging.getLogger("pymodbus").setLevel(logging.CRITICAL)
"""What fails is told once, in our words, by the keeper."""


class ModbusBank:
    """The boards of one line: a serial one, or a TCP address."""

    def __init__(self, line: ModbusLine) -> None:
        self._line = line
        self._client: Any = None
        self._claims: dict[ModbusCoil, Claim] = {}

    def unit(self, place: ModbusCoil) -> int:
        return place.device

    def hold(self, place: ModbusCoil) -> None:
        if place not in self._claims:
            self._claims[place] = Claim(f"modbus {self._line} device {place.device} coil {place.coil}")

    def switch(self, place: ModbusCoil, on: bool) -> None:
        self._ask(
            place.device,
            f"coil {place.coil}",
            lambda client: client.write_coil(place.coil, on, device_id=place.device),
        )

    def read(self, places: Sequence[ModbusCoil]) -> list[bool]:
        first, last = min(place.coil for place in places), max(place.coil for place in places)
        device = places[0].device
        bits = self._ask(
            device,
            f"coils {first} to {last}",
            lambda client: client.read_coils(first, count=last - first + 1, device_id=device),
        ).bits
        return [bool(bits[place.coil - first]) for place in places]

    def release(self, place: ModbusCoil, answers: bool) -> None:
        claim = self._claims.pop(place, None)
        if claim is not None:
            with suppress(RelayError):  # it is not there: what it does, only it can end
                if answers:
                    self.switch(place, False)
            claim.release()
        if not self._claims:
            self._drop()

    def _ask(self, device: int, what: str, call: Callable[[Any], Any]) -> Any:
        where = f"modbus {self._line} device {device}"
        try:
            if self._client is None:
                self._client = client_of(self._line)
            answer = call(self._client)
        except RelayError:
            raise
        except Exception as error:  # pymodbus, pyserial and termios each raise their own
            self._drop()
            raise RelayError(
                f"{where} does not answer ({_short(error)}); look at its power and wires"
            ) from error
        if answer.isError():
            raise RelayError(
                f"{where} refuses {what} (exception code {getattr(answer, 'exception_code', '?')}); compare"
                " the coil with the board's manual, and count from 0"
            )
        return answer

    def _drop(self) -> None:
        """The next request opens the line anew."""
        client, self._client = self._client, None
        if client is not None:
            client.close()


def client_of(line: ModbusLine) -> Any:
    """A client that is not connected yet.

    Raises:
        RelayError: the extra is not installed.
    """
    try:
        from pymodbus.client import ModbusSerialClient, ModbusTcpClient
    except ImportError as error:
        raise RelayError(f"the modbus extra is missing ({error}); pip install 'gillhouse[modbus]'") from error
    timeout_s = line.timeout_ms / 1000
    if line.serial is None:
        return ModbusTcpClient(line.host, port=line.port, timeout=timeout_s, retries=0)
    return ModbusSerialClient(
        line.serial,
        baudrate=line.baud,
        parity=line.parity,
        stopbits=line.stop_bits,
        timeout=timeout_s,
        retries=1,
    )


class ModbusDriver(KeptDriver[ModbusCoil]):
    """One relay that is one coil."""

    def __init__(self, wire: RelayWire, ports: Ports) -> None:
        """
        Raises:
            ValueError: the wire names no coil (a config check prevents this).
        """
        place = wire.modbus
        if place is None:
            raise ValueError(f"relay {wire.relay}: driver modbus needs a coil")
        line = place.line
        super().__init__(wire, ports, Way(("modbus", line), str(line), place, lambda: ModbusBank(line)))


def _short(error: Exception) -> str:
    return str(error).removeprefix("Modbus Error: ")[:120] or type(error).__name__
