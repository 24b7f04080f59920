"""The measured figures as a table and as docs/reference/figures.md. Nothing is measured here."""

import os
import platform
import re
import sqlite3
import statistics
import subprocess
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from importlib.metadata import version
from pathlib import Path
from typing import TypeVar

from tests.bench import ingest, latency
from tests.bench.process import SERIES, SPACES

from servers import program

R = TypeVar("R")
DOCUMENT = Path(__file__).resolve().parents[2] / "docs/reference/figures.md"


@dataclass(frozen=True)
class Figure:
    """One line of the table."""

    what: str
    ratio: float
    """The daemon over its floor: the median of the rounds' own ratios."""
    rounds: tuple[float, ...]
    """Each round's ratio."""
    limit: str
    within: bool
    ours: str
    floor: str


def _figure(
    what: str,
    rounds: Sequence[R],
    pair: Callable[[R], tuple[float, float]],
    limit: tuple[str, float],
    unit: str,
) -> Figure:
    """`limit` is `>=` or `<=` and the figure the ratio is held to."""
    pairs = [pair(one) for one in rounds]
    ratios = tuple(ours / floor for ours, floor in pairs)
    ratio = statistics.median(ratios)
    sign, bound = limit
    ours, floor = (statistics.median(side) for side in zip(*pairs, strict=True))
    return Figure(
        what, ratio, ratios, f"{sign} {bound:g}", ratio >= bound if sign == ">=" else ratio <= bound,
        f"{ours:.3g} {unit}" if ours < 1000 else f"{ours:,.0f} {unit}",
        f"{floor:.3g} {unit}" if floor < 1000 else f"{floor:,.0f} {unit}",
    )  # fmt: skip


def of_ingest(rounds: Sequence[ingest.Round]) -> list[Figure]:
    """Throughput, CPU and memory."""
    return [
        _figure(
            "ingest, messages a second", rounds, lambda r: (r.daemon.per_s, r.floor.per_s), (">=", 0.5), "/s"
        ),
        _figure(
            "ingest, CPU a message", rounds, lambda r: (r.daemon.cpu_us, r.floor.cpu_us), ("<=", 2.0), "us"
        ),
    ]


def of_latency(rounds: Sequence[latency.Round]) -> list[Figure]:
    """Published until the command is received."""
    return [
        _figure(
            "command latency, p50", rounds, lambda r: (r.daemon.p50_ms, r.floor.p50_ms), ("<=", 2.0), "ms"
        ),
        _figure(
            "command latency, p95", rounds, lambda r: (r.daemon.p95_ms, r.floor.p95_ms), ("<=", 2.0), "ms"
        ),
    ]


def of_memory(rounds: Sequence[ingest.Round]) -> Figure:
    """Resident memory after a round's load, held to a figure of its own and not to a ratio."""
    ours = statistics.median(one.daemon.rss_mb for one in rounds)
    floor = statistics.median(one.floor.rss_mb for one in rounds)
    ratios = tuple(one.daemon.rss_mb / one.floor.rss_mb for one in rounds)
    most = 45.0
    return Figure(
        "memory after the load (RSS)", statistics.median(ratios), ratios, f"{most:g} MB", ours <= most,
        f"{ours:.1f} MB", f"{floor:.1f} MB",
    )  # fmt: skip


def table(figures: Sequence[Figure]) -> str:
    """A Markdown table, ratios first."""
    lines = [
        "| what | ratio to the floor | limit | within | each round | here, us | here, the floor |",
        "|---|---|---|---|---|---|---|",
    ]
    for one in figures:
        rounds = ", ".join(f"{ratio:.2f}" for ratio in one.rounds)
        lines.append(
            f"| {one.what} | **{one.ratio:.2f}** | {one.limit} | {'yes' if one.within else '**no**'} "
            f"| {rounds} | {one.ours} | {one.floor} |"
        )
    return "\n".join(lines)


def kept(rounds: Sequence[ingest.Round]) -> str:
    """The sentence on what was lost."""
    sent = len(rounds) * ingest.MESSAGES
    lost, twice = sum(one.lost for one in rounds), sum(one.twice for one in rounds)
    return (
        f"Of {sent:,} messages sent at full blast {lost} were missing from the store and {twice} were twice."
    )


def machine() -> str:
    """The class of machine, and the versions that matter."""
    mosquitto = subprocess.run(
        [program("mosquitto", "mosquitto"), "-h"], capture_output=True, text=True, check=False
    )
    found = re.search(r"version (\S+)", mosquitto.stdout)
    return (
        f"{os.cpu_count()} shared {platform.machine()} server cores, virtual disk, other work beside it; "
        f"CPython {platform.python_version()}, SQLite {sqlite3.sqlite_version}, "
        f"paho-mqtt {version('paho-mqtt')}, mosquitto {found[1] if found else 'of unknown version'}"
    )


PAGE = """\
# Measured figures

What the daemon costs beside the least that the same job could cost. Written by
`python -m tests.bench --write` on {machine}. Only the **ratios** carry over to another machine; a small board
is some twenty times slower than such a core (an estimate, not measured), so read no milliseconds off this
page.

{table}

{kept}

## How it was measured

- **Ingest**: {series} series in {spaces} rooms with driven relays, {messages:,} messages of about 55 bytes of
  JSON a round, QoS 1, as fast as the broker takes them. The floor is a bare paho client that does
  `json.loads` and nothing else; the daemon decodes, judges, decides, stores and then acknowledges each. The
  rate is taken over the first {counted:.0%} of a round, because the last rows wait for their group commit.
- **Latency**: a door opens and closes {per_s:.0f} times a second while the mist is run by hand, and each time
  the mist must be cut or let run again; {triggers} triggers a round, from the publish to the command's
  arrival. The floor is a bare paho client that answers each message with a command and commits in groups, on
  a thread of its own. All sockets are no-delay, the broker's too.
- **Memory** is the resident memory of the process right after a round of ingest, without the page. Its limit
  is a figure and not a ratio.
- Broker, publisher and messages are the same for both sides; {rounds} rounds alternate between floor and
  daemon; the ratio is the median of the rounds' own ratios. Two figures within 15 % of each other are a tie.
- Limits are this project's own. Nothing here is a test: `tests/run.sh` passes or fails by no clock.
"""


def page(ingested: Sequence[ingest.Round], figures: Sequence[Figure]) -> str:
    """The whole document."""
    return PAGE.format(
        machine=machine(), table=table(figures), kept=kept(ingested), series=SERIES, spaces=SPACES,
        messages=ingest.MESSAGES, counted=ingest.COUNTED, per_s=1 / latency.EVERY_S,
        triggers=latency.TRIGGERS, rounds=len(ingested),
    )  # fmt: skip
