"""A small MQTT 3.1.1 client that never waits: a turn reads what is there, sends what it can, and goes on.

Source: OASIS MQTT Version 3.1.1. Clean sessions only: what was said while we were away is not delivered
later, so that no old command comes in. QoS 1 for what is published; a message that was not confirmed before
a link broke is the caller's to send again. No TLS: such a board belongs on a network of its own.
"""

import select
import struct

from station.wire import again, connected, text

CONNACK, PUBLISH, PUBACK, SUBACK, PINGRESP = 2, 3, 4, 9, 13
PINGREQ = b"\xc0\x00"
MOST_OUT = 8192
"""Bytes that may wait to be sent; over that nothing more is taken."""
MOST_IN = 4096
"""A longer message is no command of ours: the link is dropped."""
HANDSHAKE_MS = 5000
FIRST_WAIT_MS, LONGEST_WAIT_MS = 1000, 60000


def length(count):
    """The remaining length of a packet, 2.2.3."""
    coded = b""
    while True:
        part, count = count % 128, count // 128
        coded += bytes([part | 128 if count else part])
        if not count:
            return coded


def packet(first, body):
    return bytes([first]) + length(len(body)) + body


def split(data):
    """The first whole packet in `data`.

    Returns: (first byte, body, bytes used), or None while it is not whole.
    Raises:
        ValueError: it is none, or too long.
    """
    count, shift = 0, 0
    for at in range(1, min(len(data), 5)):
        count |= (data[at] & 127) << shift
        shift += 7
        if data[at] & 128:
            continue
        if count > MOST_IN:
            raise ValueError("a packet of %d bytes" % count)
        end = at + 1 + count
        return None if len(data) < end else (data[0], bytes(data[at + 1 : end]), end)
    if len(data) >= 5:
        raise ValueError("no packet")
    return None


class Link:
    """Call `turn` often. `up` tells whether the broker has us."""

    def __init__(self, broker, will, open_socket, ears):
        """
        Args:
            broker: `client`, `user`, `password`, `keepalive_s` as attributes.
            will: (topic, payload), kept by the broker and told when we vanish.
            open_socket: gives a socket that is connecting without waiting; raises OSError.
            ears: has `link_up()`, `heard(topic, payload, retained)`, `confirmed(number)`.
        """
        self.up = False
        self.breaks = 0
        self._broker, self._will, self._open, self._ears = broker, will, open_socket, ears
        self._socket = None
        self._poll = None
        self._connecting = False
        self._out, self._in = bytearray(), bytearray()
        self._number = 0
        self._since_ms = self._heard_ms = self._sent_ms = self._asked_ms = 0
        self._retry_ms, self._wait_ms = 0, FIRST_WAIT_MS

    def publish(self, topic, payload, retain=False):
        """Sends with QoS 1. Returns the number that `confirmed` will name, or None: not taken."""
        if not self.up or len(self._out) + len(payload) > MOST_OUT:
            return None
        self._number = self._number % 65535 + 1
        body = text(topic) + struct.pack(">H", self._number) + payload
        self._out += packet(0x33 if retain else 0x32, body)
        return self._number

    def subscribe(self, topics):
        self._number = self._number % 65535 + 1
        body = struct.pack(">H", self._number)
        for topic in topics:
            body += text(topic) + b"\x01"
        self._out += packet(0x82, body)

    def drop(self, now_ms):
        """Ends the link and tries again after a while, each time a longer one."""
        if self._socket is not None:
            self._socket.close()
            self._socket = self._poll = None
            self.breaks += 1
        if self.up:
            self._wait_ms = FIRST_WAIT_MS
        self.up = False
        self._out, self._in = bytearray(), bytearray()
        self._retry_ms = now_ms + self._wait_ms
        self._wait_ms = min(self._wait_ms * 2, LONGEST_WAIT_MS)

    def turn(self, now_ms):
        try:
            if self._socket is None:
                if now_ms >= self._retry_ms:
                    self._begin(now_ms)
            elif self._connecting:
                self._look_whether_connected(now_ms)
            else:
                self._exchange(now_ms)
        except (OSError, ValueError, IndexError):
            self.drop(now_ms)

    def _begin(self, now_ms):
        self._retry_ms = now_ms + self._wait_ms
        self._socket = self._open()
        self._poll = select.poll()
        self._poll.register(self._socket, select.POLLIN | select.POLLOUT)
        self._connecting = True
        self._since_ms = now_ms

    def _look_whether_connected(self, now_ms):
        if connected(self._poll):
            self._connecting = False
            self._since_ms = self._heard_ms = self._sent_ms = self._asked_ms = now_ms
            self._out += self._hello()
            self._exchange(now_ms)
        elif now_ms - self._since_ms > HANDSHAKE_MS:
            self.drop(now_ms)

    def _hello(self):
        broker = self._broker
        flags = 0x02 | 0x04 | 0x20 | 0x08  # clean session; a will, kept, QoS 1
        body = text(broker.client) + text(self._will[0]) + text(self._will[1])
        if broker.user:
            flags |= 0xC0
            body += text(broker.user) + text(broker.password)
        head = text("MQTT") + bytes([4, flags]) + struct.pack(">H", broker.keepalive_s)
        return packet(0x10, head + body)

    def _exchange(self, now_ms):
        self._receive(now_ms)
        keepalive_ms = self._broker.keepalive_s * 1000
        if not self.up and now_ms - self._since_ms > HANDSHAKE_MS:
            raise OSError("no answer to our greeting")
        if now_ms - self._heard_ms > keepalive_ms * 3 // 2:
            raise OSError("the broker is silent")
        quiet_since_ms = max(min(self._sent_ms, self._heard_ms), self._asked_ms)
        if self.up and now_ms - quiet_since_ms >= keepalive_ms // 2:
            self._out += PINGREQ
            self._asked_ms = now_ms
        self._send(now_ms)

    def _receive(self, now_ms):
        for _ in range(8):
            try:
                got = self._socket.recv(1024)
            except OSError as error:
                if again(error):
                    break
                raise
            if not got:
                raise OSError("the broker hung up")
            self._heard_ms = now_ms
            self._in += got
        while True:
            whole = split(self._in)
            if whole is None:
                return
            self._in = bytearray(self._in[whole[2] :])
            self._take(whole[0], whole[1])

    def _take(self, first, body):
        kind = first >> 4
        if kind == CONNACK:
            if body[1]:
                raise OSError("refused with code %d" % body[1])
            self.up = True
            self._ears.link_up()
        elif kind == PUBACK:
            self._ears.confirmed((body[0] << 8) | body[1])
        elif kind == PUBLISH:
            self._heard(first, body)

    def _heard(self, first, body):
        at = 2 + ((body[0] << 8) | body[1])
        topic = body[2:at].decode()
        if (first >> 1) & 3:
            self._out += b"\x40\x02" + body[at : at + 2]
            at += 2
        self._ears.heard(topic, body[at:], bool(first & 1))

    def _send(self, now_ms):
        while self._out:
            try:
                sent = self._socket.send(self._out[:1024])
            except OSError as error:
                if again(error):
                    return
                raise
            if not sent:
                return
            self._sent_ms = now_ms
            self._out = bytearray(self._out[sent:])
