"""Command latency: a reading published until its command is received, the daemon beside an echo client.

The mist of one room is run by hand; its door opens and closes fifty times a second, and each time the daemon
must cut the mist or let it run again. The echo client answers the same messages with the same command.
"""

import itertools
import statistics
import time
from dataclasses import dataclass
from queue import Empty

from tests.bench import floors
from tests.bench.bare import COMMAND, TRIGGER, client_on
from tests.bench.process import ask, daemon, fresh_broker, heard

TRIGGERS = 400
EVERY_S = 0.02
ANSWER_S = 5.0
WARM = 20
"""Triggers before those that count."""


@dataclass(frozen=True)
class Side:
    p50_ms: float
    p95_ms: float


@dataclass(frozen=True)
class Round:
    daemon: Side
    floor: Side


def _side(port: int) -> Side:
    sender = client_on(port, "bench-door")
    sender.loop_start()
    took_ms = []
    with heard(port, COMMAND) as commands:
        words = itertools.cycle((b"open", b"closed"))
        for number in range(WARM + TRIGGERS):
            began = time.perf_counter()
            sender.publish(TRIGGER, next(words), qos=1)
            try:
                commands.get(timeout=ANSWER_S)
            except Empty:
                raise AssertionError(f"no command within {ANSWER_S:g} s of trigger {number}") from None
            now = time.perf_counter()
            if number >= WARM:
                took_ms.append((now - began) * 1000)
            time.sleep(max(0.0, EVERY_S - (now - began)))
    sender.disconnect()
    sender.loop_stop()
    cuts = statistics.quantiles(took_ms, n=100, method="inclusive")
    return Side(cuts[49], cuts[94])


def measure(rounds: int) -> list[Round]:
    """Interleaved rounds; both sides have no-delay sockets, as has the broker."""
    found = []
    for _ in range(rounds):
        with fresh_broker(no_delay=True) as broker:
            with floors.echo(broker.port, broker.directory):
                bare = _side(broker.port)
            with daemon(broker.directory, broker.port) as running, heard(broker.port, COMMAND) as commands:
                door = client_on(broker.port, "first-door")  # one that was never heard holds the mist off
                door.loop_start()
                door.publish(TRIGGER, b"closed", qos=1).wait_for_publish(ANSWER_S)
                ask(running, "override", "s0-mist", "on", "--for", "10m", "--why", "bench")
                commands.get(timeout=ANSWER_S)
                door.disconnect()
                door.loop_stop()
                found.append(Round(_side(broker.port), bare))
    return found
