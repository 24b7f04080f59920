"""The morning's report is made in a child, is the same as by hand, and holds up nothing where it fails.

The child that hangs is a real one: opening a named pipe to read waits until somebody writes into it
(source: fifo(7)).
"""

import json
import os
import subprocess
import sys
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest

from audit.nights import at, lived, shipped_config
from audit.test_figures import curve
from gillhouse.audit.apart import Telling
from gillhouse.audit.html import as_html
from gillhouse.audit.report import last_window, night_of
from gillhouse.audit.text import as_text
from gillhouse.clock import VirtualClock
from gillhouse.core.edges import StoreSettings
from gillhouse.core.instant import Instant
from gillhouse.core.outputs import EventKind
from gillhouse.errors import GillhouseError
from gillhouse.reporter import NIGHT_REPORT, Reporter
from gillhouse.store.reader import Reader
from gillhouse.store.writer import Writer
from servers import wait_until

BEGIN = at("2026-10-13 20:00")
MORNING = at("2026-10-14 07:00")


class Post:
    """Takes messages as `Alerts` does."""

    def __init__(self) -> None:
        self.sent: list[tuple[str, str, dict[str, str]]] = []

    def message(self, _now: Instant, subject: str, text: str, files: dict[str, str] | None = None) -> None:
        self.sent.append((subject, text, files or {}))


@pytest.fixture(scope="module")
def journal(tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("night") / "journal.db"
    lived(path, shipped_config(), BEGIN, 3, curve).close()
    return path


@contextmanager
def reporting(journal: Path, written: Path) -> Iterator[tuple[Reporter, Post]]:
    """A reporter at work in a time that stands still."""
    clock, post = VirtualClock(MORNING), Post()
    writer = Writer(written, clock, StoreSettings(), lambda _: None, lambda *_: None)
    writer.start()
    reporter = Reporter(journal, clock, writer, post)  # type: ignore[arg-type]
    reporter.start()
    try:
        yield reporter, post
    finally:
        reporter.stop()
        writer.close()


def test_it_says_what_the_command_says(journal: Path) -> None:
    with reporting(journal, journal) as (reporter, post):
        reporter.build(Instant(MORNING, 0))
        wait_until(lambda: post.sent and reporter.settled(), 60, "the report")
    with Reader(journal) as reader:
        night = night_of(reader, last_window(reader, MORNING), MORNING)
        seal = str(reader.head())
    text = as_text(night) + f"LOG SEAL  {seal}  Keep this message: it proves the log up to now.\n"
    assert post.sent == [(text.splitlines()[0], text, {"night.html": as_html(night)})]


def test_a_child_that_hangs_is_ended_and_told(tmp_path: Path) -> None:
    pipe, written = tmp_path / "pipe.db", tmp_path / "journal.db"
    os.mkfifo(pipe)
    with reporting(pipe, written) as (reporter, post):
        reporter.limit_s = 0.5
        reporter.build(Instant(MORNING, 0))
        wait_until(lambda: post.sent and reporter.settled(), 30, "the trouble to be told")
    ((subject, text, files),) = post.sent
    assert subject == "Night report could not be made"
    assert "it was not done after 0.5 s" in text
    assert files == {}
    with Reader(written) as reader:
        (told,) = reader.events(0, 1 << 62, EventKind.LINK)
    assert told.event.subject == NIGHT_REPORT
    assert told.event.facts == {"up": False, "why": "it was not done after 0.5 s"}


def test_a_stop_does_not_wait_for_a_child_that_hangs(tmp_path: Path) -> None:
    pipe = tmp_path / "pipe.db"
    os.mkfifo(pipe)
    with reporting(pipe, tmp_path / "journal.db") as (reporter, post):
        reporter.build(Instant(MORNING, 0))
        wait_until(lambda: reporter._telling is not None, 10, "the child to be started")
    assert not reporter._thread.is_alive()
    assert post.sent == []


def test_what_cannot_be_told_comes_back_in_words(tmp_path: Path) -> None:
    with pytest.raises(GillhouseError, match="there is no store at"):
        Telling(tmp_path / "none.db", MORNING).wait(60)


def test_a_child_that_is_killed_is_said_so(tmp_path: Path) -> None:
    """As the system does where memory runs out."""
    pipe = tmp_path / "pipe.db"
    os.mkfifo(pipe)
    telling = Telling(pipe, MORNING)
    threading.Timer(0.2, telling.end).start()
    with pytest.raises(GillhouseError, match="its process ended with -9"):
        telling.wait(60)


LIGHT = """
import json, sys
from pathlib import Path
from gillhouse.clock import VirtualClock
from gillhouse.config import load_apart
from gillhouse.core.instant import Instant
from gillhouse.service import Service
from servers import wait_until
folder, now_ms = Path(sys.argv[1]), int(sys.argv[2])
service = Service(load_apart(folder / "farm.yaml"), folder, VirtualClock(now_ms))
service.start()
service.reporter.build(service.clock.now())
sent = []
service.alerts.message = lambda now, subject, text, files=None: sent.append(sorted(files))
wait_until(lambda: sent, 60, "the report")
service.stop()
print(json.dumps([sent, sorted(name.split(".")[0] for name in sys.modules)]))
"""
HEAVY = {"pydantic", "pydantic_core", "jinja2", "markupsafe", "yamlcore", "influxdb_client", "starlette"}


def test_the_daemon_stays_light_through_config_and_report(tmp_path: Path, journal: Path) -> None:
    """A daemon that has read its config and told a night holds none of what these need."""
    config = shipped_config()
    (tmp_path / "farm.yaml").write_text(config.files["farm.yaml"], encoding="utf-8")
    with Reader(journal) as reader:
        reader._db.execute("VACUUM INTO ?", (str(tmp_path / "journal.db"),))
    done = subprocess.run(
        [sys.executable, "-c", LIGHT, str(tmp_path), str(MORNING)],
        env={**os.environ, "PYTHONPATH": str(Path(__file__).parents[1])},
        capture_output=True, text=True, timeout=120, check=False,
    )  # fmt: skip
    assert done.returncode == 0, done.stderr
    sent, modules = json.loads(done.stdout)
    assert sent == [["night.html"]]
    assert HEAVY & set(modules) == set()
