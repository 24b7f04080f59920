"""A relay that exists in memory only: for the trial of a config, and for tests.

It keeps a timed history and, as a good board does, drops out by itself at the end of a lease. It can be
pulled out and put back, as any board can.
"""

from collections import deque
from collections.abc import Callable
from dataclasses import dataclass

from gillhouse.core.edges import RelayWire
from gillhouse.core.inputs import RelayReport
from gillhouse.core.instant import Instant
from gillhouse.core.outputs import Command
from gillhouse.errors import RelayError
from gillhouse.payloads import Message

KEPT = 20_000
"""So many clicks are remembered, the newest: a week of pulses, one a minute. A box may run for years."""


@dataclass(frozen=True, slots=True)
class Switching:
    """One change of the relay, as it would have clicked."""

    at_ms: int
    """On the monotonic clock."""
    on: bool
    by_itself: bool = False
    """Dropped out because the lease ended."""


class MemoryDriver:  # 13 methods: a driver, its plug, and its history
    """One relay in memory. Time comes with each call; between calls it is worked out, not waited for."""

    def __init__(self, wire: RelayWire, tell: Callable[[RelayReport], None] = lambda _: None) -> None:
        self.wire = wire
        self._tell = tell
        self._history: deque[Switching] = deque(maxlen=KEPT)
        self._until_ms: int | None = None
        self._there = True

    def start(self, now: Instant) -> None:
        self.all_off(now)

    def close(self, now: Instant) -> None:
        self.all_off(now)

    def apply(self, command: Command, now: Instant) -> None:
        if command.advise:
            return
        if not self._there:
            raise RelayError(f"relay {self.wire.relay}: pulled out; nothing was switched")
        self._let_go(now)
        if command.on:
            if self._until_ms is None:
                self._switched(now, True)
            self._until_ms = now.mono_ms + command.lease_ms
        else:
            self.all_off(now)

    def all_off(self, now: Instant) -> None:
        self._let_go(now)
        if self._until_ms is not None:
            self._until_ms = None
            self._switched(now, False)

    def pull_out(self, now: Instant) -> None:
        """As if its plug were pulled."""
        self.all_off(now)
        self._there = False
        self._tell(RelayReport(self.wire.relay, None, available=False))

    def put_back(self) -> None:
        self._there = True
        self._tell(RelayReport(self.wire.relay, False))

    def _switched(self, now: Instant, on: bool) -> None:
        self._history.append(Switching(now.mono_ms, on))
        self._tell(RelayReport(self.wire.relay, on))

    def topics(self) -> tuple[str, ...]:
        return ()

    def report(self, message: Message) -> RelayReport | None:
        return None

    def is_on(self, now: Instant) -> bool:
        """The relay's state at `now`."""
        self._let_go(now)
        return self._until_ms is not None

    def history(self, now: Instant) -> tuple[Switching, ...]:
        """The newest `KEPT` changes up to `now`, in order."""
        self._let_go(now)
        return tuple(self._history)

    def _let_go(self, now: Instant) -> None:
        if self._until_ms is not None and self._until_ms <= now.mono_ms:
            self._history.append(Switching(self._until_ms, False, by_itself=True))
            self._until_ms = None
            self._tell(RelayReport(self.wire.relay, False))
