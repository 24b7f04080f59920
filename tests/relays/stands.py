"""A stand for each relay driver: the driver, its relay, a way to let time pass, and a plug to pull.

Stands whose driver keeps the time itself run on a virtual clock in lock-step: time moves from one moment the
driver waits for to the next, and only while the driver is at rest. The MQTT board is a thing of its own and
runs on real time.
"""

import time
from collections.abc import Callable
from typing import Any, Protocol

from gpiozero.pins.mock import MockFactory, MockPin

from gillhouse.clock import VirtualClock
from gillhouse.core.edges import GpioPin, ModbusCoil, ModbusLine, RelayWire
from gillhouse.core.inputs import RelayReport
from gillhouse.core.instant import Instant
from gillhouse.relays import DRIVERS
from gillhouse.relays.driver import Driver
from gillhouse.relays.keeper import Keeper
from gillhouse.relays.memory import MemoryDriver
from gillhouse.relays.ports import Ports
from mqtt.linked import Linked
from relays.board import AVAILABLE, STATE, WIRE, Board
from relays.modbus_board import ModbusBoard, Wire
from relays.ports import START_MS, ports_of
from servers import HOST, MosquittoBroker, wait_until

COIL = 3
PIN = 5


class Stand(Protocol):
    """A driver with its relay, and a way to let time pass."""

    driver: Driver
    late_ms: int
    """How much later than its lease the relay may drop out: a board counts whole seconds, on real time."""

    def now(self) -> Instant: ...

    def becomes(self, on: bool, within_s: float) -> None:
        """Fails unless the relay comes to that state within so many seconds."""
        ...

    def stays(self, on: bool, for_s: float) -> None:
        """Fails if the relay leaves that state within so many seconds."""
        ...

    def history(self) -> list[tuple[int, bool]]:
        """Each click: its monotonic millisecond, and to which state."""
        ...

    def reports(self) -> list[RelayReport]:
        """What the driver was told or told of its relay so far."""
        ...

    def left_on(self) -> None:
        """The relay is on as a run before this one left it, if that can be."""
        ...

    def unplug(self) -> None: ...

    def replug(self) -> None: ...

    def close(self) -> None: ...


class OnVirtualTime:
    """Time in lock-step with a driver that keeps it itself."""

    late_ms = 0

    def __init__(self) -> None:
        self.clock = VirtualClock(START_MS)
        self.told: list[RelayReport] = []

    def is_on(self) -> bool:
        raise NotImplementedError

    def at_rest(self) -> bool:
        return True

    def now(self) -> Instant:
        return self.clock.now()

    def settle(self) -> None:
        wait_until(self.at_rest, 20.0, "the driver to come to rest")

    def _pass(self, end_ms: int) -> None:
        """To the next moment somebody waits for, or to `end_ms`."""
        self.settle()
        ahead = [self.clock.next_wake_ms() or end_ms, self.now().mono_ms + 250]
        self.clock.advance_to(max(self.now().mono_ms, min(end_ms, *ahead)))
        self.settle()

    def becomes(self, on: bool, within_s: float) -> None:
        end_ms = self.now().mono_ms + round(within_s * 1000)
        self.settle()
        while self.is_on() is not on and self.now().mono_ms < end_ms:
            self._pass(end_ms)
        assert self.is_on() is on

    def stays(self, on: bool, for_s: float) -> None:
        end_ms = self.now().mono_ms + round(for_s * 1000)
        self.settle()
        while self.now().mono_ms < end_ms:
            assert self.is_on() is on
            self._pass(end_ms)

    def reports(self) -> list[RelayReport]:
        self.settle()
        return list(self.told)

    def left_on(self) -> None:
        """Most cannot be: they begin off."""


class MemoryStand(OnVirtualTime):
    def __init__(self, broker: MosquittoBroker) -> None:
        super().__init__()
        self.driver: MemoryDriver = MemoryDriver(RelayWire("tent-mist", "memory"), self.told.append)

    def is_on(self) -> bool:
        return self.driver.is_on(self.now())

    def history(self) -> list[tuple[int, bool]]:
        return [(switching.at_ms, switching.on) for switching in self.driver.history(self.now())]

    def unplug(self) -> None:
        self.driver.pull_out(self.now())

    def replug(self) -> None:
        self.driver.put_back()

    def close(self) -> None:
        self.driver.close(self.now())


class KeptStand(OnVirtualTime):
    """For a driver whose relay a keeper holds."""

    def __init__(self, ports: Ports, wire: RelayWire) -> None:
        self.ports = ports
        self.driver: Driver = DRIVERS[wire.driver](wire, ports)

    def at_rest(self) -> bool:
        keepers: list[Keeper[Any]] = list(self.ports.shared.values())
        return all(keeper.at_rest() for keeper in keepers)

    def close(self) -> None:
        self.driver.close(self.now())


def pins_of(clock: VirtualClock) -> tuple[MockFactory, list[tuple[int, int, bool]]]:
    """gpiozero's own pretended pins, and what became of each by `clock`: (ms, pin, level).

    The level a pin has as it becomes an output counts too. As on the real ones, it can be given with that.
    """
    levels: list[tuple[int, int, bool]] = []

    class Pin(MockPin):  # type: ignore[misc]
        def output_with_state(self, state: bool) -> None:
            self._state = bool(state)
            self.function = "output"

        def _set_function(self, value: str) -> None:
            if value == "output":
                levels.append((clock.now().mono_ms, int(self.info.name[4:]), self._state))
            super()._set_function(value)

        def _change_state(self, value: bool) -> bool:
            changed = bool(super()._change_state(value))
            if changed:
                levels.append((clock.now().mono_ms, int(self.info.name[4:]), bool(value)))
            return changed

    return MockFactory(pin_class=Pin), levels


