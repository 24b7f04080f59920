"""The night report: built on a thread of its own when its time comes, then handed to the channels.

Building reads a whole night and must not hold up a relay. Not here: what a night is (`audit`).
"""

import logging
import threading
from pathlib import Path

from gillhouse.alerts.outbox import Alerts
from gillhouse.clock import Box, Clock
from gillhouse.core.instant import Instant
from gillhouse.errors import GillhouseError
from gillhouse.store.reader import Reader
from gillhouse.store.writer import Writer

NIGHT_REPORT = "night report"
log = logging.getLogger(__name__)


class Reporter:
    """Owns one thread. `build` only hands over."""

    def __init__(self, journal: Path, clock: Clock, writer: Writer, alerts: Alerts) -> None:
        self._journal, self._clock, self._writer, self._alerts = journal, clock, writer, alerts
        self._due: Box[Instant] = Box(clock)
        self._thread = threading.Thread(target=self._run, name="reporter", daemon=True)

    def start(self) -> None:
        self._thread.start()

    def stop(self) -> None:
        self._due.close()
        self._thread.join(3)

    def build(self, now: Instant) -> None:
        """Has the last night told."""
        self._due.put(now)

    def settled(self) -> bool:
        return self._due.at_rest(self._clock.now().mono_ms)

    def _run(self) -> None:
        while (now := self._due.take()) is not None:
            try:
                self._tell(now)
            except GillhouseError as error:
                log.error("the night report could not be made: %s", error)

    def _tell(self, now: Instant) -> None:
        # Imported once a night: the report and its templates would take 4 MB all day.
        from gillhouse.audit.html import as_html
        from gillhouse.audit.report import last_window, night_of
        from gillhouse.audit.text import as_text

        self._writer.flush()  # what is known by now belongs to the night
        with Reader(self._journal) as reader:
            night = night_of(reader, last_window(reader, now.wall_ms), now.wall_ms)
        text = as_text(night)
        self._alerts.message(now, text.splitlines()[0], text, {"night.html": as_html(night)})
