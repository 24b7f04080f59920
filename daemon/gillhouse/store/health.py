"""Whether the store works: when to try again after a failure, and when to stop waiting for it.

The writer may be stuck inside the disk for minutes, so a thread of its own watches the time since the first
attempt without success. It sleeps without a deadline while no attempt is under way.
"""

import threading
from collections.abc import Callable

from gillhouse.clock import Box, Clock

RETRY_MS = (1_000, 2_000, 5_000, 10_000, 30_000)
"""Waits between attempts while the disk refuses; the last one repeats."""

_ENDED = -1


class Health:
    """Told by the writer how its attempts go; tells the service, once per change."""

    def __init__(
        self,
        clock: Clock,
        release_after_ms: int,
        on_state: Callable[[bool, str], None],
        let_go: Callable[[], None],
    ) -> None:
        """`let_go` is called after `on_state(False, ...)`, when nobody shall wait for the disk any longer."""
        self.down = False
        self.retry_ms: int | None = None
        """Monotonic time of the next attempt after a failure; None while all is well."""
        self._clock = clock
        self._release_after_ms = release_after_ms
        self._on_state = on_state
        self._let_go = let_go
        self._since_ms: int | None = None
        self._failures = 0
        self._error = ""
        self._changing = threading.Lock()  # so that the service hears of changes in their order
        self._box: Box[int] = Box(clock)
        self._thread = threading.Thread(target=self._watch, name="store-watch", daemon=True)

    def start(self) -> None:
        self._thread.start()

    def began(self, now_mono_ms: int) -> None:
        """An attempt begins."""
        if self._since_ms is None:
            self._since_ms = now_mono_ms
            self._box.put(now_mono_ms)

    def failed(self, now_mono_ms: int, error: str) -> None:
        """The attempt failed; `retry_ms` says when to try again."""
        self._error = error
        self.retry_ms = now_mono_ms + RETRY_MS[min(self._failures, len(RETRY_MS) - 1)]
        self._failures += 1

    def retry_now(self) -> None:
        self.retry_ms = None

    def succeeded(self) -> None:
        """The attempt is on the disk."""
        with self._changing:
            self._since_ms, self.retry_ms, self._failures, self._error = None, None, 0, ""
            if self.down:
                self.down = False
                self._on_state(True, "")
        self._box.put(_ENDED)

    def at_rest(self, now_mono_ms: int) -> bool:
        return self._box.at_rest(now_mono_ms)

    def close(self) -> None:
        self._box.close()

    def _watch(self) -> None:
        until_ms: int | None = None
        while not self._box.closed:
            message = self._box.take(until_ms)
            if message is None:
                until_ms = None
                self._look()
            else:
                until_ms = None if message == _ENDED else message + self._release_after_ms

    def _look(self) -> None:
        now_ms = self._clock.now().mono_ms
        with self._changing:
            since_ms = self._since_ms
            if self.down or since_ms is None or now_ms - since_ms < self._release_after_ms:
                return
            self.down = True
            why = self._error or "the disk does not answer"
            self._on_state(False, f"nothing written for {(now_ms - since_ms) // 1000} s: {why}")
        self._let_go()
