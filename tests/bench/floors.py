"""Starts the floors (`bare`): bare paho clients doing the least that the job could do."""

import subprocess
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from tests.bench.process import READY_S

from servers import wait_until

PROGRAM = Path(__file__).with_name("bare.py")


class Floor:
    """A running floor."""

    def __init__(self, pid: int, counter: Path) -> None:
        self.pid = pid
        self._counter = counter

    def count(self) -> int:
        """Messages it has had; -1 before it listens."""
        return int.from_bytes(self._counter.read_bytes(), sys.byteorder, signed=True)


@contextmanager
def subscriber(port: int, directory: Path) -> Iterator[Floor]:
    """QoS 1, `json.loads`, and nothing else."""
    with _running(directory, "ingest", str(port)) as floor:
        yield floor


@contextmanager
def echo(port: int, directory: Path) -> Iterator[Floor]:
    """Answers each message with a command at once; a writer thread commits behind it, in groups."""
    with _running(directory, "echo", str(port), str(directory / "echo.db")) as floor:
        yield floor


@contextmanager
def _running(directory: Path, kind: str, port: str, *more: str) -> Iterator[Floor]:
    counter = directory / f"count-{kind}"
    counter.write_bytes((-1).to_bytes(8, sys.byteorder, signed=True))
    process = subprocess.Popen([sys.executable, PROGRAM, kind, port, counter, *more])
    floor = Floor(process.pid, counter)
    try:
        wait_until(lambda: floor.count() >= 0, READY_S, f"the {kind} floor to subscribe")
        yield floor
    finally:
        process.kill()
        process.wait()
