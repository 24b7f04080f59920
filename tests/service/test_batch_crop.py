"""Picks written down while the daemon runs: kept over a restart, by whom and when, and replayed alike."""

import json
import signal
from typing import Any

from farm import Daemon

from gillhouse.clock import SystemClock
from gillhouse.replay import replay
from gillhouse.store.reader import Reader
from servers import wait_until

CAME = ("--space", "tent", "--species", "lions-mane", "--kg", "40", "--stage", "fruiting")


def book(daemon: Daemon) -> list[dict[str, Any]]:
    found: list[dict[str, Any]] = json.loads(daemon.run("batch", "book", "--json"))
    return found


def test_a_pick_is_kept_over_a_restart_put_right_and_replayed(daemon: Daemon) -> None:
    begin_ms = SystemClock().now().wall_ms
    daemon.start()
    daemon.run("batch", "add", "LM-1", *CAME)
    wait_until(lambda: bool(book(daemon)), what="the batch is in the journal")
    assert "picked 24 kg, waste 0.3 kg" in daemon.run("batch", "pick", "LM-1", "24", "0.3")
    wait_until(lambda: bool(book(daemon)[0]["entries"]), what="the pick is in the journal")
    said = daemon.run("batch", "pick", "LM-1", "9999", fails=True)
    assert "more than all the blocks of LM-1 weighed (40 kg)" in said
    (wrong,) = book(daemon)[0]["entries"]
    assert wrong["who"]
    assert begin_ms - 60_000 <= wrong["at_ms"] <= wrong["written_at_ms"]
    daemon.signal(signal.SIGTERM)
    assert daemon.wait() == 0
    daemon.run("batch", "pick", "LM-1", "2.4", "0.3", "--corrects", str(wrong["number"]))
    daemon.start()
    (found,) = book(daemon)
    assert [one["kg"] for one in found["entries"]] == [2.4]
    assert found["yield"]["kg"] == 2.4
    daemon.signal(signal.SIGTERM)
    daemon.wait()
    with Reader(daemon.state / "journal.db") as reader:
        again = replay(reader, 0, 1 << 48)
    assert again.first is None
    assert again.decisions > 0
