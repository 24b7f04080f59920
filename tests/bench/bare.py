"""A floor as a program of its own: `bare.py ingest|echo PORT COUNTER [DB]`.

It imports paho and the standard library only, so that its memory and CPU are those of a bare client. COUNTER
is a file of eight bytes holding how many messages it has had, -1 before it listens. See `floors`.
"""

import json
import mmap
import socket
import sqlite3
import struct
import sys
import threading
import time
from queue import Empty, SimpleQueue
from typing import Any

import paho.mqtt.client as paho

GROUP_S = 0.25
"""How often the echo client's writer commits."""
LOAD, TRIGGER, COMMAND = "bench/+/+", "bench/0/door", "bench/0/mist/set"


def client_on(port: int, name: str) -> paho.Client:
    """A bare MQTT 5 client with a no-delay socket, connected."""
    client = paho.Client(paho.CallbackAPIVersion.VERSION2, client_id=name, protocol=paho.MQTTv5)
    client.on_socket_open = _no_delay
    client.connect("127.0.0.1", port)
    return client


def _no_delay(_client: Any, _userdata: Any, sock: socket.socket) -> None:
    sock.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)


def _ingest(client: paho.Client, counter: mmap.mmap) -> None:
    count = 0

    def on_message(_client: Any, _userdata: Any, message: paho.MQTTMessage) -> None:
        nonlocal count
        json.loads(message.payload)
        count += 1
        struct.pack_into("q", counter, 0, count)

    client.on_message = on_message
    client.subscribe(LOAD, qos=1)


def _echo(client: paho.Client, path: str) -> None:
    rows: SimpleQueue[tuple[int, bytes]] = SimpleQueue()
    threading.Thread(target=_commit_in_groups, args=(path, rows), daemon=True).start()

    def on_message(client: paho.Client, _userdata: Any, message: paho.MQTTMessage) -> None:
        client.publish(COMMAND, b'{"on": true, "seconds": 300}', qos=1)
        rows.put((time.time_ns(), message.payload))

    client.on_message = on_message
    client.subscribe(TRIGGER, qos=1)


def _commit_in_groups(path: str, rows: "SimpleQueue[tuple[int, bytes]]") -> None:
    db = sqlite3.connect(path, isolation_level=None)
    db.execute("PRAGMA journal_mode=WAL")
    db.execute("PRAGMA synchronous=FULL")
    db.execute("CREATE TABLE seen (ts INTEGER, payload BLOB)")
    while True:
        group = [rows.get()]
        time.sleep(GROUP_S)
        try:
            while True:
                group.append(rows.get_nowait())
        except Empty:
            db.execute("BEGIN")
            db.executemany("INSERT INTO seen VALUES (?, ?)", group)
            db.execute("COMMIT")


def main(kind: str, port: str, counter_path: str, db_path: str = "") -> None:
    with open(counter_path, "r+b") as file, mmap.mmap(file.fileno(), 8) as counter:
        client = client_on(int(port), f"floor-{kind}")
        client.on_subscribe = lambda *_: struct.pack_into("q", counter, 0, 0)
        if kind == "ingest":
            _ingest(client, counter)
        else:
            _echo(client, db_path)
        client.loop_forever()


if __name__ == "__main__":
    main(*sys.argv[1:])
