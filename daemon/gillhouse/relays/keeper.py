"""The thread that holds relays which cannot let go by themselves, and lets go for them.

Here: leases, reading back, and boards that go and come, for every relay reached by one way (a gpio chip, a
Modbus line). Not here: how it is reached (`Bank`: `gpio`, `modbus`), whether a relay may move (`core`).

Control hands an order over and goes on; the keeper's thread alone touches the hardware, so a slow board
holds up nobody, and a lease ends on time though control hangs. All waiting is `Box.take`. Every `LOOK_MS`
each relay is read back. What does not answer is gone: its leases are void, it is told as not available and
tried again every `RETRY_MS`. What comes (back) is first switched off and read, then told as available: the core
commands it afresh. A relay found on though told off is switched off again, and told of.
"""

import logging
import threading
from collections.abc import Callable, Hashable, Sequence
from dataclasses import dataclass
from typing import Generic, Protocol, TypeVar

from gillhouse.clock import Box, Clock
from gillhouse.core.inputs import RelayReport
from gillhouse.errors import RelayError

log = logging.getLogger(__name__)

LOOK_MS = 5_000
"""Relays are read back this often. Our own choice: well inside any lease."""
RETRY_MS = 10_000
"""What does not answer is tried again this often. Our own choice."""
REPEAT_MS = 10_000
"""A relay that stays other than it was told is told of again this often."""
OFF_WITHIN_S = 2.0
"""Whoever switches off for good waits this long for it to be done."""

Place = TypeVar("Place", contravariant=True)
P = TypeVar("P")


class Bank(Protocol[Place]):
    """Outputs reached by one way. Every method may raise RelayError: it does not answer, or refuses."""

    def unit(self, place: Place) -> Hashable:
        """What goes and comes together: a pin, a board."""
        ...

    def hold(self, place: Place) -> None:
        """Takes hold of an output, off. Called again after each loss."""
        ...

    def switch(self, place: Place, on: bool) -> None: ...

    def read(self, places: Sequence[Place]) -> list[bool]:
        """What the outputs of one unit do."""
        ...

    def release(self, place: Place) -> None:
        """Gives it back, off. Never raises."""
        ...


@dataclass(slots=True)
class Held(Generic[P]):
    """A relay in the keeper's hands."""

    relay: str
    place: P
    tell: Callable[[RelayReport], None]
    until_ms: int | None = None
    """End of its lease, monotonic; None: off."""
    said: bool | None = None
    said_at_ms: int = 0


@dataclass(slots=True)
class Unit:
    """What goes and comes together. At first it is gone: it has to show itself."""

    there: bool = False
    told_gone: bool = False
    look_at_ms: int = 0


