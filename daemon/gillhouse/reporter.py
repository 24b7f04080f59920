"""The night report: asked for when its time comes, made in a child process, then handed to the channels.

Making it reads a whole night and takes 14 MB for what a running daemon never needs; it must not hold up a
relay. So a thread here waits for the child (`audit.apart`), and where none comes back with a report, that is
what is sent: a morning without any message means that the daemon itself is not there.
"""

import logging
import threading
from pathlib import Path

from gillhouse.alerts.outbox import Alerts
from gillhouse.audit.apart import Telling
from gillhouse.clock import Box, Clock
from gillhouse.core.instant import Instant
from gillhouse.core.outputs import Event, EventKind
from gillhouse.errors import GillhouseError
from gillhouse.store.rows import EventRow
from gillhouse.store.writer import Writer

NIGHT_REPORT = "night report"
LIMIT_S = 300.0
"""A report takes some seconds on a server (measured) and ten times that on a small board (reckoned)."""
EDGE = 0
"""Number of rows the core did not make."""
log = logging.getLogger(__name__)


class Reporter:
    """Owns one thread and at most one child. `build` only hands over."""

    def __init__(self, journal: Path, clock: Clock, writer: Writer, alerts: Alerts) -> None:
        self._journal, self._clock, self._writer, self._alerts = journal, clock, writer, alerts
        self.limit_s = LIMIT_S
        """Seconds of the machine's clock one report may take."""
        self._due: Box[Instant] = Box(clock)
        self._telling: Telling | None = None
        self._stopping = False
        self._lock = threading.Lock()
        self._thread = threading.Thread(target=self._run, name="reporter", daemon=True)

    def start(self) -> None:
        self._thread.start()

    def stop(self) -> None:
        """Ends; a report half made is given up."""
        with self._lock:
            self._stopping = True
            if self._telling is not None:
                self._telling.end()
        self._due.close()
        self._thread.join(3)

    def build(self, now: Instant) -> None:
        """Has the last night told."""
        self._due.put(now)

    def settled(self) -> bool:
        return self._due.at_rest(self._clock.now().mono_ms)

    def _run(self) -> None:
        while (now := self._due.take()) is not None and not self._stopping:
            try:
                self._tell(now)
            except GillhouseError as error:
                if not self._stopping:
                    self._give_up(now, str(error))

    def _tell(self, now: Instant) -> None:
        self._writer.flush()  # what is known by now belongs to the night
        with self._lock:
            if self._stopping:
                return
            self._telling = Telling(self._journal, now.wall_ms)
        try:
            told = self._telling.wait(self.limit_s)
        finally:
            self._telling = None
        self._alerts.message(now, told.text.splitlines()[0], told.text, {"night.html": told.page})

    def _give_up(self, now: Instant, why: str) -> None:
        log.error("the night report could not be made: %s", why)
        event = Event(EventKind.LINK, NIGHT_REPORT, None, None, {"up": False, "why": why})
        self._writer.put(EventRow(EDGE, now.wall_ms, event))
        text = f"The night report could not be made: {why}. Try `gillhouse night` by hand.\n"
        self._alerts.message(now, "Night report could not be made", text)
