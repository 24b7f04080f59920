"""Brokers that behave as no good broker would: socket servers for what mosquitto cannot be made to do."""

import socket
import threading
from collections.abc import Callable

CONNACK_OK_311 = b"\x20\x02\x00\x00"
CONNACK_UNSUPPORTED_311 = b"\x20\x02\x00\x01"
"""Source: MQTT 3.1.1 section 3.2.2.3, return codes 0 and 1."""
CONNACK_OK_5 = b"\x20\x03\x00\x00\x00"
CONNACK_UNSUPPORTED_5 = b"\x20\x03\x00\x84\x00"
"""Source: MQTT 5 section 3.2.2.2, reason codes 0x00 and 0x84; the last byte is the empty property list."""


class FakeBroker:
    """Takes connections, and asks `answer` what to say to the first packet: bytes, or None to close.

    After an answer it reads on and says nothing more.
    """

    def __init__(self, answer: Callable[[int], bytes | None]) -> None:
        """
        Args:
            answer: given the protocol level of the connect (4 is 3.1.1, 5 is 5).
        """
        self._answer = answer
        self.levels: list[int] = []
        """Protocol level of each connect so far."""
        self._listener = socket.create_server(("127.0.0.1", 0))
        self.port = int(self._listener.getsockname()[1])
        self._open: list[socket.socket] = []
        self._thread = threading.Thread(target=self._accept, daemon=True)

    def __enter__(self) -> "FakeBroker":
        self._thread.start()
        return self

    def __exit__(self, *_: object) -> None:
        self._listener.shutdown(socket.SHUT_RDWR)
        self._listener.close()
        for connection in self._open:
            connection.close()
        self._thread.join(5)

    def _accept(self) -> None:
        while True:
            try:
                connection, _ = self._listener.accept()
            except OSError:
                return
            self._open.append(connection)
            threading.Thread(target=self._serve, args=(connection,), daemon=True).start()

    def _serve(self, connection: socket.socket) -> None:
        try:
            packet = connection.recv(4096)
            level = packet[packet.index(b"MQTT") + 4]
            answer = self._answer(level)
            self.levels.append(level)
            if answer is None:
                connection.close()
                return
            connection.sendall(answer)
            while connection.recv(4096):
                pass
        except OSError:
            return
