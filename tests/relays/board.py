"""A relay board for the tests: a real MQTT client that honours the seconds it is given, on real time."""

import json
import threading
import time

import paho.mqtt.client as paho
from paho.mqtt.enums import CallbackAPIVersion

from gillhouse.core.edges import RelayWire

COMMAND, STATE, AVAILABLE = "board/relay/set", "board/relay/state", "board/alive"
WIRE = RelayWire(
    "tent-mist", "mqtt", COMMAND,
    payload_on='{"on": true, "for": {seconds}, "until": {until}, "id": {id}}',
    payload_off='{"on": false, "id": {id}}',
    state_topic=STATE, state_path="/relay", available_topic=AVAILABLE,
)  # fmt: skip


class Board:
    """Switches its one relay as told, echoes its state, and drops out when the seconds are over."""

    def __init__(self, port: int) -> None:
        self.on = False
        self.heard: list[dict[str, object]] = []
        self.kept: list[bool] = []
        """Whether each command came as a kept copy."""
        self.changes: list[tuple[float, bool]] = []
        """(monotonic seconds, state) of each click."""
        self._lock = threading.Lock()
        self._timer: threading.Timer | None = None
        self._ready = threading.Event()
        self._client = paho.Client(CallbackAPIVersion.VERSION2, client_id="board", protocol=paho.MQTTv311)
        self._client.will_set(AVAILABLE, b"offline", 1, retain=True)
        self._client.on_connect = lambda client, *_: client.subscribe(COMMAND, 1)
        self._client.on_subscribe = lambda *_: self._ready.set()
        self._client.on_message = self._obey
        self._client.connect("127.0.0.1", port)
        self._client.loop_start()
        assert self._ready.wait(5)
        self._client.publish(AVAILABLE, b"online", 1, retain=True)

    def _obey(self, client: paho.Client, userdata: object, message: paho.MQTTMessage) -> None:
        command = json.loads(message.payload)
        with self._lock:
            self.heard.append(command)
            self.kept.append(message.retain)
            if self._timer is not None:
                self._timer.cancel()
                self._timer = None
            self._click(command["on"])
            if command["on"]:
                self._timer = threading.Timer(command["for"], self._drop_out)
                self._timer.start()

    def _drop_out(self) -> None:
        with self._lock:
            self._click(False)

    def _click(self, on: bool) -> None:
        if self.on != on:
            self.on = on
            self.changes.append((time.monotonic(), on))
        self._client.publish(STATE, json.dumps({"relay": "ON" if on else "OFF"}), 1)

    def leave_on(self) -> None:
        """On, as a daemon that is gone left it."""
        with self._lock:
            self._click(True)

    def pull_out(self) -> None:
        """Without current: its relay drops out, its link breaks without a word, its will is told."""
        with self._lock:
            if self._timer is not None:
                self._timer.cancel()
            if self.on:
                self.on = False
                self.changes.append((time.monotonic(), False))
        self._client.on_disconnect = None
        sock = self._client.socket()
        assert sock is not None
        self._client.loop_stop()
        sock.close()
        self._client._reset_sockets()  # paho leaves its own wake-up pair to the collector

    def stop(self) -> None:
        if self._timer is not None:
            self._timer.cancel()
        self._client.disconnect()
        self._client.loop_stop()
        self._client._reset_sockets()
