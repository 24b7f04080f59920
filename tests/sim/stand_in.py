"""A small daemon for the lock-step's own tests: real MQTT, the virtual clock, one simple rule.

It takes what boards send, wants a relay on while the number is under a limit, lets it go by its own deadline,
and writes down in which order everything came.
"""

import json
import threading

import paho.mqtt.client as paho
from paho.mqtt.enums import CallbackAPIVersion

from gillhouse.clock import Box, VirtualClock

PULSE_MS = 8_000


class Counting:
    def __init__(self) -> None:
        self.received = 0
        self.published = 0


class StandIn:
    """As much of a daemon as the driver sees."""

    def __init__(
        self, clock: VirtualClock, host: str, port: int, topics: list[str], command_topic: str
    ) -> None:
        self.link = Counting()
        self.history: list[tuple[int, str, str]] = []
        self.deaf = False
        self.forgets = False
        """Never says OFF."""
        self._clock, self._command_topic = clock, command_topic
        self._inbox: Box[tuple[str, bytes]] = Box(clock)
        self._client = paho.Client(CallbackAPIVersion.VERSION2, client_id="stand-in", protocol=paho.MQTTv311)
        self._client.on_message = self._on_message
        self._client.on_connect = lambda c, *_: c.subscribe([(topic, 1) for topic in topics])
        self._client.on_subscribe = lambda c, *_: c.publish("trial/gillhouse/alive", b"online", 1, True)
        self._client.connect(host, port)
        self._thread = threading.Thread(target=self._run, daemon=True)

    def start(self) -> None:
        self._thread.start()
        self._client.loop_start()

    def stop(self) -> None:
        self._inbox.close()
        self._thread.join(5)
        self._client.disconnect()
        self._client.loop_stop()

    def settled(self) -> bool:
        return self._inbox.at_rest(self._clock.now().mono_ms)

    def _on_message(self, _client: object, _data: object, message: paho.MQTTMessage) -> None:
        if self.deaf:
            return
        self._inbox.put((message.topic, bytes(message.payload)))
        self.link.received += 1

    def _run(self) -> None:
        off_at: int | None = None
        while True:
            got = self._inbox.take(off_at)
            now_ms = self._clock.now().mono_ms
            if got is None:
                if self._inbox.closed:
                    return
                off_at = None
                self.history.append((now_ms, "deadline", ""))
                if not self.forgets:
                    self._say("OFF")
                continue
            self.history.append((now_ms, got[0], got[1].decode()))
            if got[0].endswith("/air") and off_at is None and json.loads(got[1])["rh"] < 90.0:
                off_at = now_ms + PULSE_MS
                self._say("ON 20")

    def _say(self, word: str) -> None:
        self.link.published += 1
        self._client.publish(self._command_topic, word.encode(), 1)
