"""What every relay driver can do, and the type of the function a driver sends with."""

from typing import Protocol

from gillhouse.core.edges import RelayWire
from gillhouse.core.inputs import RelayReport
from gillhouse.core.instant import Instant
from gillhouse.core.outputs import Command
from gillhouse.payloads import Message


class Publish(Protocol):
    """Sends a message; `BrokerLink.publish` is one."""

    def __call__(
        self, topic: str, payload: bytes, qos: int = 1, retain: bool = False, expire_s: float | None = None
    ) -> bool:
        """False: not sent, and never will be."""
        ...


class Driver(Protocol):
    """One relay. ON is a lease: whatever happens to us, the relay drops out when `lease_ms` has passed."""

    def apply(self, command: Command, now: Instant) -> None:
        """Hands a command over and returns; what the relay then did comes back by `report`.

        A command with `advise` set is never driven.

        Raises:
            RelayError: it could not be handed over.
        """
        ...

    def all_off(self, now: Instant) -> None:
        """Switches off at once. Never raises: it is the last thing done when all else fails."""
        ...

    def topics(self) -> tuple[str, ...]:
        """Where the relay's board speaks of itself."""
        ...

    def report(self, message: Message) -> RelayReport | None:
        """What a message says of this relay; None where it says nothing that can be read. Never raises."""
        ...


class Make(Protocol):
    """Makes a driver; a driver's class is one."""

    def __call__(self, wire: RelayWire, publish: Publish) -> Driver: ...
