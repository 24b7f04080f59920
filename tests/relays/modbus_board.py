"""A Modbus board for the tests: pymodbus's own server, over TCP or at one end of a pair of pseudo-terminals.

It keeps what it was told with the time by a clock it is given, can be pulled out and put back, and forgets
its coils when it is (as a board without current does) unless told to keep them (as one whose cable was cut).
"""

import asyncio
import os
import select
import threading
import tty
from collections.abc import Callable

from pymodbus.constants import ExcCodes
from pymodbus.server import ModbusSerialServer, ModbusTcpServer
from pymodbus.simulator import DataType, SimData, SimDevice

from servers import HOST, free_port, listening, wait_until

COILS = 8
WRITE_COIL = 5
"""Function code (Modbus application protocol V1.1b3, 6.5)."""


class ModbusBoard:
    """Device 1 with eight coils."""

    def __init__(self, now_ms: Callable[[], int], serial: str | None = None) -> None:
        self.port = free_port()
        self.coils = [False] * COILS
        self.changes: list[tuple[int, int, bool]] = []
        """(ms, coil, on) of each click."""
        self.writes: list[tuple[int, bool]] = []
        self.frozen = False
        """Its contacts are welded: it takes what it is told and stays as it is."""
        self._now_ms, self._serial = now_ms, serial
        self._loop: asyncio.AbstractEventLoop | None = None
        self._server: ModbusTcpServer | ModbusSerialServer | None = None
        self._thread: threading.Thread | None = None
        self.plug_in()

    async def _asked(
        self,
        code: int,
        start: int,
        address: int,
        count: int,
        now: list[int],
        to: list[int] | list[bool] | None,
    ) -> ExcCodes | None:
        del start, count
        if code == WRITE_COIL and to is not None:
            on = bool(to[0])
            self.writes.append((address, on))
            if not self.frozen and self.coils[address] is not on:
                self.coils[address] = on
                self.changes.append((self._now_ms(), address, on))
        # What is read is what the coils do, whatever was written.
        for coil, on in enumerate(self.coils):
            now[coil // 16] = (now[coil // 16] & ~(1 << coil % 16)) | (on << coil % 16)
        if to is not None:
            to[0] = self.coils[address]
        return None

    def plug_in(self) -> None:
        ready = threading.Event()
        self._thread = threading.Thread(target=lambda: asyncio.run(self._serve(ready)), daemon=True)
        self._thread.start()
        assert ready.wait(10)
        if self._serial is None:
            wait_until(lambda: listening(HOST, self.port), 10, "the Modbus board")

    async def _serve(self, ready: threading.Event) -> None:
        self._loop = asyncio.get_running_loop()
        device = SimDevice(
            1,
            simdata=[SimData(0, count=COILS // 8, values=0, datatype=DataType.REGISTERS)],
            use_bit_addressing=True,
            action=self._asked,
        )
        if self._serial is None:
            self._server = ModbusTcpServer(device, address=(HOST, self.port))
        else:
            self._server = ModbusSerialServer(device, port=self._serial, baudrate=19_200)
        serving = asyncio.ensure_future(self._server.serve_forever(background=False))
        ready.set()
        await asyncio.wait([serving])

    def pull_out(self, keeps_coils: bool = False) -> None:
        assert self._loop is not None and self._server is not None and self._thread is not None
        asyncio.run_coroutine_threadsafe(self._server.shutdown(), self._loop).result(10)
        self._thread.join(10)
        self._thread = None
        if not keeps_coils:
            for coil, on in enumerate(self.coils):
                if on:
                    self.changes.append((self._now_ms(), coil, False))
            self.coils = [False] * COILS

    def stop(self) -> None:
        if self._thread is not None:
            self.pull_out()


class Wire:
    """A pair of pseudo-terminals, what goes in at one end comes out at the other; `noise` goes left."""

    def __init__(self) -> None:
        pairs = [os.openpty() for _ in range(2)]
        for _, end in pairs:
            tty.setraw(end)
        self._masters = [master for master, _ in pairs]
        self._ends = [end for _, end in pairs]
        self.left, self.right = (os.ttyname(end) for end in self._ends)
        self._stop, self._stopped = os.pipe()
        self._thread = threading.Thread(target=self._carry, daemon=True)
        self._thread.start()

    def _carry(self) -> None:
        other = {self._masters[0]: self._masters[1], self._masters[1]: self._masters[0]}
        while True:
            ready, _, _ = select.select([*self._masters, self._stop], [], [])
            if self._stop in ready:
                return
            for end in ready:
                os.write(other[end], os.read(end, 4096))

    def noise(self, junk: bytes) -> None:
        os.write(self._masters[0], junk)

    def close(self) -> None:
        os.write(self._stopped, b".")
        self._thread.join(5)
        for descriptor in (*self._masters, *self._ends, self._stop, self._stopped):
            os.close(descriptor)
