"""Relays in hand: their leases, what they are seen to do, and boards that go and come.

Here: what is done with them at a given moment. Not here: waiting and threads (`keeper`), how they are reached
(`Bank`: `gpio`, `modbus`). Every `LOOK_MS` each relay is read back. What does not answer is gone: its leases
are void, it is told as not available, and tried again. What comes (back) is first switched off and read, then
told as available: the core commands it afresh. A relay found on though told off is switched off, and told of.
"""

import logging
from collections.abc import Callable, Hashable, Iterator, Sequence
from dataclasses import dataclass
from typing import Generic, Protocol, TypeVar

from gillhouse.core.inputs import RelayReport
from gillhouse.errors import RelayError

log = logging.getLogger(__name__)

LOOK_MS = 5_000
"""Relays are read back this often. Our own choice: well inside any lease."""
SOON_MS = 1_000
"""What just fell silent may be on, and is tried again this soon."""
RETRY_MS = 10_000
"""What still does not answer is tried again this often. Our own choice."""
REPEAT_MS = 10_000
"""A relay that stays other than it was told is told of again this often."""

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

    def release(self, place: Place, answers: bool) -> None:
        """Gives it back, off; asks nothing of what is not thought to answer. Never raises."""
        ...


@dataclass(slots=True)
class Held(Generic[P]):
    """One relay in hand."""

    relay: str
    place: P
    tell: Callable[[RelayReport], None]
    fresh: bool = True
    """Not taken hold of yet."""
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
    given_up: bool = False
    """It was gone when its first relay left: the others need not wait for it again."""


class Holding(Generic[P]):
    """All relays of one bank. One thread alone may call it; `trouble` may be read by any."""

    def __init__(self, bank: Bank[P]) -> None:
        self.trouble: dict[str, str] = {}
        """Why a relay cannot be told anything just now."""
        self._bank = bank
        self._held: dict[str, Held[P]] = {}
        self._units: dict[Hashable, Unit] = {}

    def next_ms(self) -> int | None:
        """When something is due: the end of a lease, or a look."""
        leases = [held.until_ms for held in self._held.values() if held.until_ms is not None]
        return min([*leases, *(unit.look_at_ms for unit in self._units.values())], default=None)

    def take(self, held: Held[P], now_ms: int) -> None:
        """One relay more. It is looked at next; the others of its unit go on as they are."""
        other = next((one.relay for one in self._held.values() if one.place == held.place), None)
        if other is not None:
            self.trouble[held.relay] = (
                f"relay {held.relay}: its output is in use by another relay, {other}; correct the farm file"
            )
            held.tell(RelayReport(held.relay, None, available=False))
            return
        self._held[held.relay] = held
        self._units.setdefault(self._bank.unit(held.place), Unit()).look_at_ms = now_ms

    def order(self, relay: str, until_ms: int | None, now_ms: int) -> None:
        """On until then, or off."""
        held = self._held.get(relay)
        if held is None or held.fresh or not self._units[self._bank.unit(held.place)].there:
            return  # gone since it was handed over: the core hears of that by itself
        if until_ms is None or until_ms > now_ms:
            self._switch(held, until_ms, now_ms)

    def let_go(self, now_ms: int) -> None:
        """Ends the leases that are over."""
        for held in self._held.values():
            if held.until_ms is not None and held.until_ms <= now_ms:
                self._switch(held, None, now_ms)

    def due(self, now_ms: int) -> Iterator[Callable[[], None]]:
        """The looks that are due, each to be made by calling it: one may take seconds."""
        for key, unit in self._units.items():
            if unit.look_at_ms <= now_ms:
                yield lambda key=key, unit=unit: self._look(key, unit, now_ms)  # type: ignore[misc]

    def leave(self, relay: str) -> bool:
        """Off, and no longer in hand. Returns whether any other still is."""
        self.trouble.pop(relay, None)
        held = self._held.pop(relay, None)
        if held is None:
            return bool(self._held)
        key = self._bank.unit(held.place)
        unit = self._units[key]
        # One last try for what is gone, not one for each of its relays: a stop is over within seconds.
        self._bank.release(held.place, unit.there or not unit.given_up)
        unit.given_up = not unit.there
        if all(self._bank.unit(other.place) != key for other in self._held.values()):
            self._units.pop(key, None)
        return bool(self._held)

    def abandon(self) -> None:
        """The end of a thread that should not have ended: everything off, and told."""
        for held in self._held.values():
            self.trouble[held.relay] = f"relay {held.relay}: its driver died, see the log; restart us"
            self._bank.release(held.place, True)
            held.tell(RelayReport(held.relay, None, available=False))

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
        came = [held for held in mine if held.fresh or not unit.there]
        try:
            for held in came:
                held.until_ms = None
                self._bank.hold(held.place)
                self._bank.switch(held.place, False)
            read = self._bank.read([held.place for held in mine])
            for held, on in zip(mine, read, strict=True):
                if on and held.until_ms is None:
                    self._bank.switch(held.place, False)
        except RelayError as error:
            self._gone(key, str(error), now_ms)
            return
        unit.there, unit.told_gone, unit.look_at_ms = True, False, now_ms + LOOK_MS
        for held in came:
            held.fresh, held.said = False, None
            self.trouble.pop(held.relay, None)
        for held, on in zip(mine, read, strict=True):
            self._seen(held, on, now_ms)

    def _seen(self, held: Held[P], on: bool, now_ms: int) -> None:
        """Tells what a relay does, where that is news, and again while it is not what it was told."""
        differs = on is not (held.until_ms is not None)
        if on is not held.said or (differs and now_ms >= held.said_at_ms + REPEAT_MS):
            held.said, held.said_at_ms = on, now_ms
            held.tell(RelayReport(held.relay, on))

    def _gone(self, key: Hashable, why: str, now_ms: int) -> None:
        unit = self._units[key]
        unit.look_at_ms = now_ms + (SOON_MS if unit.there else RETRY_MS)
        unit.there = False
        mine = [held for held in self._held.values() if self._bank.unit(held.place) == key]
        for held in mine:
            held.until_ms = None
            self.trouble[held.relay] = f"relay {held.relay}: {why}; tried again every {RETRY_MS // 1000} s"
        if not unit.told_gone:
            unit.told_gone = True
            log.warning("relays %s: %s", ", ".join(held.relay for held in mine), why)
            for held in mine:
                held.tell(RelayReport(held.relay, None, available=False))
