"""A sign of life sent outwards, for another machine to miss: a box without power cannot call for help.

Every so often, and only if something was committed to the store since the last one, it asks the control
thread how things stand and sends that by HTTP or MQTT. So it stops when readings, decisions or the disk stop,
not only when the process ends. One that cannot be sent is not kept: the next says more. Whoever watches
takes a number that does not move for silence too (`deploy/watcher`).
Not in it: addresses, passwords, the place. Not here: who is told when it is missed.
"""

import json
import logging
import shutil
import ssl
import threading
import urllib.error
import urllib.request
from collections import Counter
from collections.abc import Callable
from pathlib import Path
from typing import Any, Protocol
from urllib.parse import urlsplit

from gillhouse import __version__
from gillhouse.alerts.channel import heard
from gillhouse.alerts.secret import read_secret
from gillhouse.clock import Box, Clock
from gillhouse.core.edges import HeartbeatSettings
from gillhouse.core.instant import Instant
from gillhouse.errors import ChannelError, GillhouseError
from gillhouse.relays.driver import Publish

log = logging.getLogger(__name__)

NAME = "heartbeat"


class Committing(Protocol):
    """What is used of the store's writer."""

    @property
    def commits(self) -> int: ...


class Heartbeat:
    """Owns one thread, from `start` to `stop`."""

    def __init__(  # 6 arguments: where it goes, and what it says
        self,
        settings: HeartbeatSettings,
        clock: Clock,
        status: Callable[[], dict[str, Any]],
        store: Committing,
        state_dir: Path,
        publish: Publish,
    ) -> None:
        """
        Args:
            status: how the farm stands (`Farm.status`), asked of the control thread.
            store: says how often it has committed in this run.
            state_dir: whose free space is told.
            publish: hands (topic, payload) to the broker.
        """
        self._settings, self._clock, self._status = settings, clock, status
        self._store, self._state_dir, self._publish = store, state_dir, publish
        self.sent = 0
        """Signs of life that went out."""
        self._committed = 0
        self._failing = ""
        self._begun_ms = clock.now().mono_ms
        self._box: Box[None] = Box(clock)
        self._thread = threading.Thread(target=self._run, name=NAME, daemon=True)

    def start(self) -> None:
        self._thread.start()

    def stop(self) -> None:
        self._box.close()
        self._thread.join(1.0)

    def beat(self) -> bool:
        """Sends one, if something was committed since the last one that went out. Returns whether it did."""
        committed = self._store.commits
        if committed <= self._committed:
            self._trouble("nothing was committed since the last one")
            return False
        try:
            self._send(self.content(self._clock.now(), committed))
        except (GillhouseError, OSError) as error:
            self._trouble(str(error))
            return False
        self._committed, self._failing = committed, ""
        self.sent += 1
        return True

    def content(self, now: Instant, committed: int) -> dict[str, Any]:
        """What a sign of life says."""
        told = self._status()
        return {
            "number": self.sent + 1,
            "at_ms": now.wall_ms,
            "up_s": (now.mono_ms - self._begun_ms) // 1000,
            "committed": committed,
            "heard_s": told["heard_s"],
            "free_bytes": shutil.disk_usage(self._state_dir).free,
            "alarms": dict(sorted(Counter(str(one["state"]) for one in told["alarms"]).items())),
            "version": __version__,
        }

    def _run(self) -> None:
        due_ms = self._clock.now().mono_ms
        while True:
            self._box.take(due_ms)
            if self._box.closed:
                return
            self.beat()
            due_ms = max(due_ms + self._settings.every_ms, self._clock.now().mono_ms)

    def _send(self, content: dict[str, Any]) -> None:
        settings, body = self._settings, json.dumps(content).encode()
        if settings.topic:
            if not self._publish(settings.topic, body):
                raise ChannelError(f"{NAME}: the broker cannot be reached; is it running?")
            return
        headers = {"Content-Type": "application/json", "User-Agent": f"gillhouse/{__version__}"}
        token = read_secret(settings.token_file, NAME) if settings.token_file else ""
        if token:
            headers["Authorization"] = f"Bearer {token}"
        post = settings.method == "POST"
        where = urlsplit(settings.url).hostname
        try:
            request = urllib.request.Request(
                settings.url, body if post else None, headers, method=settings.method
            )
            context = ssl.create_default_context(cafile=settings.ca_file)
            handlers = urllib.request.HTTPSHandler(context=context)
            with urllib.request.build_opener(handlers).open(request, timeout=settings.timeout_ms / 1_000):
                pass
        except urllib.error.HTTPError as error:
            with error:
                raise ChannelError(f"{NAME}: {where} answered {error.code}") from None
        except (OSError, ValueError) as error:
            raise ChannelError(f"{NAME}: {where}: {heard(str(error), token, settings.url)}") from None

    def _trouble(self, why: str) -> None:
        """One line in the log when it ceases to go out, not one a minute."""
        if why != self._failing:
            log.warning("no sign of life sent: %s", why)
        self._failing = why
