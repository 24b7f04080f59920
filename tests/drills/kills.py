"""kill -9 at random moments under load: nothing acknowledged is lost or stored twice, no relay stays on.

What SIGKILL proves and what it does not: the kernel still writes what it was given, so this is the crash of a
program and not of the power (SQLite, "How SQLite is tested", says the same of such tests). That each commit
is written through (synchronous FULL) is tests/store's matter, and `power` cuts the broker off as well.

Outside truth: MQTT 5 section 4.3.2 (QoS 1: at least once) and 4.4 (what is not acknowledged comes again).
"""

import random
import sqlite3
import subprocess
import sys
from collections import Counter
from contextlib import closing
from pathlib import Path

from tests.drills.drill import Drill, Line, Size, Told, count
from tests.drills.house import (
    UP_S,
    DryAir,
    Load,
    Nursery,
    RelayBoard,
    ear,
    environment,
    farm_text,
    wait_for_marker,
)

from servers import MosquittoBroker, wait_until

KILLS = {Size.QUICK: 42, Size.FULL: 1000}
LONG_EVERY, LONG, SHORT = 20, 900, 110
"""Every so many lives is a long one in which relays move; the others end while it starts or just after.
Counted in readings of the load, some 300 a second."""
DRAIN_S = 90.0


def stored(journal: Path, boards: Load) -> Counter[tuple[str, int]]:
    """How often each reading of the load is in the store, by sensor and the board's running number."""
    with closing(sqlite3.connect(f"file:{journal}?mode=ro", uri=True)) as db:
        rows = db.execute(
            "SELECT sensor, board_seq, ts FROM readings_named WHERE sensor LIKE 'board-%'"
        ).fetchall()
        spare = db.execute("SELECT body FROM inputs WHERE kind = 'Reading'").fetchall()
    assert not [one for (one,) in spare if '"board-' in one], "readings that share a moment"
    return Counter(
        (sensor, boards.at_ms[sensor, ts] if number is None else number) for sensor, number, ts in rows
    )


def whole(state: Path) -> str:
    """What the store says of itself, and the command that checks its chain, where there is one."""
    with closing(sqlite3.connect(f"file:{state}/journal.db?mode=ro", uri=True)) as db:
        (said,) = db.execute("PRAGMA integrity_check").fetchone()
    assert said == "ok", said
    done = subprocess.run(
        [sys.executable, "-m", "gillhouse", "verify", "--state", str(state)],
        capture_output=True, text=True, check=False, env=environment(),
    )  # fmt: skip
    assert done.returncode == 0, done.stdout + done.stderr
    return done.stdout.strip().splitlines()[0]


def decided_again(state: Path) -> str:
    """What the replay of all that the journal holds says; it must come out the same."""
    done = subprocess.run(
        [sys.executable, "-m", "gillhouse", "replay", "--state", str(state)],
        capture_output=True, text=True, check=False, env=environment(),
    )  # fmt: skip
    assert done.returncode == 0 and done.stdout.startswith("the same"), done.stdout + done.stderr
    return done.stdout.strip()


def compare(boards: Load, acknowledged: set[tuple[str, int]], journal: Path) -> tuple[int, int]:
    """Waits for the backlog to drain. Returns (missing, stored twice)."""
    wait_until(lambda: len(stored(journal, boards)) >= len(acknowledged), DRAIN_S, "the backlog to drain")
    found = stored(journal, boards)
    missing, twice = acknowledged - set(found), [one for one, times in found.items() if times > 1]
    assert not missing, sorted(missing)[:5]
    assert not twice, sorted(twice)[:5]
    return len(missing), len(twice)


def run(size: Size, folder: Path, told: Told) -> list[Line]:
    kills, chance, state = KILLS[size], random.Random(20_261_125), folder / "state"
    broker = MosquittoBroker(folder, max_queued=200_000)
    broker.start()
    (folder / "farm.yaml").write_text(farm_text(broker))
    state.mkdir()
    boards, air, relays = Load(broker.port), DryAir(broker.port), RelayBoard(broker.port)
    nursery = Nursery(folder / "farm.yaml", state, folder / "daemon.log")
    try:
        with ear(broker.port) as markers:
            pid = nursery.begin()
            wait_for_marker(markers, 0)  # from here on it has its place at the broker
            boards.start()
            air.start()
            for turn in range(kills):
                long = turn % LONG_EVERY == LONG_EVERY // 4
                more = boards.sent + chance.randrange(SHORT) + (LONG if long else 0)
                wait_until(lambda more=more: boards.sent >= more, UP_S, f"{more} readings sent")  # type: ignore[misc]
                nursery.kill(pid)
                pid = nursery.begin()
                told((turn + 1) / kills)
            acknowledged = boards.stop()
            missing, twice = compare(boards, acknowledged, state / "journal.db")
            nursery.kill(pid)
    finally:
        air.stop()
        nursery.close()
        relays.close()
        broker.stop()
    late = relays.past_their_lease()
    assert not late, late[:3]
    assert relays.ons >= kills // LONG_EVERY, "hardly a relay moved: nothing was proved about them"
    chain = whole(state)
    return [
        Line("times killed, at random moments", count(kills)),
        Line("readings the broker acknowledged to a board (QoS 1)", count(len(acknowledged))),
        Line("of those missing from the journal", count(missing), "0"),
        Line("of those stored twice", count(twice), "0"),
        Line("relay commands ON heard by the board on the wire", count(relays.ons)),
        Line("relays on past the end of their command", count(len(late)), "0"),
        Line("breaks in the journal's chain", f"0 ({chain})", "0"),
    ]


DRILL = Drill(
    "Killed again and again",
    "kill -9 at random moments, while nine boards send up to 300 readings a second and mist runs.",
    run,
)
