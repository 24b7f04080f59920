"""One connection to the broker, from its try to its end: a paho client and the thread that runs it.

Here: the connect, birth and last will, subscriptions, the marker to ourselves, acknowledgement, what the
broker answered. Not here: when to try again and with which protocol (`mqtt`), what a message means.

The thread runs paho's loop itself rather than paho's own thread, so that an exception ends one connection
and not the link, and so that TCP_QUICKACK can be set again after each packet.
"""

import logging
import math
import socket
import ssl
import threading
import uuid
from collections import deque
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Any, Protocol, cast

import paho.mqtt.client as paho
from paho.mqtt.enums import CallbackAPIVersion, MQTTErrorCode
from paho.mqtt.packettypes import PacketTypes
from paho.mqtt.properties import Properties
from paho.mqtt.reasoncodes import ReasonCode
from paho.mqtt.subscribeoptions import SubscribeOptions

from gillhouse.clock import Clock
from gillhouse.core.edges import BrokerSettings
from gillhouse.payloads import Message

RECEIVE_MAXIMUM = 1000
"""Messages the broker may have unacknowledged with us, MQTT 5 (most brokers' own limit is 20)."""
SESSION_EXPIRY_S = 14 * 24 * 3600
"""How long the broker keeps our place. Our own choice: longer than a holiday, shorter than for ever."""
MOST_QUEUED = 1000
"""Outgoing messages held; without a bound a stuck broker fills the memory."""
CONNECT_TIMEOUT_S = 10.0
LAST_WORDS_S = 2.0
"""How long a farewell waits for the broker to confirm what was sent."""
LOOP_S = 1.0
"""Longest rest of the network loop; paho looks after its keep-alive in between."""
BURST = 50
"""Messages handed over together at most, so that a flood cannot keep a command waiting. Our own choice."""
UNSUPPORTED_VERSION, KEEP_ALIVE_TIMEOUT, TAKEN_OVER = 132, 141, 142
"""Source: MQTT 5 section 2.4, reason codes 0x84, 0x8D and 0x8E."""
QUICKACK: int | None = getattr(socket, "TCP_QUICKACK", None)
"""Linux only. Without it the kernel holds TCP acknowledgements back by 40 ms; some brokers wait for it."""

log = logging.getLogger(__name__)


class Host(Protocol):
    """What a session needs of the link it belongs to."""

    settings: BrokerSettings
    clock: Clock
    wanted: tuple[str, ...]
    """Topics to listen to."""

    def take(self, message: Message, synced: bool) -> bool:
        """Hands a message on. False if that went wrong and nobody will acknowledge it."""
        ...

    def tell(self, up: bool, detail: str) -> None:
        """Reports the state of the link."""
        ...


