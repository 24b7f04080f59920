"""The thread that holds relays which cannot let go by themselves, and lets go for them.

Here: one thread for every relay reached by one way (a gpio chip, a Modbus line), and handing orders to it.
Not here: what it does with them (`holding`), whether a relay may move (`core`). Control hands an order over
and goes on; the keeper's thread alone touches the hardware, so a slow board holds up nobody else, and a lease
ends on time though control hangs. All waiting is `Box.take`.
"""

import logging
import threading
from collections.abc import Callable
from typing import Generic, TypeVar

from gillhouse.clock import Box, Clock
from gillhouse.errors import RelayError
from gillhouse.relays.holding import Bank, Held, Holding

log = logging.getLogger(__name__)

OFF_WITHIN_S = 2.0
"""Whoever switches off for good waits this long for it to be done."""

P = TypeVar("P")


class Keeper(Generic[P]):
    """Made by the first relay that needs it; its thread ends with the last."""

    def __init__(self, name: str, bank: Bank[P], clock: Clock) -> None:
        self.name = name
        self._clock = clock
        self._holding = Holding(bank)
        self._box: Box[Callable[[int], None]] = Box(clock)
        self._thread: threading.Thread | None = None

    def take(self, held: Held[P]) -> None:
        """Looks after one more relay."""
        self._holding.trouble.pop(held.relay, None)
        if self._thread is None or not self._thread.is_alive():
            self._box = Box(self._clock)
            self._thread = threading.Thread(target=self._run, name=f"relays {self.name}", daemon=True)
            self._thread.start()
        self._box.put(lambda now_ms: self._holding.take(held, now_ms))

    def order(self, relay: str, until_ms: int | None) -> None:
        """On until then, or off.

        Raises:
            RelayError: the relay is not there just now; nothing was handed over.
        """
        trouble = self._holding.trouble.get(relay)
        if trouble is not None:
            raise RelayError(trouble)
        self._box.put(lambda now_ms: self._holding.order(relay, until_ms, now_ms))

    def off(self, relay: str) -> None:
        """Off, and waits a moment for it."""
        if relay not in self._holding.trouble:
            self._and_wait(lambda now_ms: self._holding.order(relay, None, now_ms))

    def leave(self, relay: str) -> None:
        """Off, and no longer looked after."""
        thread = self._thread
        if thread is None or not thread.is_alive():
            return
        self._and_wait(lambda _: self._leave(relay))
        if self._box.closed:
            thread.join(OFF_WITHIN_S)

    def at_rest(self) -> bool:
        """Nothing is on its way, nothing is due."""
        return self._box.closed or self._box.at_rest(self._clock.now().mono_ms)

    def _and_wait(self, order: Callable[[int], None]) -> None:
        done = threading.Event()

        def both(now_ms: int) -> None:
            order(now_ms)
            done.set()

        self._box.put(both)
        done.wait(OFF_WITHIN_S)

    # The keeper's own thread, from here on.

    def _run(self) -> None:
        try:
            while self._turn():
                pass
        except BaseException:  # our bug: let go of everything, tell, end
            log.critical("the relays of %s were let go: their thread died", self.name, exc_info=True)
            self._holding.abandon()

    def _turn(self) -> bool:
        """Waits for an order or a moment, and does what it asks for. False: the last relay has left."""
        order = self._box.take(self._holding.next_ms())
        now_ms = self._clock.now().mono_ms
        self._holding.let_go(now_ms)
        if order is not None:
            order(now_ms)
        elif self._box.closed:
            return False
        for look in self._holding.due(now_ms):
            look()  # a board that is gone takes its time
            self._holding.let_go(self._clock.now().mono_ms)
        return True

    def _leave(self, relay: str) -> None:
        if not self._holding.leave(relay):
            self._box.close()