class GpioStand(KeptStand):
    """Pin 5 is pulled up at power-on, and low is on. Its chip can be taken away, as a USB one can."""

    def __init__(self, broker: MosquittoBroker) -> None:
        OnVirtualTime.__init__(self)
        self.factory, self.levels = pins_of(self.clock)
        self.there = True
        ports = ports_of(self.told.append, self.clock, lambda chip: self.factory)
        super().__init__(ports, RelayWire("tent-mist", "gpio", gpio=GpioPin(PIN)))
        self.pin.pull = "up"

    @property
    def pin(self) -> Any:
        return self.factory.pin(f"GPIO{PIN}")

    def is_on(self) -> bool:
        return self.there and not self.pin.state

    def history(self) -> list[tuple[int, bool]]:
        return [
            (at_ms, not level) for at_ms, _, level in self.levels[2:]
        ]  # after its pull, and becoming output

    def unplug(self) -> None:
        self.there = False
        pin = self.pin
        pin._state = True  # its relay drops out with the chip's current

        def gone(*_: Any) -> Any:
            raise OSError("No such device")

        self.kept = pin._get_state, pin._set_state
        pin._get_state = pin._set_state = gone
        self.levels.append((self.now().mono_ms, PIN, True))

    def replug(self) -> None:
        self.pin._get_state, self.pin._set_state = self.kept
        self.there = True


class ModbusStand(KeptStand):
    """A board of eight coils; with `wire`, on a serial line."""

    def __init__(self, broker: MosquittoBroker, wire: Wire | None = None) -> None:
        OnVirtualTime.__init__(self)
        self.wire = wire
        self.board = ModbusBoard(lambda: self.now().mono_ms, wire.right if wire else None)
        if wire is None:
            line = ModbusLine(HOST, self.board.port)
        else:
            line = ModbusLine(serial=wire.left, baud=19_200, timeout_ms=300)
        place = ModbusCoil(line, COIL)
        super().__init__(
            ports_of(self.told.append, self.clock), RelayWire("tent-mist", "modbus", modbus=place)
        )

    def is_on(self) -> bool:
        return self.board.coils[COIL]

    def history(self) -> list[tuple[int, bool]]:
        return [(at_ms, on) for at_ms, coil, on in self.board.changes if coil == COIL]

    def left_on(self) -> None:
        self.board.coils[COIL] = True

    def unplug(self) -> None:
        self.board.pull_out()

    def replug(self) -> None:
        self.board.plug_in()

    def close(self) -> None:
        super().close()
        self.board.stop()
        if self.wire is not None:
            self.wire.close()


class MqttStand:
    late_ms = 1_500  # a board counts whole seconds, rounded up

    def __init__(self, broker: MosquittoBroker) -> None:
        self.port = broker.port
        self.clicks: list[tuple[float, bool]] = []
        self.board = Board(broker.port)
        self.linked = Linked(broker.port, STATE, AVAILABLE).start().synced()
        self._clock = self.linked.link.clock
        self.driver: Driver = DRIVERS["mqtt"](
            WIRE, Ports(self.linked.link.publish, self._clock, lambda _: None)
        )

    def now(self) -> Instant:
        return self._clock.now()

    def becomes(self, on: bool, within_s: float) -> None:
        wait_until(lambda: self.board.on is on, within_s + 2.0, f"the relay to be {on}")

    def stays(self, on: bool, for_s: float) -> None:
        end = self.now().mono_ms + for_s * 1000

        def over() -> bool:
            assert self.board.on is on
            return self.now().mono_ms >= end

        wait_until(over, for_s + 2.0, "the time to pass")

    def history(self) -> list[tuple[int, bool]]:
        shift_ms = self.now().mono_ms - time.monotonic() * 1000
        return [(round(at_s * 1000 + shift_ms), on) for at_s, on in (*self.clicks, *self.board.changes)]

    def reports(self) -> list[RelayReport]:
        told = [self.driver.report(message) for message, _ in list(self.linked.messages)]
        return [report for report in told if report is not None]

    def left_on(self) -> None:
        self.board.leave_on()

    def unplug(self) -> None:
        self.board.pull_out()
        self.clicks += self.board.changes

    def replug(self) -> None:
        # What was sent to nobody is over with the broker's word for it: the board hears what comes after.
        session = self.linked.link._session
        assert session is not None
        wait_until(lambda: session._unconfirmed <= 0, 10.0, "the broker to have taken what was sent")
        self.board = Board(self.port)

    def close(self) -> None:
        self.driver.close(self.now())
        self.linked.stop()
        self.board.stop()


STANDS: dict[str, Callable[[MosquittoBroker], Stand]] = {
    "memory": MemoryStand,
    "mqtt": MqttStand,
    "gpio": GpioStand,
    "modbus": ModbusStand,
    "modbus-serial": lambda broker: ModbusStand(broker, Wire()),
}
"""By driver; after a dash, a second way of the same."""
