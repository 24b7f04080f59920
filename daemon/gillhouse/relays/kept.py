"""A relay in a keeper's hands: all of a driver but what it is reached by (`gpio`, `modbus` say that)."""

from collections.abc import Callable, Hashable
from dataclasses import dataclass
from typing import Generic, TypeVar

from gillhouse.core.edges import RelayWire
from gillhouse.core.inputs import RelayReport
from gillhouse.core.instant import Instant
from gillhouse.core.outputs import Command
from gillhouse.errors import RelayError
from gillhouse.payloads import Message
from gillhouse.relays.holding import Bank, Held
from gillhouse.relays.keeper import Keeper
from gillhouse.relays.ports import Ports

P = TypeVar("P")


@dataclass(frozen=True, slots=True)
class Way(Generic[P]):
    """How a relay is reached."""

    key: Hashable
    """Relays of the same key share one keeper."""
    name: str
    place: P
    bank: Callable[[], Bank[P]]


class KeptDriver(Generic[P]):
    """One relay, held by a thread that lets go for it."""

    def __init__(self, wire: RelayWire, ports: Ports, way: Way[P]) -> None:
        self.wire = wire
        self._ports, self._way = ports, way
        self._keeper: Keeper[P] | None = None

    def start(self, now: Instant) -> None:
        ports, way = self._ports, self._way
        keeper = ports.shared.get(way.key)
        if keeper is None:
            keeper = ports.shared[way.key] = Keeper(way.name, way.bank(), ports.clock)
        self._keeper = keeper
        keeper.take(Held(self.wire.relay, way.place, ports.tell))

    def apply(self, command: Command, now: Instant) -> None:
        if command.advise:
            return
        if self._keeper is None:
            raise RelayError(f"relay {self.wire.relay}: its driver is not started; nothing was switched")
        self._keeper.order(self.wire.relay, now.mono_ms + command.lease_ms if command.on else None)

    def all_off(self, now: Instant) -> None:
        if self._keeper is not None:
            self._keeper.off(self.wire.relay)

    def close(self, now: Instant) -> None:
        keeper, self._keeper = self._keeper, None
        if keeper is not None:
            keeper.leave(self.wire.relay)

    def topics(self) -> tuple[str, ...]:
        return ()

    def report(self, message: Message) -> RelayReport | None:
        return None