class Session:  # more than 12 methods: five of them are paho's callbacks
    """One connection. Its network thread writes what it learns; `abandon` may come from any thread."""

    def __init__(self, host: Host, real: Clock, five: bool, note: str) -> None:  # over 40 lines: a list
        """
        Args:
            real: the machine's clock, for liveness.
            five: MQTT 5, else 3.1.1.
            note: said beside "connected", such as why not MQTT 5.
        """
        self._host, self._real, self._five, self._note = host, real, five, note
        base, own_id = host.settings.base_topic, host.settings.client_id
        self._alive_topic, self._marker_topic = f"{base}/alive", f"{base}/marker/{own_id}"
        self._nonce = b""
        self._subscribe_mid: int | None = None
        self._confirmed = threading.Condition()
        self._unconfirmed = 0
        self._acking = threading.Lock()
        self._order: deque[int] = deque()
        """Numbers of messages not acknowledged yet, in the order they came."""
        self._safe: set[int] = set()
        """Those of them that may be acknowledged and wait for an earlier one."""
        self._ready: list[int] = []
        """Messages to be acknowledged by the network thread, in order."""
        self._woken = False
        """It has been woken for that and has not looked yet."""
        self._heard: list[tuple[Message, bool]] = []
        """Messages read and not handed over yet, each with whether we were synced."""
        self._up_from_ms: int | None = None
        self._thread = threading.Thread(target=self._run, name="broker-network", daemon=True)
        self._on_end: Callable[[Session], None] = lambda _: None
        self.heard_ms = real.now().mono_ms
        """When the broker was last heard, on `real`."""
        self.turned_ms = host.clock.now().mono_ms
        """When the network loop last came round, on the host's clock."""
        self.opened = False
        """The TCP (and TLS) connection stood."""
        self.up = self.synced = False
        """The marker has come back: what comes now was sent while we listened."""
        self.abandoned = False
        """Given up by us; what the broker would have answered is not known."""
        self.forgotten = False
        """The broker kept no place for us: nothing waited there, whatever was sent meanwhile."""
        self.answer: int | None = None
        """The broker's answer to our connect: 0, or a reason code."""
        self.goodbye: int | None = None
        """Why the broker ended it, MQTT 5 only."""
        self.why = ""
        self.client = client = _new_client(own_id, five)
        client.will_set(self._alive_topic, b"offline", qos=1, retain=True)
        client.on_connect = self._on_connect
        client.on_disconnect = self._on_disconnect
        client.on_subscribe = self._on_subscribe
        client.on_publish = self._on_publish
        client.on_message = self._on_message

    # ---- the thread

    def start(self, on_end: Callable[["Session"], None]) -> None:
        """Connects and runs in a thread of its own; `on_end` is called from it, last of all."""
        self._on_end = on_end
        self._thread.start()

    def _run(self) -> None:
        try:
            _connect(self.client, self._host.settings, self._five)
            self.opened = True
            result = MQTTErrorCode.MQTT_ERR_SUCCESS
            while result == MQTTErrorCode.MQTT_ERR_SUCCESS and not self.abandoned:
                self.turned_ms = self._host.clock.now().mono_ms
                result = self._take_in()
                self._send_acks()
                _ack_quickly(self.client.socket())
            self.why = self.why or paho.error_string(result).rstrip(".").lower()
        except (OSError, ValueError) as error:  # refused, unreachable, no such file, bad certificate
            self.why = self.why or str(error)
        except Exception as error:  # whatever a strange broker provokes ends this connection only
            log.exception("the connection broke")
            self.why = self.why or f"{type(error).__name__}: {error}"
        finally:
            self.up = False
            self._on_end(self)

    def _take_in(self) -> MQTTErrorCode:
        """Waits for news, reads on while messages lie there, then hands them over together.

        Handing over wakes another thread: once for a burst, not for each message of it.
        """
        try:
            result = self.client.loop(LOOP_S)
            had = 0
            while result == MQTTErrorCode.MQTT_ERR_SUCCESS and had < len(self._heard) < BURST:
                had = len(self._heard)
                result = self.client.loop_read()
        finally:
            heard, self._heard = self._heard, []
            if heard:
                self.heard_ms = self._real.now().mono_ms
            for message, synced in heard:
                self.turned_ms = self._host.clock.now().mono_ms  # each may be held up for a while
                if not self._host.take(message, synced) and message.token is not None:
                    self.ack(cast("tuple[Session, int]", message.token)[1])
        return result

    # ---- asked for by the link, any thread

    def up_ms(self, now_ms: int) -> int:
        """How long it has been up, on `real`; 0 if it never was."""
        return 0 if self._up_from_ms is None else max(1, now_ms - self._up_from_ms)

    def abandon(self, why: str) -> None:
        """Cuts the connection without a word; the thread ends when it can."""
        self.why, self.abandoned, self.up = why, True, False
        sock = self.client.socket()
        if sock is not None:
            _shut(sock)

    def farewell(self) -> None:
        """Says `offline`, waits for what was sent to be confirmed, disconnects, and waits for the thread."""
        if self.up:
            self.send(self._alive_topic, b"offline", retain=True)
            with self._confirmed:
                self._confirmed.wait_for(lambda: self._unconfirmed <= 0 or not self.up, LAST_WORDS_S)
            self.client.disconnect()
        else:
            self.abandon("stopped")
        self._thread.join(LAST_WORDS_S)

    def send(
        self, topic: str, payload: bytes, qos: int = 1, retain: bool = False, expire_s: float | None = None
    ) -> paho.MQTTMessageInfo | None:
        """Hands a message to the network thread. None if it was not taken."""
        properties = None
        if self._five and expire_s is not None:
            properties = Properties(PacketTypes.PUBLISH)  # type: ignore[no-untyped-call]
            properties.MessageExpiryInterval = max(1, math.ceil(expire_s))
        with self._confirmed:
            self._unconfirmed += 1
        info = self.client.publish(topic, payload, qos, retain, properties)
        if info.rc == MQTTErrorCode.MQTT_ERR_SUCCESS:
            return info
        with self._confirmed:
            self._unconfirmed -= 1
        return None

    def subscribe(self, dropped: Sequence[str] = ()) -> None:
        """Subscribes to the marker and all that is wanted, and leaves what is not wanted any more."""
        if dropped:
            self.client.unsubscribe(list(dropped))
        topics = [self._marker_topic, *self._host.wanted]
        if self._five:
            # retainHandling 1: kept copies come with a new subscription only, not with every reconnect
            options = SubscribeOptions(qos=1, retainHandling=SubscribeOptions.RETAIN_SEND_IF_NEW_SUB)
            _, self._subscribe_mid = self.client.subscribe([(topic, options) for topic in topics])
        else:
            _, self._subscribe_mid = self.client.subscribe([(topic, 1) for topic in topics])

    def send_marker(self) -> None:
        """Sends ourselves a message through the broker; its return proves the way there and back."""
        if not self.up:
            return
        if not self._nonce or self.synced:
            self._nonce = uuid.uuid4().hex.encode()
        self.send(self._marker_topic, self._nonce, expire_s=60)

    def ack(self, mid: int) -> None:
        """Acknowledges one message; its PUBACK leaves when all that came before it are acknowledged too.

        Source: MQTT 3.1.1 and 5, section 4.6: PUBACKs go in the order the messages came in. Some brokers
        close the connection otherwise.
        """
        with self._acking:
            self._safe.add(mid)
            while self._order and self._order[0] in self._safe:
                first = self._order.popleft()
                self._safe.discard(first)
                if not self.up:
                    continue
                if self._woken:
                    self._ready.append(first)
                else:
                    self._woken = True
                    self.client.ack(first, 1)  # wakes the network thread, which sends the others

    def _send_acks(self) -> None:
        """Sends what another thread has acknowledged meanwhile: from here it costs no change of threads."""
        with self._acking:
            ready, self._ready, self._woken = self._ready, [], False
            for mid in ready:
                self.client.ack(mid, 1)

    # ---- called by paho, in the thread

    def _on_connect(
        self, client: paho.Client, userdata: object, flags: paho.ConnectFlags, code: ReasonCode, *_: object
    ) -> None:
        self.heard_ms = self._real.now().mono_ms
        self.answer = code.value
        if code.is_failure:
            self.why = f"the broker refused us: {str(code).lower()}"
            return
        self._up_from_ms, self.up = self.heard_ms, True
        self.forgotten = not flags.session_present
        settings = self._host.settings
        self.subscribe()
        self.send(self._alive_topic, b"online", retain=True)
        version = "5" if self._five else "3.1.1"
        self._host.tell(True, f"{settings.host}:{settings.port}, MQTT {version}{self._note}")

    def _on_disconnect(
        self, client: paho.Client, userdata: object, flags: paho.DisconnectFlags, code: ReasonCode, *_: object
    ) -> None:
        self.up = False
        if flags.is_disconnect_packet_from_server:
            self.goodbye = code.value
            self.why = f"the broker ended it: {str(code).lower()}"
        elif code.value == KEEP_ALIVE_TIMEOUT:  # paho gave up before we did
            self.abandoned = True
            self.why = f"nothing heard for {self._host.settings.keepalive_s} s"
        with self._confirmed:
            self._confirmed.notify_all()

    def _on_subscribe(
        self, client: paho.Client, userdata: object, mid: int, codes: list[ReasonCode], properties: object
    ) -> None:
        self.heard_ms = self._real.now().mono_ms
        topics = [self._marker_topic, *self._host.wanted]
        refused = [topic for topic, code in zip(topics, codes, strict=False) if code.is_failure]
        if refused and mid == self._subscribe_mid:
            named = ", ".join(refused[:5])
            self._host.tell(True, f"the broker refuses to let us hear {named}; check this account's rights")
        self.send_marker()

    def _on_publish(
        self, client: paho.Client, userdata: object, mid: int, code: ReasonCode, properties: object
    ) -> None:
        self.heard_ms = self._real.now().mono_ms
        if code.is_failure:
            said = str(code).lower()
            self._host.tell(True, f"the broker refuses what we send ({said}); check this account's rights")
        with self._confirmed:
            self._unconfirmed -= 1
            self._confirmed.notify_all()

    def _on_message(self, client: paho.Client, userdata: object, raw: paho.MQTTMessage) -> None:
        received = self._host.clock.now()
        topic = raw.topic
        if raw.qos:
            with self._acking:
                self._order.append(raw.mid)
        if topic == self._marker_topic:
            self.ack(raw.mid)
            self.heard_ms = self._real.now().mono_ms
            self.synced = self.synced or raw.payload == self._nonce
            return
        token = (self, raw.mid) if raw.qos else None
        message = Message(topic, bytes(raw.payload), received, raw.retain, raw.dup, token)
        self._heard.append((message, self.synced))


