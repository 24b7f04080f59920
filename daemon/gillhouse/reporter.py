"""The night report, and the call of a slug night at dusk: asked for when their time comes, made in a child
process, then handed to the channels.

Making it reads a whole night and takes 14 MB for what a running daemon never needs; it must not hold up a
relay. So a thread here waits for the child (`audit.apart`), and where none comes back with a report, that is
what is sent: a morning without any message means that the daemon itself is not there.
"""

import logging
import threading
from collections.abc import Callable, Mapping
from pathlib import Path
from typing import Any

from gillhouse.alerts.outbox import Alerts
from gillhouse.audit.apart import Order, Telling, Told, What
from gillhouse.clock import Box, Clock
from gillhouse.core.instant import Instant
from gillhouse.core.outputs import Event, EventKind
from gillhouse.errors import GillhouseError
from gillhouse.store.rows import EventRow
from gillhouse.store.writer import Writer

NIGHT_REPORT = "night report"
SLUG_CALL = "slug call"
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
        self.forecast: Callable[[], str | None] = lambda: None
        """The name of the forecast file, by the config in force."""
        self.caps: Callable[[], Mapping[str, Mapping[str, Any]]] = dict
        """The farm's account of the caps of each open space; may raise a `GillhouseError`."""
        self._no_forecast = ""
        """Why the forecast could not be used, as people were told; empty: it could."""
        self._due: Box[tuple[What, Instant]] = Box(clock)
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
        self._due.put((What.NIGHT, now))

    def call_slugs(self, now: Instant) -> None:
        """Has the night that begins called, if it is a slug night."""
        self._due.put((What.DUSK, now))

    def settled(self) -> bool:
        return self._due.at_rest(self._clock.now().mono_ms)

    def _run(self) -> None:
        while (due := self._due.take()) is not None and not self._stopping:
            what, now = due
            try:
                told = self._told(what, now)
            except GillhouseError as error:
                if not self._stopping:
                    self._give_up(what, now, str(error))
                continue
            if told is not None:
                self._send(what, now, told)

    def _told(self, what: What, now: Instant) -> Told | None:
        """None: it is being stopped."""
        order = Order(what, self.forecast(), self._caps_known())
        self._writer.flush()  # what is known by now belongs to the night
        with self._lock:
            if self._stopping:
                return None
            self._telling = Telling(self._journal, now.wall_ms, order)
        try:
            return self._telling.wait(self.limit_s)
        finally:
            self._telling = None

    def _caps_known(self) -> Mapping[str, Mapping[str, Any]]:
        try:
            return self.caps()
        except GillhouseError as error:
            log.warning("reported without the account of the caps: %s", error)
            return {}

    def _send(self, what: What, now: Instant, told: Told) -> None:
        if told.forecast_trouble not in ("", self._no_forecast):
            log.warning("the forecast cannot be used: %s", told.forecast_trouble)
            text = f"Told without it until it can be used: {told.forecast_trouble}\n"
            self._alerts.message(now, "Forecast cannot be used", text)
        self._no_forecast = told.forecast_trouble
        if what is What.NIGHT:
            self._alerts.message(now, told.text.splitlines()[0], told.text, {"night.html": told.page})
        elif told.text:
            self._alerts.message(now, "Slug night", told.text)

    def _give_up(self, what: What, now: Instant, why: str) -> None:
        if what is What.DUSK:  # a call that may not have been due is not missed in a message
            log.error("whether this is a slug night could not be told: %s", why)
            return
        log.error("the night report could not be made: %s", why)
        event = Event(EventKind.LINK, NIGHT_REPORT, None, None, {"up": False, "why": why})
        self._writer.put(EventRow(EDGE, now.wall_ms, event))
        text = f"The night report could not be made: {why}. Try `gillhouse night` by hand.\n"
        self._alerts.message(now, "Night report could not be made", text)
