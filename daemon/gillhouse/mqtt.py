"""The link to the MQTT broker: messages in, messages out, and the proof that it lives.

One `mqtt_session.Session` is one connection: its own paho client, its own network thread. `BrokerLink`
starts one, and when it ends or falls silent, another after a growing wait. The broker keeps our place
between them, sends again what we have not acknowledged, and is acknowledged only when the caller says so
(`ack`, any thread). After each connect we send ourselves a marker: what arrives before it may have waited
at the broker.
Outgoing messages belong to their session: what was not confirmed when it broke is not sent again, because
a command that comes late is worse than none. Not here: what a message means.

Liveness and waits run on a clock of the machine's own, whatever clock stamps the messages: sockets do not
follow a trial run's virtual time.
"""

import logging
import random
import threading
from collections import deque
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from typing import Any, cast

from paho.mqtt.client import MQTTMessageInfo

from gillhouse.clock import Box, Clock, SystemClock
from gillhouse.core.edges import BrokerSettings
from gillhouse.mqtt_session import CONNECT_TIMEOUT_S, LAST_WORDS_S, TAKEN_OVER, UNSUPPORTED_VERSION, Session
from gillhouse.payloads import Message

SILENT_KEEPALIVES = 1.5
"""Nothing heard for this many keep-alive intervals: the connection is dead, whatever the socket says.
Source: MQTT 5 section 3.1.2.10 has a broker drop us after the same time."""
SHORT_LIFE_MS = 5_000
"""A connection that dies this young, without a reason given, was probably taken over (3.1.1 gives none)."""

log = logging.getLogger(__name__)

OnMessage = Callable[[Message, bool], None]
OnLink = Callable[[bool, str], None]

AUTO, V5, V311 = "auto", "5", "3.1.1"
EARLY_CLOSES = 3
"""Connections closed in a row before any answer, after which `auto` tries 3.1.1. Our own choice."""
STORM_TAKEOVERS = 3
STORM_WINDOW_MS = 60_000
"""More takeovers than that in this time: two programs share our client id. Our own choice."""


class Protocol:
    """`auto` begins with MQTT 5 and falls back to 3.1.1 until the program restarts."""

    def __init__(self, wish: str) -> None:
        """
        Args:
            wish: `auto`, `5` or `3.1.1`.
        Raises:
            ValueError: none of them.
        """
        if wish not in (AUTO, V5, V311):
            raise ValueError(f"protocol {wish!r} is unknown; use auto, 5 or 3.1.1")
        self._auto = wish == AUTO
        self.version = V5 if self._auto else wish
        self.why = ""
        """What made `auto` fall back; empty while it has not."""
        self._early_closes = 0

    def answered(self) -> None:
        """The broker answered a connect, kindly or not."""
        self._early_closes = 0

    def unsupported(self) -> bool:
        """The broker said it does not speak the version. True if another one is worth a try."""
        return self._fall_back("the broker does not speak MQTT 5")

    def closed_early(self) -> bool:
        """The connection was closed before any answer. True if another version is worth a try."""
        self._early_closes += 1
        if self._early_closes < EARLY_CLOSES:
            return False
        return self._fall_back(f"the broker closed {EARLY_CLOSES} MQTT 5 connections without an answer")

    def _fall_back(self, why: str) -> bool:
        if not self._auto or self.version == V311:
            return False
        self.version, self.why, self._early_closes = V311, why, 0
        return True


@dataclass(slots=True)
class Waits:
    """Growing, jittered waits between two tries, so that many clients do not return in one moment."""

    first_ms: int = 1_000
    longest_ms: int = 30_000
    settled_after_ms: int = 10_000
    """A connection that held this long begins the series anew."""
    _next_ms: int = 0

    def next_ms(self, chance: float) -> int:
        """The next wait: between half and the whole of a length that doubles up to the longest.

        Args:
            chance: 0 to 1.
        """
        length_ms = self._next_ms or self.first_ms
        self._next_ms = min(length_ms * 2, self.longest_ms)
        return int(min(length_ms, self.longest_ms) * (0.5 + 0.5 * chance))

    def held(self, up_ms: int) -> None:
        """A connection has ended that was up this long."""
        if up_ms >= self.settled_after_ms:
            self._next_ms = 0


