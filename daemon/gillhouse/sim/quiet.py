"""Whether anything is still on its way between the boards, the broker and the daemon.

It counts: what the boards published against what the broker acknowledged and the daemon took in; what the
daemon published against what reached the boards. While any of it is missing, or the daemon is at work,
virtual time stands still. Real time counts for patience alone.
"""

from collections.abc import Callable
from typing import Any, Protocol

from gillhouse.clock import Clock
from gillhouse.core.inputs import Input
from gillhouse.sim.link import BoardLink, TrialError

PATIENCE_MS = 120_000
"""Real time after which something is taken to hang."""
POLL_S = 0.0005
CALM_POLLS = 100
"""At the start nothing is known yet of what was sent: so many polls without a change are taken for quiet."""


class Counts(Protocol):
    """What the daemon's broker link tells of itself."""

    @property
    def received(self) -> int: ...
    @property
    def published(self) -> int: ...


class Daemon(Protocol):
    """All the driver sees of the daemon."""

    @property
    def link(self) -> Counts: ...
    def settled(self) -> bool: ...
    def submit(self, item: Input) -> object: ...
    def status(self) -> dict[str, Any]: ...


class Quiet:
    """Waits for rest, and says what is missing when it does not come."""

    def __init__(self, real: Clock, daemon: Daemon, link: BoardLink) -> None:
        self._real, self._daemon, self._link = real, daemon, link
        self._base = (0, 0, 0, 0)
        self.broken: Callable[[], str | None] = lambda: None
        """Says what is wrong with the daemon, if anything: a dead one is not waited for."""

    def count_from_here(self) -> None:
        """Everything so far has arrived: count on from here."""
        counts, link = self._daemon.link, self._link
        self._base = (counts.received, link.published, link.received, counts.published)

    def missing(self) -> str | None:
        """What is still on its way, or None."""
        link, counts = self._link, self._daemon.link
        heard, sent, got, said = self._base
        if not link.quiet():
            return f"the broker has not acknowledged {link.published - link.acknowledged} board messages"
        untold = (link.published - sent) - (counts.received - heard)
        if untold > 0:
            return f"the daemon has not taken in {untold} board messages"
        if not self._daemon.settled():
            return "the daemon is not settled"
        unheard = (counts.published - said) - (link.received - got)
        if unheard > 0:
            return f"{unheard} of the daemon's messages have not reached the boards"
        return None

    def wait(self) -> None:
        """Until nothing is missing.

        Raises:
            TrialError: it took too long, or the daemon failed.
        """
        begun_ms: int | None = None
        while (missing := self.missing()) is not None:
            self._link.pump(POLL_S)
            now_ms = self._real.now().mono_ms
            begun_ms = now_ms if begun_ms is None else begun_ms
            self._look_for_trouble(now_ms - begun_ms, missing)

    def wait_for_calm(self) -> None:
        """Until nothing has changed for a while: for the start, when it is not known yet what was sent."""
        begun_ms = self._real.now().mono_ms
        still, last = 0, (-1, -1, -1)
        while still < CALM_POLLS:
            self._link.pump(POLL_S)
            counts = self._daemon.link
            seen = (counts.received, counts.published, self._link.received)
            up = bool(self._link.inbox) and self._link.quiet() and self._daemon.settled()
            still, last = (still + 1 if up and seen == last else 0), seen
            self._look_for_trouble(self._real.now().mono_ms - begun_ms, "the daemon has not come up")

    def _look_for_trouble(self, waited_ms: int, missing: str) -> None:
        wrong = self.broken()
        if wrong is not None:
            raise TrialError(f"the daemon failed: {wrong}")
        if waited_ms > PATIENCE_MS:
            raise TrialError(
                f"stuck for {PATIENCE_MS // 1000} s: {missing}. "
                "Run it again; if it stays so, please report it with the seed."
            )
