"""Sockets that never wait, and text as MQTT sends it (OASIS MQTT 3.1.1, 1.5.3)."""

import select
import socket
import struct

IN_PROGRESS = (115, 119, 11, 36, 10036)
"""What a connect that goes on by itself is called: Linux, ESP32's network stack, and others."""
AGAIN = (11, 35, 110, 116)
"""What 'nothing just now' is called there; some ports call it a time-out."""


def text(value):
    raw = value.encode() if isinstance(value, str) else value
    return struct.pack(">H", len(raw)) + raw


def again(error):
    return bool(error.args) and error.args[0] in AGAIN


def open_socket(host, port):
    """A socket on its way to `host`, a number address: a name would have to be asked for, which waits.

    Raises:
        OSError: there is no way there.
    """
    made = socket.socket()
    try:
        made.setblocking(False)
        made.connect(socket.getaddrinfo(host, port)[0][-1])
    except OSError as error:
        if not error.args or error.args[0] not in IN_PROGRESS:
            made.close()
            raise
    return made


def connected(poll):
    """Whether the way is open. False: not yet.

    Raises:
        OSError: it is closed.
    """
    for found in poll.poll(0):
        if found[1] & (select.POLLERR | select.POLLHUP):
            raise OSError("nobody listens there")
        if found[1] & select.POLLOUT:
            return True
    return False
