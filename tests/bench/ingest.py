"""Ingest at full blast: messages a second and CPU a message, the daemon beside a bare subscriber."""

import sqlite3
import time
from collections.abc import Callable
from contextlib import closing
from dataclasses import dataclass

from tests.bench import floors
from tests.bench.blast import blast, packets
from tests.bench.process import Daemon, cpu_s, daemon, fresh_broker, rss_mb

MESSAGES = 24_000
"""A round. More would only take longer."""
COUNTED = 0.9
"""The rate is taken over this share of a round: the last rows wait for their group commit, idle."""
DRAIN_S = 90.0
LOOK_S = 0.02
"""Between two looks at how far it is: counting must not take the cores from what is counted."""


@dataclass(frozen=True)
class Side:
    """One side of one round."""

    per_s: float
    cpu_us: float
    rss_mb: float


@dataclass(frozen=True)
class Round:
    daemon: Side
    floor: Side
    lost: int
    """Messages the broker acknowledged to the publisher that the store does not hold."""
    twice: int
    """Messages the store holds more than once."""


def _wait(count: Callable[[], int], messages: int) -> None:
    end = time.perf_counter() + DRAIN_S
    while count() < messages:
        assert time.perf_counter() < end, f"{count()} of {messages} messages after {DRAIN_S:g} s"
        time.sleep(LOOK_S)


def _side(pid: int, port: int, count: Callable[[], int]) -> Side:
    ready, cpu_from = packets(MESSAGES), cpu_s(pid)
    began = blast(port, ready)
    _wait(count, int(MESSAGES * COUNTED))
    took_s = time.perf_counter() - began
    _wait(count, MESSAGES)
    return Side(MESSAGES * COUNTED / took_s, (cpu_s(pid) - cpu_from) / MESSAGES * 1e6, rss_mb(pid))


def measure(rounds: int) -> list[Round]:
    """Interleaved rounds, each side with the broker to itself."""
    found = []
    for _ in range(rounds):
        with fresh_broker() as broker:
            with floors.subscriber(broker.port, broker.directory) as floor:
                bare = _side(floor.pid, broker.port, floor.count)
            with daemon(broker.directory, broker.port) as running:
                found.append(_against(running, broker.port, bare))
    return found


def _against(running: Daemon, port: int, bare: Side) -> Round:
    with closing(sqlite3.connect(f"file:{running.journal}?mode=ro", uri=True)) as db:

        def count() -> int:
            return int(db.execute("SELECT count(*) FROM readings").fetchone()[0])

        ours = _side(running.pid, port, count)
        distinct, rows = db.execute(
            "SELECT count(DISTINCT board_seq || ' ' || sensor), count(*) FROM readings_named"
        ).fetchone()
    return Round(ours, bare, MESSAGES - distinct, rows - distinct)