class Keeper(Generic[P]):
    """Made by the first relay that needs it; its thread ends with the last."""

    def __init__(self, name: str, bank: Bank[P], clock: Clock) -> None:
        self.name = name
        self._bank, self._clock = bank, clock
        self._box: Box[Callable[[int], None]] = Box(clock)
        self._held: dict[str, Held[P]] = {}
        self._units: dict[Hashable, Unit] = {}
        self._trouble: dict[str, str] = {}
        """Read by control: why a relay cannot be told anything just now."""
        self._thread: threading.Thread | None = None

    def take(self, held: Held[P]) -> None:
        """Looks after one more relay."""
        self._trouble.pop(held.relay, None)
        if self._thread is None or not self._thread.is_alive():
            self._box = Box(self._clock)
            self._thread = threading.Thread(target=self._run, name=f"relays {self.name}", daemon=True)
            self._thread.start()

        def taken(now_ms: int) -> None:
            other = next((one.relay for one in self._held.values() if one.place == held.place), None)
            if other is not None:
                self._trouble[held.relay] = (
                    f"relay {held.relay}: its output is in use by another relay, {other}; correct the"
                    " farm file"
                )
                held.tell(RelayReport(held.relay, None, available=False))
                return
            self._held[held.relay] = held
            unit = self._units.setdefault(self._bank.unit(held.place), Unit())
            unit.there, unit.look_at_ms = False, now_ms  # one more output: off first, then read all

        self._box.put(taken)

    def order(self, relay: str, until_ms: int | None) -> None:
        """On until then, or off.

        Raises:
            RelayError: the relay is not there just now; nothing was handed over.
        """
        trouble = self._trouble.get(relay)
        if trouble is not None:
            raise RelayError(trouble)
        self._box.put(lambda now_ms: self._order(relay, until_ms, now_ms))

    def off(self, relay: str) -> None:
        """Off, and waits a moment for it."""
        if relay not in self._trouble:
            self._and_wait(lambda now_ms: self._order(relay, None, now_ms))

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
            for held in self._held.values():
                self._trouble[held.relay] = f"relay {held.relay}: its driver died, see the log; restart us"
                self._bank.release(held.place)
                held.tell(RelayReport(held.relay, None, available=False))

    def _turn(self) -> bool:
        """Waits for an order or a moment, and does what it asks for. False: the last relay has left."""
        order = self._box.take(self._next_ms())
        now_ms = self._clock.now().mono_ms
        self._let_go(now_ms)
        if order is not None:
            order(now_ms)
        elif self._box.closed:
            return False
        for key, unit in self._units.items():
            if unit.look_at_ms <= now_ms:
                self._look(key, unit, now_ms)
        return True

    def _next_ms(self) -> int | None:
        leases = [held.until_ms for held in self._held.values() if held.until_ms is not None]
        return min([*leases, *(unit.look_at_ms for unit in self._units.values())], default=None)

    def _order(self, relay: str, until_ms: int | None, now_ms: int) -> None:
        held = self._held.get(relay)
        if held is None or not self._units[self._bank.unit(held.place)].there:
            return  # gone since it was handed over: the core hears of that by itself
        if until_ms is None or until_ms > now_ms:
            self._switch(held, until_ms, now_ms)

    def _let_go(self, now_ms: int) -> None:
        for held in self._held.values():
            if held.until_ms is not None and held.until_ms <= now_ms:
                self._switch(held, None, now_ms)

    def _switch(self, held: Held[P], until_ms: int | None, now_ms: int) -> None:
        held.until_ms = until_ms
        try:
            self._bank.switch(held.place, until_ms is not None)
            (on,) = self._bank.read([held.place])
        except RelayError as error:
            self._gone(self._bank.unit(held.place), str(error), now_ms)
        else:
            self._seen(held, on, now_ms)

    def _look(self, key: Hashable, unit: Unit, now_ms: int) -> None:
        mine = [held for held in self._held.values() if self._bank.unit(held.place) == key]
        places = [held.place for held in mine]
        came = not unit.there
        try:
            for held in mine if came else ():
                held.until_ms = None
                self._bank.hold(held.place)
                self._bank.switch(held.place, False)
            read = self._bank.read(places)
            for held, on in zip(mine, read, strict=True):
                if on and held.until_ms is None:
                    self._bank.switch(held.place, False)
        except RelayError as error:
            self._gone(key, str(error), now_ms)
            return
        unit.there, unit.told_gone, unit.look_at_ms = True, False, now_ms + LOOK_MS
        for held, on in zip(mine, read, strict=True):
            if came:
                held.said = None
                self._trouble.pop(held.relay, None)
            self._seen(held, on, now_ms)

    def _seen(self, held: Held[P], on: bool, now_ms: int) -> None:
        """Tells what a relay does, where that is news, and again while it is not what it was told."""
        differs = on is not (held.until_ms is not None)
        if on is not held.said or (differs and now_ms >= held.said_at_ms + REPEAT_MS):
            held.said, held.said_at_ms = on, now_ms
            held.tell(RelayReport(held.relay, on))

    def _gone(self, key: Hashable, why: str, now_ms: int) -> None:
        unit = self._units[key]
        unit.there, unit.look_at_ms = False, now_ms + RETRY_MS
        mine = [held for held in self._held.values() if self._bank.unit(held.place) == key]
        for held in mine:
            held.until_ms = None
            self._trouble[held.relay] = f"relay {held.relay}: {why}; tried again every {RETRY_MS // 1000} s"
        if not unit.told_gone:
            unit.told_gone = True
            log.warning("relays %s: %s", ", ".join(held.relay for held in mine), why)
            for held in mine:
                held.tell(RelayReport(held.relay, None, available=False))

    def _leave(self, relay: str) -> None:
        held = self._held.pop(relay, None)
        if held is None:
            return
        self._bank.release(held.place)
        key = self._bank.unit(held.place)
        if all(self._bank.unit(other.place) != key for other in self._held.values()):
            self._units.pop(key, None)
        if not self._held:
            self._box.close()
