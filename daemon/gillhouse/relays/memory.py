"""A relay that exists in memory only: for the trial of a config, and for tests.

It keeps a timed history and, as a good board does, drops out by itself at the end of a lease.
"""

from dataclasses import dataclass

from gillhouse.core.edges import RelayWire
from gillhouse.core.inputs import RelayReport
from gillhouse.core.instant import Instant
from gillhouse.core.outputs import Command
from gillhouse.payloads import Message
from gillhouse.relays.driver import Publish


@dataclass(frozen=True, slots=True)
class Switching:
    """One change of the relay, as it would have clicked."""

    at_ms: int
    """On the monotonic clock."""
    on: bool
    by_itself: bool = False
    """Dropped out because the lease ended."""


class MemoryDriver:
    """One relay in memory. Time comes with each call; between calls it is worked out, not waited for."""

    def __init__(self, wire: RelayWire, publish: Publish | None = None) -> None:
        """
        Args:
            publish: not used; every driver is made the same way.
        """
        self.relay = wire.relay
        self._history: list[Switching] = []
        self._until_ms: int | None = None

    def apply(self, command: Command, now: Instant) -> None:
        if command.advise:
            return
        self._let_go(now)
        if command.on:
            if self._until_ms is None:
                self._history.append(Switching(now.mono_ms, True))
            self._until_ms = now.mono_ms + command.lease_ms
        elif self._until_ms is not None:
            self._history.append(Switching(now.mono_ms, False))
            self._until_ms = None

    def all_off(self, now: Instant) -> None:
        self._let_go(now)
        if self._until_ms is not None:
            self._history.append(Switching(now.mono_ms, False))
            self._until_ms = None

    def topics(self) -> tuple[str, ...]:
        return ()

    def report(self, message: Message) -> RelayReport | None:
        return None

    def is_on(self, now: Instant) -> bool:
        """The relay's state at `now`."""
        self._let_go(now)
        return self._until_ms is not None

    def history(self, now: Instant) -> tuple[Switching, ...]:
        """Every change up to `now`, in order."""
        self._let_go(now)
        return tuple(self._history)

    def _let_go(self, now: Instant) -> None:
        if self._until_ms is not None and self._until_ms <= now.mono_ms:
            self._history.append(Switching(self._until_ms, False, by_itself=True))
            self._until_ms = None
