"""kill -9 under load: every reading whose token came back is in the store, whole outcomes or none, one time.

A killed process proves the transaction, not the power cut: the kernel still writes what it was given. That
the disk is told to write through is `test_synchronous_is_full`.
"""

import random
import signal
import sqlite3
import subprocess
import sys
from os import environ
from pathlib import Path

from gillhouse.store.reader import Reader
from gillhouse.store.verify import verify
from store.kept import T0_MS, writing

CHILD = """
import os, sys
from pathlib import Path
from gillhouse.clock import SystemClock
from gillhouse.core.edges import StoreSettings
from gillhouse.store.writer import Writer
from store.kept import command, reading

def safe(tokens):
    os.write(1, b"".join(b"%d\\n" % token for token in tokens))

settings = StoreSettings(commit_every_ms=20)
writer = Writer(Path(sys.argv[1]), SystemClock(), settings, safe, lambda ok, why: None)
writer.start()
seq = writer.next_seq
os.write(1, b"from %d\\n" % seq)
while True:
    if seq % 50:
        writer.put(reading(seq, token=seq))
    else:
        writer.put(reading(seq, token=seq), command(seq))
    if seq % 200 == 0:
        writer.flush()
    seq += 1
"""


def run_and_kill(path: Path, after_s: float, answered: set[int]) -> int:
    """Lets a child write, kills it, notes what it was told is safe. Returns its first sequence number."""
    with subprocess.Popen(
        [sys.executable, "-c", CHILD, str(path)],
        env={**environ, "PYTHONPATH": str(Path(__file__).parents[1])},
        stdout=subprocess.PIPE,
        bufsize=0,  # so that nothing of what follows the first line is read with it
    ) as child:
        assert child.stdout is not None
        first = int(child.stdout.readline().split()[1])
        try:
            child.communicate(timeout=after_s)
        except subprocess.TimeoutExpired:
            child.send_signal(signal.SIGKILL)
        said = child.communicate()[0].decode()
    assert child.returncode == -signal.SIGKILL
    answered.update(int(line) for line in said[: said.rfind("\n") + 1].split())
    return first


def drill(path: Path, kills: int) -> None:
    chance = random.Random(1)
    answered: set[int] = set()
    last = 0
    for _ in range(kills):
        first = run_and_kill(path, chance.uniform(0.0, 0.15), answered)
        assert first > last, "a sequence number was given twice"
        last = max(answered, default=first)
    with writing(path) as kept:
        assert not kept.writer.opened.clean
    with Reader(path) as reader:
        stored = [at.seq for _, at in reader.all_readings(0, 3 * T0_MS)]
        told = {at.seq for at in reader.commands(0, 3 * T0_MS)}
    assert len(answered) > 100 * kills, "too little load to prove anything"
    assert answered <= set(stored)
    assert len(stored) == len(set(stored))
    assert told == {seq for seq in stored if seq % 50 == 0}
    db = sqlite3.connect(path)
    assert db.execute("PRAGMA integrity_check").fetchone() == ("ok",)
    checked = verify(db)
    assert checked.findings == [], "a kill broke the chain"
    assert checked.rows > kills
    db.close()


def test_fifty_kills(tmp_path: Path) -> None:
    drill(tmp_path / "journal.db", 50)
