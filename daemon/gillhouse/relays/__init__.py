"""Relay drivers by name, and `Relays`, which brings each command to its relay's driver.

Here: handing over. Not here: whether a relay may move (`core.interlock`). A command that is advice only is
dropped here and, a second time, in every driver.
"""

from collections.abc import Iterable, Mapping

from gillhouse.core.edges import RelayWire
from gillhouse.core.inputs import RelayReport
from gillhouse.core.instant import Instant
from gillhouse.core.outputs import Command
from gillhouse.errors import RelayError
from gillhouse.payloads import Message
from gillhouse.relays.driver import Driver, Make
from gillhouse.relays.gpio import GpioDriver
from gillhouse.relays.memory import MemoryDriver
from gillhouse.relays.modbus import ModbusDriver
from gillhouse.relays.mqtt import MqttDriver
from gillhouse.relays.ports import Ports

DRIVERS: dict[str, Make] = {
    "mqtt": lambda wire, ports: MqttDriver(wire, ports.publish),
    "memory": lambda wire, ports: MemoryDriver(wire),
    "gpio": GpioDriver,
    "modbus": ModbusDriver,
}
"""A new driver is a module and a row here; the conformance tests run over all of them."""


class Relays:
    """All relays of the farm. One that is advise only is in nobody's hands: it is never even switched off."""

    def __init__(self, drivers: Mapping[str, Driver]) -> None:
        """
        Args:
            drivers: relay id -> its driver.
        """
        self.drivers = dict(drivers)
        self._by_topic: dict[str, list[Driver]] = {}
        self._sort()

    def _sort(self) -> None:
        self._by_topic.clear()
        for driver in self.drivers.values():
            for topic in driver.topics():
                self._by_topic.setdefault(topic, []).append(driver)

    @classmethod
    def wired(cls, wires: Iterable[RelayWire], ports: Ports) -> "Relays":
        """The relays of a config. Nothing is touched before `start`.

        Raises:
            ValueError: a wire names no driver (a config check prevents this).
        """
        drivers: dict[str, Driver] = {}
        for wire in wires:
            make = DRIVERS.get(wire.driver)
            if make is None:
                known = ", ".join(DRIVERS)
                raise ValueError(f"relay {wire.relay}: no driver {wire.driver!r}; use one of {known}")
            drivers[wire.relay] = make(wire, ports)
        return cls(drivers)

    def start(self, now: Instant, before: "Relays | None" = None) -> None:
        """Takes hold of every relay, off.

        Args:
            before: the relays of the config that stood before. One whose wire is the same goes on as it is;
                the others are let go first, so that a pin may go from one relay to another.
        """
        old = {} if before is None else before.drivers
        kept = {
            relay for relay, driver in self.drivers.items() if relay in old and old[relay].wire == driver.wire
        }
        for relay, driver in old.items():
            if relay not in kept and not driver.wire.advise_only:
                driver.close(now)
        self.drivers |= {relay: old[relay] for relay in sorted(kept)}
        self._sort()
        for relay, driver in self.drivers.items():
            if relay not in kept and not driver.wire.advise_only:
                driver.start(now)

    def close(self, now: Instant) -> None:
        """Switches every relay off and gives back what the drivers held."""
        for driver in self.drivers.values():
            if not driver.wire.advise_only:
                driver.close(now)

    def apply(self, command: Command, now: Instant) -> None:
        """Brings a command to its relay; advice goes nowhere.

        Raises:
            RelayError: it could not be handed over, or there is no such relay.
        """
        if command.advise:
            return
        driver = self.drivers.get(command.relay)
        if driver is None:
            raise RelayError(f"there is no relay {command.relay!r}; known: {', '.join(self.drivers)}")
        driver.apply(command, now)

    def all_off(self, now: Instant) -> None:
        """Switches every relay off."""
        for driver in self.drivers.values():
            if not driver.wire.advise_only:
                driver.all_off(now)

    def topics(self) -> tuple[str, ...]:
        """Where the boards speak of their relays."""
        return tuple(self._by_topic)

    def report(self, message: Message) -> tuple[RelayReport, ...]:
        """What a message says of relays; several may share one board's topic."""
        drivers = self._by_topic.get(message.topic)
        if drivers is None:
            return ()
        told = (driver.report(message) for driver in drivers)
        return tuple(report for report in told if report is not None)