@dataclass(slots=True)
class Takeovers:
    """Counts how often another program pushed us out by connecting with our client id."""

    _at_ms: deque[int] = field(default_factory=deque)

    def another(self, mono_ms: int) -> bool:
        """One more. True if they come so often that it must be a mistake in the set-up."""
        self._at_ms.append(mono_ms)
        while self._at_ms[0] <= mono_ms - STORM_WINDOW_MS:
            self._at_ms.popleft()
        return len(self._at_ms) > STORM_TAKEOVERS


class BrokerLink:  # over 12 methods: what callers ask, what a session calls back, and the watch over it
    """Keeps a session with the broker, for as long as the program runs."""

    def __init__(
        self,
        settings: BrokerSettings,
        clock: Clock,
        on_message: OnMessage,
        on_link: OnLink,
        waits: Waits | None = None,
    ) -> None:
        """
        Args:
            clock: stamps arrivals.
            on_message: called in the network thread with (message, synced); must be quick. `synced` is
                False while messages that waited at the broker may still be coming.
            on_link: called with (up, detail) whenever either changes; any thread.
        """
        self.settings = settings
        self.clock = clock
        self._on_message = on_message
        self.received = 0
        """Messages handed over."""
        self.published = 0
        """Messages accepted for sending."""
        self.faults = 0
        """Exceptions out of callbacks; each is logged, none stops the link."""
        self.wanted: tuple[str, ...] = ()
        self._exact: frozenset[str] | None = frozenset()
        self.protocol = Protocol(settings.protocol)
        self._on_link = on_link
        self._waits = waits or Waits()
        self._takeovers = Takeovers()
        self._real = SystemClock()
        self._ended: Box[Session | None] = Box(self._real)
        self._turned_ms = clock.now().mono_ms
        self._session: Session | None = None
        self._thread = threading.Thread(target=self._supervise, name="broker-link", daemon=True)
        self._stopping = False
        self._told: tuple[bool, str] | None = None
        self._heard_ms: int | None = None
        """When the broker was heard in an earlier session, on the machine's clock."""

    def start(self) -> None:
        """Returns at once; `on_link` tells when the broker is there."""
        self._thread.start()

    def stop(self) -> None:
        """Says goodbye (retained `offline`), lets what was sent get out, and ends all threads."""
        session, self._stopping = self._session, True
        self._ended.close()
        if session is not None:
            session.farewell()
        self._thread.join(LAST_WORDS_S + CONNECT_TIMEOUT_S)

    def subscribe(self, topics: Sequence[str]) -> None:
        """Makes `topics` (with or without wildcards) the whole list of what is listened to."""
        dropped = set(self.wanted) - set(topics)
        self.wanted = tuple(dict.fromkeys(topics))
        wild = any("+" in topic or "#" in topic for topic in topics)
        self._exact = None if wild else frozenset(topics)
        session = self._session
        if session is not None and session.up:
            session.subscribe(sorted(dropped))

    @property
    def connected(self) -> bool:
        """The broker has accepted us and is not known to be gone."""
        session = self._session
        return session is not None and session.up

    @property
    def forgotten(self) -> bool:
        """The broker that is there now kept no place for us: it is new, was wiped, or has waited too long."""
        session = self._session
        return session is not None and session.up and session.forgotten

    @property
    def unheard_ms(self) -> int | None:
        """How long ago this program heard the broker before the present session; None: not yet."""
        return None if self._heard_ms is None else self._real.now().mono_ms - self._heard_ms

    @property
    def synced(self) -> bool:
        """The marker has come back: nothing that waited at the broker is still to come."""
        session = self._session
        return session is not None and session.up and session.synced

    def publish(
        self,
        topic: str,
        payload: bytes,
        qos: int = 1,
        retain: bool = False,
        expire_s: float | None = None,
    ) -> bool:
        """Sends a message, if the broker is there now.

        Args:
            expire_s: the broker drops it undelivered after this; MQTT 5 only.
        Returns:
            False if it was not sent and never will be.
        """
        return self._publish(topic, payload, qos, retain, expire_s) is not None

    def deliver(self, topic: str, payload: bytes, timeout_s: float, expire_s: float | None = None) -> bool:
        """Sends a message and waits for the broker's confirmation. Not for the network thread.

        Returns:
            True once the broker has it; False if it may or may not.
        """
        info = self._publish(topic, payload, 1, False, expire_s)
        if info is None:
            return False
        info.wait_for_publish(timeout_s)
        return info.is_published()

    def _publish(
        self, topic: str, payload: bytes, qos: int, retain: bool, expire_s: float | None
    ) -> MQTTMessageInfo | None:
        session = self._session
        if session is None or not session.up:
            return None
        info = session.send(topic, payload, qos, retain, expire_s)
        if info is not None:
            self.published += 1
        return info

    @property
    def last_turn_ms(self) -> int:
        """When the link's loop last came round, on `clock`; while a connection stands, that one's if older.

        A try to connect may take as long as it likes: this loop gives it up and begins another.
        """
        session = self._session
        return min(self._turned_ms, session.turned_ms) if session and session.up else self._turned_ms

    def turn(self) -> None:
        """Has the loop come round soon, if it can."""
        self._ended.put(None)

    def ack(self, token: object) -> None:
        """Tells the broker that a message is safe. A token of an ended session is passed over: the broker
        sends that message again."""
        if token is None:
            return
        session, mid = cast("tuple[Session, int]", token)
        if session is self._session:
            session.ack(mid)

    def tell(self, up: bool, detail: str) -> None:
        """Reports the state of the link, once per change."""
        if self._told == (up, detail):
            return
        self._told = (up, detail)
        log.log(logging.INFO if up else logging.WARNING, "broker %s: %s", "there" if up else "gone", detail)
        self._guard(self._on_link, up, detail)

    def _guard(self, call: Callable[..., None], *args: Any) -> bool:
        """Calls back; whatever goes wrong in there must not stop the link. False if it did go wrong."""
        try:
            call(*args)
        except Exception:  # the network thread outlives any mistake above it
            self.faults += 1
            log.exception("a callback of the broker link failed")
            return False
        return True

    def take(self, message: Message, synced: bool) -> bool:
        """Hands a message on; called by the session."""
        if self._exact is not None and message.topic not in self._exact:
            session = self._session  # a subscription kept from an earlier config
            if session is not None:
                session.client.unsubscribe(message.topic)
            return False
        self.received += 1
        return self._guard(self._on_message, message, synced)

    def _supervise(self) -> None:
        while not self._stopping:
            session = Session(self, self._real, self.protocol.version == V5, self._note())
            self._session = session
            session.start(self._ended.put)
            self._mind(session)
            if session.up_ms(session.heard_ms):
                self._heard_ms = session.heard_ms
            self._learn(session, self._real.now().mono_ms)
            self._waits.held(session.up_ms(self._real.now().mono_ms))
            until_ms = self._real.now().mono_ms + self._waits.next_ms(random.random())
            while not self._stopping and self._real.now().mono_ms < until_ms:
                self._turned_ms = self.clock.now().mono_ms
                self._ended.take(until_ms)

    def _note(self) -> str:
        return f" ({self.protocol.why})" if self.protocol.why else ""

    def _mind(self, session: Session) -> None:
        """Returns when the session has ended, asking it for a sign of life whenever it is quiet."""
        silent_ms = int(self.settings.keepalive_s * 1000 * SILENT_KEEPALIVES)
        while True:
            self._turned_ms = self.clock.now().mono_ms
            ended = self._ended.take(self._real.now().mono_ms + self.settings.keepalive_s * 500)
            if ended is session or self._stopping:
                return
            quiet_ms = self._real.now().mono_ms - session.heard_ms
            if quiet_ms > silent_ms:
                session.abandon(f"nothing heard for {quiet_ms / 1000:.0f} s")
                return
            if quiet_ms > self.settings.keepalive_s * 400:
                session.send_marker()

    def _learn(self, session: Session, now_ms: int) -> None:
        """Draws the lesson of an ended session, and reports it."""
        if self._stopping:
            return
        if session.answer == UNSUPPORTED_VERSION:
            self.protocol.unsupported()
        elif session.answer is not None:
            self.protocol.answered()
        elif session.opened and not session.abandoned:
            self.protocol.closed_early()
        detail = session.why or "the connection was closed"
        taken = session.goodbye == TAKEN_OVER or 0 < session.up_ms(now_ms) < SHORT_LIFE_MS
        if taken and self._takeovers.another(now_ms):
            detail = (
                f"another program uses the client id {self.settings.client_id!r} and pushes this one out; "
                "give each its own client_id"
            )
        where = f"{self.settings.host}:{self.settings.port}"
        self.tell(False, f"{where}: {detail}{self._note()}")
