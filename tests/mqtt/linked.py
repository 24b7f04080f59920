"""A `BrokerLink` with ears: what it handed over and reported, for the tests to look at."""

import subprocess
import threading
from typing import Any

from gillhouse.clock import SystemClock
from gillhouse.core.edges import BrokerSettings
from gillhouse.mqtt import BrokerLink, Waits
from gillhouse.payloads import Message
from servers import program, wait_until


class Linked:
    """Start it, publish with `mosquitto_pub`, look at `messages` and `states`."""

    def __init__(self, port: int, *topics: str, ack: bool = True, **settings: Any) -> None:
        self.messages: list[tuple[Message, bool]] = []
        self.states: list[tuple[bool, str]] = []
        self.acked = ack
        settings.setdefault("client_id", "test-link")
        settings.setdefault("keepalive_s", 10)
        self.settings = BrokerSettings(host="127.0.0.1", port=port, **settings)
        self.link = BrokerLink(
            self.settings, SystemClock(), self._hear, self._note, Waits(first_ms=40, longest_ms=200)
        )
        self.link.subscribe(topics)
        self._lock = threading.Lock()

    def _hear(self, message: Message, synced: bool) -> None:
        with self._lock:
            self.messages.append((message, synced))
        if self.acked:
            self.link.ack(message.token)

    def _note(self, up: bool, detail: str) -> None:
        self.states.append((up, detail))

    def start(self) -> "Linked":
        self.link.start()
        return self

    def synced(self) -> "Linked":
        """Waits until the marker has come back."""
        wait_until(lambda: self.link.synced, 10, "the marker")
        return self

    def __enter__(self) -> "Linked":
        return self.start()

    def __exit__(self, *_: object) -> None:
        self.stop()

    def stop(self) -> None:
        """Ends the link, and closes what its paho client leaves to the collector: its wake-up pair."""
        self.link.stop()
        if self.link._session is not None:
            self.link._session.client._reset_sockets()

    def heard(self, prefix: str) -> int:
        """How many messages came on topics that begin so."""
        return sum(message.topic.startswith(prefix) for message, _ in self.messages)

    @property
    def payloads(self) -> list[bytes]:
        return [message.payload for message, _ in self.messages]


def publish(port: int, topic: str, payload: str, *more: str) -> None:
    """The board: Debian's `mosquitto_pub`, QoS 1."""
    command = [program("mosquitto_pub", "mosquitto-clients"), "-h", "127.0.0.1", "-p", str(port)]
    subprocess.run([*command, "-q", "1", "-t", topic, "-m", payload, *more], check=True, timeout=10)


def publish_lines(port: int, topic: str, payloads: list[str]) -> None:
    """A board that sends many, one connection."""
    command = [program("mosquitto_pub", "mosquitto-clients"), "-h", "127.0.0.1", "-p", str(port)]
    lines = "\n".join(payloads).encode()
    subprocess.run([*command, "-q", "1", "-t", topic, "-l"], input=lines, check=True, timeout=20)
