"""Feeds the service manager's watchdog, and only while the house still turns.

The control loop, the store's writer and the broker link each stamp every turn of their own loop
(`last_turn_ms`). Four times in a watchdog period this looks at the stamps, feeds if every one is fresh, and
asks each part for another turn, since a loop with nothing to do sleeps. A part that hangs stops the feeding;
the service manager then ends us, has the outputs put safe and starts us again.

What a restart cannot mend is no reason for one: the link's loop turns while the broker is away, and a writer
inside a disk that does not answer is excused (`store.health` raises that alarm). Not here: alarms.
Source: sd_watchdog_enabled(3) and sd_notify(3) for the period and the words.
"""

import logging
import threading
from collections.abc import Callable, Mapping
from dataclasses import dataclass

from gillhouse.clock import Box, Clock

LOOKS = 4
"""Looks in one period. Source: sd_watchdog_enabled(3) advises to feed at least every half of it."""

log = logging.getLogger(__name__)


def no_excuse() -> bool:
    return False


@dataclass(frozen=True, slots=True)
class Part:
    """A thread whose turning is watched."""

    name: str
    """As a person should read it: `the control loop`."""
    last_turn_ms: Callable[[], int]
    """When its loop last came round, on the monotonic clock."""
    ask: Callable[[], None]
    """Has it come round soon; must return at once."""
    excused: Callable[[], bool] = no_excuse
    """True while it waits for something that no restart mends."""


class Watchdog:
    """Looks, feeds and asks, in a thread of its own, from `start` to `stop`."""

    def __init__(
        self, clock: Clock, parts: tuple[Part, ...], period_ms: int, feed: Callable[[], None]
    ) -> None:
        """
        Args:
            period_ms: the service manager ends us when it was not fed for so long.
            feed: tells it that we are well.
        """
        self._clock, self._parts, self._feed = clock, parts, feed
        self._every_ms = max(1, period_ms // LOOKS)
        self._stale_ms = period_ms // 2
        self._stuck: tuple[str, ...] = ()
        self.looks = 0
        """How often it has looked."""
        self.fed = 0
        """How often it has fed."""
        self._box: Box[None] = Box(clock)
        self._thread = threading.Thread(target=self._run, name="watchdog", daemon=True)

    def start(self) -> None:
        self._ask()
        self._thread.start()

    def stop(self) -> None:
        self._box.close()

    def stuck(self) -> tuple[str, ...]:
        """The parts that have not come round for half a period, and have no excuse."""
        now_ms = self._clock.now().mono_ms
        return tuple(
            part.name
            for part in self._parts
            if now_ms - part.last_turn_ms() > self._stale_ms and not part.excused()
        )

    def _run(self) -> None:
        until_ms = self._clock.now().mono_ms + self._every_ms
        while not self._box.closed:
            self._box.take(until_ms)
            now_ms = self._clock.now().mono_ms
            if now_ms >= until_ms:
                self._look()
                until_ms = now_ms + self._every_ms

    def _look(self) -> None:
        stuck = self.stuck()
        if not stuck:
            self._feed()
            self.fed += 1
        if stuck != self._stuck:
            self._stuck = stuck
            self._tell()
        self._ask()
        self.looks += 1

    def _tell(self) -> None:
        if self._stuck:
            named = " and ".join(self._stuck)
            log.critical("%s hangs: the watchdog is not fed, the service will be restarted", named)
        else:
            log.warning("everything turns again")

    def _ask(self) -> None:
        for part in self._parts:
            part.ask()


def period_ms(environ: Mapping[str, str], pid: int) -> int | None:
    """The service manager's watchdog period; None where it watches nobody, or another process."""
    if environ.get("WATCHDOG_PID", str(pid)) != str(pid):
        return None
    try:
        microseconds = int(environ.get("WATCHDOG_USEC", "0"))
    except ValueError:
        return None
    return microseconds // 1000 or None
