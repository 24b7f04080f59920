"""Whether our wall clock can be believed: a board without a battery clock boots years off.

Here: the judgement, from the machine's word and from two things no right clock can lie before. Not here: the
clocks themselves (`clock`), what follows from a clock that is not set (`payloads.routes`, `audit.clock`).
The control thread owns it; what it finds enters the core as an input (`Started`, `ClockStep`).
"""

from datetime import UTC, datetime

from gillhouse import RELEASED
from gillhouse.clock import Clock
from gillhouse.core.instant import Instant

RELEASED_MS = round(datetime.combine(RELEASED, datetime.min.time(), tzinfo=UTC).timestamp() * 1000)
"""This program did not run before it was made."""
LOOK_EVERY_MS = 10_000
"""So often the machine is asked whether its clock has been set meanwhile."""


class ClockTrust:
    """The wall clock is sure until `at_start` says otherwise."""

    def __init__(self, clock: Clock) -> None:
        self._clock = clock
        self._looked_ms = 0
        self.sure = True

    def at_start(self, now: Instant, newest_ms: int | None) -> bool:
        """Judges the clock as the daemon begins.

        Set by a time server, it is sure, even before the newest record: a wrong clock wrote that one.
        Else it is unsure where the machine says that nothing has set it, or where it lies in our past.

        Args:
            newest_ms: wall time of the newest record; None in a new journal.
        """
        told = self._clock.is_set()
        past_ms = max(RELEASED_MS, RELEASED_MS if newest_ms is None else newest_ms)
        self.sure = told is True or (told is None and now.wall_ms >= past_ms)
        self._looked_ms = now.mono_ms
        return self.sure

    def after_step(self, now: Instant) -> bool:
        """Judges it after somebody set it, by hand or from a server: right, unless it is before our time."""
        self.sure = now.wall_ms >= RELEASED_MS or self._clock.is_set() is True
        return self.sure

    def became_sure(self, now: Instant) -> bool:
        """True once: when the machine says that its clock is set, and it was not known to be."""
        if self.sure or now.mono_ms - self._looked_ms < LOOK_EVERY_MS:
            return False
        self._looked_ms = now.mono_ms
        self.sure = self._clock.is_set() is True
        return self.sure
