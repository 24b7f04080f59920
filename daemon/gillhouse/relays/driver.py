"""What every relay driver can do."""

from typing import Protocol

from gillhouse.core.edges import RelayWire
from gillhouse.core.inputs import RelayReport
from gillhouse.core.instant import Instant
from gillhouse.core.outputs import Command
from gillhouse.payloads import Message
from gillhouse.relays.ports import Ports, Publish

__all__ = ["Driver", "Make", "Publish"]


class Driver(Protocol):
    """One relay. ON is a lease: whatever happens to us, the relay drops out when `lease_ms` has passed."""

    wire: RelayWire

    def start(self, now: Instant) -> None:
        """Takes hold of the relay and switches it off: nobody knows how the last run left it. Never raises:
        a board that is not there is told of by `Ports.tell`, and tried again."""
        ...

    def apply(self, command: Command, now: Instant) -> None:
        """Hands a command over and returns; what the relay then did comes back by `report` or `Ports.tell`.

        A command with `advise` set is never driven.

        Raises:
            RelayError: it could not be handed over.
        """
        ...

    def all_off(self, now: Instant) -> None:
        """Switches off at once. Never raises: it is the last thing done when all else fails."""
        ...

    def close(self, now: Instant) -> None:
        """Switches off and gives back what it held. Never raises."""
        ...

    def topics(self) -> tuple[str, ...]:
        """Where the relay's board speaks of itself."""
        ...

    def report(self, message: Message) -> RelayReport | None:
        """What a message says of this relay; None where it says nothing that can be read. Never raises."""
        ...


class Make(Protocol):
    """Makes a driver. Touches nothing outside yet: `start` does."""

    def __call__(self, wire: RelayWire, ports: Ports) -> Driver: ...
