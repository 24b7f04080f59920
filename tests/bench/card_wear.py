"""`python -m tests.bench.card_wear [--write]`: what a day of the shipped farm writes to the card.

Measured: a simulated day of `config/farm.yaml` (24 h after the trial's warm-up, every board, relay and
decision through a real broker into the real store on this machine's disk), and what the kernel counts of the
one thread that writes. `handed over` is all bytes given to write calls (wchar); `to the disk` is what made
pages of the block device dirty (write_bytes). Source: proc(5), /proc/[pid]/io, which also stands under
task/[tid]. Not measured: what the card makes of it inside; no maker says.
"""

import argparse
import sqlite3
import tempfile
import threading
from contextlib import closing
from dataclasses import dataclass
from pathlib import Path

from gillhouse.commands.demo import run_trial
from gillhouse.config import shipped_dir
from gillhouse.sim.story import WARM_UP_MS
from gillhouse.sim.trial import Length
from gillhouse.store import JOURNAL

DOCUMENT = Path(__file__).parents[2] / "docs" / "reference" / "card-wear.md"
WRITER = "store-writer"
SHIPPED = "commit_every: 10 s"
PACES = (SHIPPED, "commit_every: 60 s")
SEED = 1


@dataclass(frozen=True, slots=True)
class Io:
    """What the kernel counted of one thread."""

    handed_over: int
    to_disk: int
    calls: int

    def since(self, other: "Io") -> "Io":
        return Io(
            self.handed_over - other.handed_over, self.to_disk - other.to_disk, self.calls - other.calls
        )


@dataclass(frozen=True, slots=True)
class Day:
    """One simulated day."""

    pace: str
    io: Io
    journal_bytes: int
    """How much the journal grew by, the warm-up's part taken off by time."""
    readings: int


def io_of(thread: str) -> Io:
    """The counts of a thread of this process, by its name."""
    number = next(one.native_id for one in threading.enumerate() if one.name == thread)
    lines = Path(f"/proc/self/task/{number}/io").read_text().splitlines()
    fields = {name: int(value) for name, value in (line.split(": ") for line in lines)}
    return Io(fields["wchar"], fields["write_bytes"], fields["syscw"])


def live(pace: str, hours: float = 24.0) -> Day:
    """Lives a day at a pace of commits."""
    samples: list[tuple[int, Io]] = []
    with tempfile.TemporaryDirectory(prefix=".card-wear-", dir=Path.cwd()) as folder:  # a disk, not memory
        farm = Path(folder) / "farm.yaml"
        text = (shipped_dir() / "farm.yaml").read_text(encoding="utf-8")
        assert text.count(SHIPPED) == 1
        farm.write_text(text.replace(SHIPPED, pace), encoding="utf-8")
        out = Path(folder) / "out"
        out.mkdir()
        run_trial(farm, out, Length(SEED, hours), told=lambda at_ms: samples.append((at_ms, io_of(WRITER))))
        size = (out / JOURNAL).stat().st_size
        with closing(sqlite3.connect(out / JOURNAL)) as db:
            (readings,) = db.execute("SELECT count(*) FROM readings").fetchone()
    begin = next(io for at_ms, io in samples if at_ms >= WARM_UP_MS)
    part = hours * 3_600_000 / samples[-1][0]
    return Day(pace, samples[-1][1].since(begin), int(size * part), int(readings * part))


PAGE = """\
# What a day writes to the card

Made by `python -m tests.bench.card_wear --write`; do not edit. A simulated day of the shipped example farm
({readings:,} readings) through a real broker into a real journal; the kernel's own counts of the one thread
that writes (proc(5)). MB is 10^6 bytes.

| `store:` | handed over in a day | to the disk in a day | in a year | write calls | the journal grows by |
| --- | --- | --- | --- | --- | --- |
{rows}

That is {each:,.0f} bytes to the disk for each reading, whose row has some 30: disks are written in pages
of 4,096, each commit is pressed through to the card so that a power cut loses nothing that was acknowledged,
and all of it is written twice, into SQLite's log first and into the file later. Events, commands, alarms and
the state kept every five minutes are in it. The nightly copy adds the size of the journal, where it goes to
the same card.

What a card makes of that inside (it erases far bigger blocks than it writes) no maker of consumer cards says,
so no number of years stands here. What helps, and what does not: [copies, and the card](../how-to/backup.md).
"""


def page(days: list[Day]) -> str:
    """The document; the first of `days` is the shipped pace."""
    rows = []
    for day in days:
        io, ships = day.io, " (as it ships)" if day.pace == SHIPPED else ""
        rows.append(
            f"| `{day.pace}`{ships} | {io.handed_over / 1e6:.0f} MB | {io.to_disk / 1e6:.0f} MB "
            f"| {io.to_disk * 365 / 1e9:.1f} GB | {io.calls:,} | {day.journal_bytes / 1e6:.1f} MB |"
        )
    shipped = days[0]
    each = shipped.io.to_disk / shipped.readings
    return PAGE.format(readings=shipped.readings, rows="\n".join(rows), each=each)


def main() -> None:
    parser = argparse.ArgumentParser(prog="python -m tests.bench.card_wear", description=__doc__)
    parser.add_argument("--write", action="store_true", help="also write docs/reference/card-wear.md")
    given = parser.parse_args()
    text = page([live(pace) for pace in PACES])
    print(text)
    if given.write:
        DOCUMENT.write_text(text, encoding="utf-8")


if __name__ == "__main__":
    main()
