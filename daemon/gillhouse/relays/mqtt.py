"""A relay on a board that listens on MQTT.

The lease travels in the payload, as seconds to run and as the time at which the relay must be off, because
MQTT 3.1.1 has no expiry of its own; with MQTT 5 the broker also drops a command that is out of date. Nothing
is ever sent retained. Not here: whether the echo agrees with what was asked (`core`).
"""

from typing import Any

from gillhouse.core.edges import RelayWire
from gillhouse.core.inputs import RelayReport
from gillhouse.core.instant import Instant
from gillhouse.core.outputs import Command
from gillhouse.errors import PayloadError, RelayError
from gillhouse.payloads import Message
from gillhouse.payloads.json_pointer import Pointer, parse
from gillhouse.payloads.number import text_of
from gillhouse.payloads.words import Words, word_of
from gillhouse.relays.ports import Publish

OFF_EXPIRES_S = 60.0
"""An OFF that found no board for this long is moot: every lease it could end has been renewed or is over."""


class MqttDriver:
    """One relay over MQTT."""

    def __init__(self, wire: RelayWire, publish: Publish) -> None:
        """
        Raises:
            ValueError: the wire has no command topic, or a state path that is no pointer (a config check
                prevents both).
        """
        if wire.command_topic is None:
            raise ValueError(f"relay {wire.relay}: driver mqtt needs command_topic")
        self.wire = wire
        self._topic: str = wire.command_topic
        self._publish = publish
        self._state_words = Words((wire.state_on, wire.state_off))
        self._available_words = Words((wire.available_on, wire.available_off))
        self._state_at = None if wire.state_path is None else Pointer(wire.state_path)
        self._number = 0
        self.unread = 0
        """Echoes that could not be read."""

    def start(self, now: Instant) -> None:
        """Off, where the broker is there already; else the core tells each relay anew once it is."""
        self.all_off(now)

    def close(self, now: Instant) -> None:
        self.all_off(now)

    def apply(self, command: Command, now: Instant) -> None:
        if command.advise:
            return
        template = self.wire.payload_on if command.on else self.wire.payload_off
        lease_ms = command.lease_ms if command.on else 0
        expire_s = lease_ms / 1000 if command.on else OFF_EXPIRES_S
        if not self._publish(self._topic, self._fill(template, lease_ms, now), expire_s=expire_s):
            wish = "on" if command.on else "off"
            raise RelayError(
                f"relay {self.wire.relay}: {wish} was not sent to {self._topic}, the broker is not there; "
                "a running lease ends by itself"
            )

    def all_off(self, now: Instant) -> None:
        self._publish(self._topic, self._fill(self.wire.payload_off, 0, now), expire_s=OFF_EXPIRES_S)

    def _fill(self, template: str, lease_ms: int, now: Instant) -> bytes:
        """The payload. Seconds are rounded up, so that a renewal is never late by rounding."""
        # The number grows over restarts too, so that a board can tell an old command from a new one.
        self._number = max(self._number + 1, now.wall_ms)
        seconds = -(-lease_ms // 1000)
        until_s = -(-(now.wall_ms + lease_ms) // 1000)
        for name, value in (("seconds", seconds), ("until", until_s), ("id", self._number)):
            template = template.replace(f"{{{name}}}", str(value))
        return template.encode()

    def topics(self) -> tuple[str, ...]:
        both = (self.wire.state_topic, self.wire.available_topic)
        return tuple(topic for topic in both if topic is not None)

    def report(self, message: Message) -> RelayReport | None:
        try:
            if message.topic == self.wire.state_topic:
                # A kept copy may be hours old: it proves nothing about the relay now.
                return None if message.retain else self._state(message.payload)
            if message.topic == self.wire.available_topic:
                there = self._available_words.value(text_of(message.payload))
                return RelayReport(self.wire.relay, None, available=there == 1.0)
        except PayloadError:
            self.unread += 1
        return None

    def _state(self, payload: bytes) -> RelayReport:
        if self._state_at is None:
            word = text_of(payload)
        else:
            document: Any = parse(payload)
            word = word_of(self._state_at.find(document))
        return RelayReport(self.wire.relay, self._state_words.value(word) == 1.0)
