"""Ingest at full blast and command latency: the running daemon against bare paho.

Floor for ingest: a paho subscriber, QoS 1, that does `json.loads` and nothing else. Floor for latency: the same
client echoing a command for each message, with a writer thread committing behind it. Both sides get the same
broker, the same publisher and the same messages; rounds alternate and the median of the per-round ratios counts.
"""

import json
import multiprocessing
import os
import socket
import sqlite3
import statistics
import subprocess
import sys
import tempfile
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from queue import SimpleQueue
from typing import Any

import paho.mqtt.client as paho
from servers import MosquittoBroker, wait_until

SERIES = 30
ROUNDS = 5
MESSAGES = 20_000
TRIGGERS = 400
TICKS_PER_S = os.sysconf("SC_CLK_TCK")

FARM = """\
farm: bench
zone: UTC
broker: {{host: 127.0.0.1, port: {port}, client_id: bench-daemon}}
"""


def cpu_s(pid: int) -> float:
    """User and system time of a process, seconds. Source: proc(5), fields 14 and 15."""
    fields = Path(f"/proc/{pid}/stat").read_text().rsplit(")", 1)[1].split()
    return (int(fields[11]) + int(fields[12])) / TICKS_PER_S


def rss_mb(pid: int) -> float:
    """Resident memory of a process, 10^6 bytes. Source: proc(5), VmRSS."""
    for line in Path(f"/proc/{pid}/status").read_text().splitlines():
        if line.startswith("VmRSS"):
            return int(line.split()[1]) * 1024 / 1e6
    raise AssertionError(f"/proc/{pid}/status has no VmRSS")


def no_delay(client: Any, _userdata: Any, sock: socket.socket) -> None:
    sock.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)


def client_on(port: int, name: str, clean: bool = True) -> paho.Client:
    client = paho.Client(paho.CallbackAPIVersion.VERSION2, client_id=name, protocol=paho.MQTTv5)
    client.on_socket_open = no_delay
    client.max_inflight_messages_set(500)
    client.connect("127.0.0.1", port, clean_start=clean)
    return client


def publish_blast(port: int, first: int, messages: int) -> None:
    """Publishes `messages` readings over SERIES topics as fast as the broker takes them."""
    client = client_on(port, f"blast-{first}")
    client.loop_start()
    last = None
    for n in range(first, first + messages):
        # Humidity wanders inside its band, so that the daemon's rules run but its relays rest.
        value = 90.0 + (n * 7919 % 37) / 10
        payload = json.dumps({"rh": value, "n": n // SERIES, "dev": "bench-board-01", "up": n})
        last = client.publish(f"bench/{n % SERIES}/air", payload, qos=1)
    assert last is not None
    last.wait_for_publish(120)
    client.disconnect()
    client.loop_stop()


def bare_subscriber(port: int, counted: Any, ready: Any) -> None:
    """The json floor, as a process of its own."""
    client = client_on(port, "floor")
    count = 0

    def on_message(_client: Any, _userdata: Any, message: paho.MQTTMessage) -> None:
        nonlocal count
        json.loads(message.payload)
        count += 1
        counted.value = count

    client.on_message = on_message
    client.on_subscribe = lambda *_: ready.set()
    client.subscribe("bench/+/air", qos=1)
    client.loop_forever()


@contextmanager
def floor_process(port: int) -> Iterator[tuple[int, Callable[[], int]]]:
    counted, ready = multiprocessing.Value("q", 0, lock=False), multiprocessing.Event()
    process = multiprocessing.Process(target=bare_subscriber, args=(port, counted, ready), daemon=True)
    process.start()
    assert ready.wait(20) and process.pid is not None
    yield process.pid, lambda: int(counted.value)
    process.kill()
    process.join()
