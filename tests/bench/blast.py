"""The publisher: QoS 1 readings as fast as the broker takes them, from bytes made beforehand.

It speaks MQTT 3.1.1 over a bare socket, so that publishing costs next to nothing and the subscriber under
measurement is what limits the rate. Layout of the packets: MQTT 3.1.1, sections 2.2, 3.1 and 3.3.
"""

import select
import socket
import time

from tests.bench.process import reading

PUBACK_BYTES = 4
PUBLISH_QOS1 = 0x32
AHEAD = 2000
"""Messages the publisher may be ahead of the broker's acknowledgements."""


def _length(size: int) -> bytes:
    """A remaining length, section 2.2.3: seven bits a byte, lowest first."""
    out = bytearray()
    while True:
        size, low = divmod(size, 128)
        out.append(low | (0x80 if size else 0))
        if not size:
            return bytes(out)


def _text(text: str) -> bytes:
    return len(text).to_bytes(2, "big") + text.encode()


def _connect(name: str) -> bytes:
    body = _text("MQTT") + bytes((4, 2)) + (60).to_bytes(2, "big") + _text(name)
    return b"\x10" + _length(len(body)) + body


def _publish(n: int) -> bytes:
    topic, payload = reading(n)
    body = _text(topic) + (n % 65_535 + 1).to_bytes(2, "big") + payload
    return bytes((PUBLISH_QOS1,)) + _length(len(body)) + body


def packets(messages: int) -> list[bytes]:
    """The first so many messages of the load, each as it goes over the wire."""
    return [_publish(n) for n in range(messages)]


def blast(port: int, ready: list[bytes]) -> float:
    """Sends all of `ready` and returns once the broker has acknowledged each.

    Returns: when the first left, `time.perf_counter` seconds.
    """
    with socket.create_connection(("127.0.0.1", port)) as sock:
        sock.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
        sock.sendall(_connect("bench-blast"))
        answer = sock.recv(4)
        assert answer == b"\x20\x02\x00\x00", f"the broker answered our connect with {answer!r}"
        began, sent, acked = time.perf_counter(), 0, 0
        while acked < len(ready) * PUBACK_BYTES:
            batch = ready[sent : sent + 50] if sent - acked // PUBACK_BYTES < AHEAD else []
            if batch:
                sock.sendall(b"".join(batch))
                sent += len(batch)
            readable, _, _ = select.select([sock], [], [], 0 if batch else 10)
            if readable:
                acked += len(sock.recv(65_536))
            else:
                assert batch, f"no acknowledgement within 10 s, after {acked // PUBACK_BYTES} of {len(ready)}"
        return began
