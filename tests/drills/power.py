"""The power goes: broker and daemon killed in one moment under load, and again, and again.

What must hold: nothing the daemon had acknowledged (so: committed) is missing; of what only the broker had
acknowledged at most what came since it last saved its state; and a gap in the journal names the span.
SIGKILL leaves the kernel's cache alone, so this is the programs' half of a power cut: that commits are
written through is SQLite's `synchronous = FULL`, and a card that lies about it nobody can help (SQLite,
"How To Corrupt").
"""

import os
import signal
import sqlite3
import time
from contextlib import closing
from pathlib import Path

from tests.drills.brokers import the_daemon
from tests.drills.drill import Drill, Line, Size, Told, count
from tests.drills.house import UP_S, Load, ear, wait_for_marker
from tests.drills.kills import decided_again, stored, whole

from servers import MosquittoBroker, wait_until

CUTS = {Size.QUICK: 1, Size.FULL: 12}
SAVES_EVERY_S = 1
"""The broker of the drills; deploy/ has 60."""
SLACK_MS = 1_500
"""The broker looks at its saving once a second, and a busy machine is late."""


def spans_ms(state: Path) -> list[tuple[int, int]]:
    """What the journal calls gaps after an unclean stop: (from, to), wall ms."""
    with closing(sqlite3.connect(f"file:{state}/journal.db?mode=ro", uri=True)) as db:
        rows = db.execute(
            "SELECT ts, json_extract(facts, '$.away_s') FROM events WHERE kind = 'gap' AND subject = 'daemon'"
        ).fetchall()
    return [(int(ts - away_s * 1000), ts) for ts, away_s in rows]


def run(size: Size, folder: Path, told: Told) -> list[Line]:
    broker = MosquittoBroker(folder, persistent=True, max_queued=200_000)
    broker.start()
    daemon = the_daemon(folder, broker)
    state, boards, cuts = daemon.state, Load(broker.port), []
    had = 0
    try:
        with ear(broker.port) as markers:
            daemon.start()
            wait_for_marker(markers, 0)
            boards.start()
            for turn in range(CUTS[size]):
                before = boards.sent
                wait_until(lambda before=before: boards.sent > before + 600, UP_S, "two seconds of load")  # type: ignore[misc]
                assert daemon.process is not None and broker._process is not None
                os.kill(broker._process.pid, signal.SIGKILL)
                os.kill(daemon.process.pid, signal.SIGKILL)
                cuts.append(time.time_ns() // 1_000_000)
                broker.kill()
                daemon.kill()
                committed = stored(state / "journal.db", boards)
                (state / "local.sock").unlink(missing_ok=True)
                broker.start()
                daemon.start()
                wait_until(daemon.connected, UP_S, "the link to be back")
                after = stored(state / "journal.db", boards)
                assert set(committed) <= set(after), "what was committed is gone"
                had = len(committed)
                told((turn + 1) / CUTS[size])
            acknowledged = boards.stop()
            quiet = -1
            while quiet != len(found := stored(state / "journal.db", boards)):
                quiet = len(found)
                settled = time.monotonic() + 3  # a commit and a half of the drills' farm
                wait_until(lambda settled=settled: time.monotonic() > settled, UP_S)  # type: ignore[misc]
    finally:
        daemon.kill()
        broker.stop()
    twice = [one for one, times in found.items() if times > 1]
    lost = sorted(
        at_ms for (sensor, at_ms), n in boards.at_ms.items() if (sensor, n) in acknowledged - set(found)
    )
    spans, window_ms = spans_ms(state), SAVES_EVERY_S * 1000 + SLACK_MS
    unnamed = [at for at in lost if not any(begin - 50 <= at <= end for begin, end in spans)]
    early = [at for at in lost if not any(cut - window_ms <= at <= cut + SLACK_MS for cut in cuts)]
    assert not twice, twice[:3]
    assert not unnamed, f"lost {unnamed[:3]} outside of what the journal calls gaps, {spans}"
    assert not early, f"lost {early[:3]} long before a cut at {cuts}"
    assert len(spans) == len(cuts)
    return [
        Line("broker and daemon killed in one moment, times", count(len(cuts))),
        Line("readings the broker acknowledged to a board", count(len(acknowledged))),
        Line("of what the journal held at the cut, missing afterwards", f"0 of {count(had)}", "0"),
        Line("of what only the broker had, lost", count(len(lost)), "its last second"),
        Line("of those outside the span the journal names", count(len(unnamed)), "0"),
        Line("stored twice", count(len(twice)), "0"),
        Line("decided again from the journal", decided_again(state), "the same"),
        Line("breaks in the journal's chain", f"0 ({whole(state)})", "0"),
    ]


DRILL = Drill(
    "Power cut",
    "SIGKILL to the broker and the daemon together, under load; the broker saves its state each second.",
    run,
)
