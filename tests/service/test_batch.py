"""Batches as a grower keeps them: the command line, the running daemon, Debian's mosquitto, a restart."""

import json
import signal
from pathlib import Path
from typing import Any

import pytest
from farm import Daemon

from gillhouse.clock import SystemClock, VirtualClock
from gillhouse.config import load
from gillhouse.core.crops import Stage
from gillhouse.core.inputs import BatchAct, BatchAction
from gillhouse.replay import replay
from gillhouse.service import Service
from gillhouse.store.reader import Reader
from servers import wait_until

HOUR_MS = 3_600_000
LION = ("--space", "tent", "--species", "lions-mane", "--kg", "40")


def tent(daemon: Daemon) -> dict[str, Any]:
    found: dict[str, Any] = json.loads(daemon.run("now", "--json"))["spaces"]["tent"]
    return found


def test_a_batch_is_added_staged_kept_over_a_restart_and_replayed(daemon: Daemon) -> None:
    daemon.start()
    assert "put into tent" in daemon.run("batch", "add", "LM-1", *LION, "--stage", "pinning")
    said = daemon.run("batch", "stage", "LM-1", "fruiting")
    assert "fruiting begun" in said
    assert "wished air on its way" in said
    before = tent(daemon)
    assert before["stage"] == "fruiting"
    assert before["bands_moving_h"] > 0
    assert [one["batch"] for one in before["batches"]] == ["LM-1"]
    daemon.signal(signal.SIGTERM)
    assert daemon.wait() == 0
    listed = daemon.run("batch", "list")  # nothing runs: as the journal was left
    assert "LM-1" in listed
    assert "LM-1" in daemon.run("now")
    assert "fruiting, day 1, flush 1" in listed
    daemon.start()
    after = tent(daemon)
    assert after["batches"] == before["batches"]
    assert after["bands_moving_h"] == pytest.approx(before["bands_moving_h"], abs=0.1)
    daemon.signal(signal.SIGTERM)
    daemon.wait()
    with Reader(daemon.state / "journal.db") as reader:
        again = replay(reader, 0, 1 << 48)
    assert again.first is None
    assert again.decisions > 0


def test_what_cannot_be_is_refused_in_words_and_nothing_is_left_behind(daemon: Daemon) -> None:
    daemon.start()
    said = daemon.run("batch", "add", "LM-1", *LION, "--stage", "rest", "--since", "soon", fails=True)
    assert "'soon' is no day" in said
    said = daemon.run("batch", "add", "two words", *LION, "--stage", "fruiting", fails=True)
    assert "cannot be called 'two words'" in said
    said = daemon.run(
        "batch",
        "add",
        "M-1",
        "--space",
        "tent",
        "--species",
        "moss",
        "--kg",
        "4",
        "--stage",
        "fruiting",
        fails=True,
    )
    assert "no such thing as species moss" in said
    said = daemon.run("batch", "stage", "LM-1", "fruiting", fails=True)
    assert "no such thing as batch LM-1" in said
    said = daemon.run("batch", "stage", "LM-1", fails=True)
    assert "--accept" in said
    assert "no batches" in daemon.run("batch", "list")


def test_without_a_daemon_it_is_written_into_the_store(daemon: Daemon) -> None:
    daemon.start()
    daemon.signal(signal.SIGTERM)
    daemon.wait()
    daemon.run("batch", "add", "LM-1", *LION, "--stage", "fruiting", "--since", "2026-01-05")
    daemon.run("batch", "move", "LM-1", "tent", "--rack", "rack 2")
    assert "rack 2" in daemon.run("batch", "list")
    daemon.start()
    assert tent(daemon)["batches"][0]["rack"] == "rack 2"
    assert "look at the crop" in daemon.run("batch", "list")
    assert "not yet" in daemon.run("batch", "later", "LM-1", "--days", "2")
    assert "LM-1 ended" in daemon.run("batch", "end", "LM-1", "--why", "spent")
    book = daemon.run("batch", "show", "LM-1")
    assert "tent, rack 2, fruiting, flush 1" in book
    assert "not known" in book  # no board ever reported here
    assert "LM-1 ended: spent" in book
    assert "there is no batch 'LM-2'" in daemon.run("batch", "show", "LM-2", fails=True)
    assert tent(daemon)["batches"] == []


def test_the_bands_of_the_running_service_go_over_by_the_hour(daemon: Daemon, tmp_path: Path) -> None:
    """The real service on a clock of our own: nothing comes in, and the bands move all the same."""
    config = load(daemon.config)
    clock = VirtualClock(SystemClock().now().wall_ms)
    service = Service(config, tmp_path / "own", clock)
    service.start()
    wait_until(lambda: service.status()["links"]["broker"]["up"] and service.settled(), 10, "the broker")
    try:
        for item in (
            BatchAction(BatchAct.ADD, "LM-1", "ana", None, "lions-mane", Stage.FRUITING, 40.0, "tent"),
            BatchAction(BatchAct.STAGE, "LM-1", "ana", stage=Stage.SPAWN_RUN),
        ):
            service.submit(item)
        hours, left = 0, [moving(service)]
        while moving(service) is not None:
            hours += 1
            live(service, clock, hours * HOUR_MS)
            left.append(moving(service))
            assert hours <= 24
        bands = service.status()["spaces"]["tent"]["quantities"]["temperature"]
    finally:
        service.stop()
    assert hours == -(-left[0] // 1)
    assert left[:-1] == [pytest.approx(left[0] - n) for n in range(hours)]
    wish = config.farm.species["lions-mane"].stages[Stage.SPAWN_RUN].temperature
    assert (bands["low"], bands["high"]) == (wish.low, wish.high)


def live(service: Service, clock: VirtualClock, until_ms: int) -> None:
    """Lets time go on, stopping wherever somebody in the daemon waits for it."""
    while (now_ms := clock.now().mono_ms) < until_ms:
        clock.advance_to(min(until_ms, max(now_ms, clock.next_wake_ms() or until_ms)))
        wait_until(service.settled, 10, "the service to be at rest")


def moving(service: Service) -> float:
    found: float = service.status()["spaces"]["tent"]["bands_moving_h"]
    return found