def _new_client(client_id: str, five: bool) -> paho.Client:
    """A paho client that tries once, acknowledges nothing by itself and outlives its callbacks' mistakes."""
    client = paho.Client(
        CallbackAPIVersion.VERSION2,
        client_id=client_id,
        clean_session=None if five else False,
        protocol=paho.MQTTv5 if five else paho.MQTTv311,
        reconnect_on_failure=False,
        manual_ack=True,
    )
    client.suppress_exceptions = True
    client.connect_timeout = CONNECT_TIMEOUT_S
    client.max_queued_messages_set(MOST_QUEUED)
    client.on_socket_open = _no_delay
    # With a writer declared, paho never writes from a publishing thread; our loop does it, woken by paho.
    client.on_socket_register_write = lambda *_: None
    return client


def _connect(client: paho.Client, settings: BrokerSettings, five: bool) -> None:
    """Opens the connection and sends our connect; the answer comes to `on_connect`.

    Raises:
        OSError: nobody there, a file that cannot be read, a certificate that cannot be trusted.
    """
    if settings.username is not None:
        client.username_pw_set(settings.username, _first_line(settings.password_file))
    if settings.tls:
        client.tls_set(ca_certs=settings.ca_file, tls_version=ssl.PROTOCOL_TLS_CLIENT)
    if not five:
        client.connect(settings.host, settings.port, settings.keepalive_s)
        return
    properties = Properties(PacketTypes.CONNECT)  # type: ignore[no-untyped-call]
    properties.SessionExpiryInterval = SESSION_EXPIRY_S
    properties.ReceiveMaximum = RECEIVE_MAXIMUM
    client.connect(
        settings.host, settings.port, settings.keepalive_s, clean_start=False, properties=properties
    )


def _no_delay(client: paho.Client, userdata: object, sock: Any) -> None:
    """Small messages leave at once instead of waiting for company."""
    if isinstance(sock, socket.socket) and sock.family in (socket.AF_INET, socket.AF_INET6):
        sock.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
    _ack_quickly(sock)


def _ack_quickly(sock: Any) -> None:
    """The kernel falls back to delayed acknowledgements after a while, so this is set after each packet."""
    if QUICKACK is None or not isinstance(sock, socket.socket):
        return
    try:
        sock.setsockopt(socket.IPPROTO_TCP, QUICKACK, 1)
    except OSError:  # closed meanwhile
        return


def _shut(sock: Any) -> None:
    try:
        sock.shutdown(socket.SHUT_RDWR)
    except OSError:  # closed meanwhile
        return


def _first_line(path: str | None) -> str | None:
    """The password in a file. Raises OSError where it cannot be read."""
    if path is None:
        return None
    lines = Path(path).read_text(encoding="utf-8").splitlines()
    return lines[0] if lines else ""
