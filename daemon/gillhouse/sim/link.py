"""The boards' own MQTT connection: a real client, read and written by the thread that drives the trial.

No thread of its own, so the driver sees every packet in order and knows what is still on its way. TCP_NODELAY
is set and TCP_QUICKACK re-armed after each packet (Linux forgets it); without, each exchange waits some 40 ms
for a delayed acknowledgement. Protocol 3.1.1, the one the broker in the wheel speaks without a file.
"""

import select
import socket
from collections import deque
from collections.abc import Iterable
from typing import Any

import paho.mqtt.client as paho
from paho.mqtt.enums import CallbackAPIVersion

from gillhouse.errors import GillhouseError


class TrialError(GillhouseError, RuntimeError):
    """The trial run cannot go on; the message says what failed and what to do."""


class BoardLink:
    """Publishes at QoS 1 and keeps what arrives, in order."""

    def __init__(self, host: str, port: int, client_id: str) -> None:
        self.published = 0
        self.acknowledged = 0
        self.received = 0
        """Messages that others published to our topics; retained copies and `uncounted` topics left out."""
        self.uncounted: tuple[str, ...] = ()
        """Beginnings of topics the daemon's link speaks on by itself, and does not count either."""
        self.inbox: deque[tuple[str, bytes]] = deque()
        self._subscribed = 0
        self._client = paho.Client(CallbackAPIVersion.VERSION2, client_id=client_id, protocol=paho.MQTTv311)
        self._client.max_inflight_messages_set(1000)
        self._client.on_publish = self._on_publish
        self._client.on_message = self._on_message
        self._client.on_subscribe = self._on_subscribe
        try:
            self._client.connect(host, port, keepalive=600)
        except OSError as error:
            raise TrialError(f"no broker on {host}:{port} ({error}): is another trial using it?") from error
        self._until(self._client.is_connected, "the broker did not answer")

    def subscribe(self, topics: Iterable[str]) -> None:
        wanted = self._subscribed
        for topic in topics:
            self._client.subscribe(topic, 1)
            wanted += 1
        self._until(lambda: self._subscribed >= wanted, "the broker did not confirm a subscription")

    def publish(self, topic: str, payload: bytes, retain: bool = False) -> None:
        self._client.publish(topic, payload, 1, retain)
        self.published += 1

    def quiet(self) -> bool:
        """All that was published has been acknowledged."""
        return self.acknowledged >= self.published

    def pump(self, wait_s: float) -> None:
        """Reads what has come, waiting at most `wait_s` for it.

        Raises:
            TrialError: the connection is gone.
        """
        link = self._client.socket()
        if link is None:
            raise TrialError("the boards lost their connection to the trial's broker: start the trial again")
        writing = [link] if self._client.want_write() else []
        readable, _, _ = select.select([link], writing, [], wait_s)
        if writing:
            self._client.loop_write()
        if readable:
            self._client.loop_read()
            _acknowledge_at_once(link)
        self._client.loop_misc()

    def close(self) -> None:
        self._client.disconnect()

    def _until(self, done: Any, complaint: str) -> None:
        for _ in range(500):
            if done():
                return
            self.pump(0.02)
        raise TrialError(f"{complaint} within 10 s")

    def _on_publish(self, *_: Any) -> None:
        self.acknowledged += 1

    def _on_subscribe(self, *_: Any) -> None:
        self._subscribed += 1

    def _on_message(self, _client: Any, _data: Any, message: paho.MQTTMessage) -> None:
        if not message.retain and not message.topic.startswith(self.uncounted or ("\0",)):
            self.received += 1
        self.inbox.append((message.topic, bytes(message.payload)))


def _acknowledge_at_once(link: Any) -> None:
    quick = getattr(socket, "TCP_QUICKACK", None)
    if quick is not None:
        link.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
        link.setsockopt(socket.IPPROTO_TCP, quick, 1)
