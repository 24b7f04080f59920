"""The mirror: every reading arrives, through a stop, a kill and a refusal, and none holds up the others.

Against Debian's victoria-metrics, which takes line protocol v2 at /api/v2/write and gives its points back at
/api/v1/export (its README, "How to send data from InfluxDB-compatible agents" and "How to export data in JSON
line format"). How a receiver refuses is played by a small HTTP server, by the status codes of RFC 9110.
Receivers of the protocol's other makers are not at hand and untested.
"""

import json
import signal
import subprocess
import sys
import threading
import urllib.parse
import urllib.request
from collections.abc import Iterator
from contextlib import contextmanager
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from pathlib import Path

import pytest

from gillhouse.clock import SystemClock
from gillhouse.core.edges import MirrorSettings, StoreSettings
from gillhouse.core.inputs import Reading
from gillhouse.core.instant import Instant
from gillhouse.core.outputs import EventKind
from gillhouse.core.readings import GOOD, Mark, Quality, Verdict
from gillhouse.store.lines import line_of
from gillhouse.store.mirror import Mirror
from gillhouse.store.reader import Reader
from gillhouse.store.rows import MirrorDrop, ReadingRow, SeriesRow
from gillhouse.store.writer import Writer
from servers import HOST, free_port, program, wait_until
from store.kept import T0_MS, reading

TENT = SeriesRow("tent-1", "humidity", "%", "tent", "middle")


@contextmanager
def mirroring(path: Path, url: str, batch_rows: int = 50) -> Iterator[Writer]:
    """A store with a mirror, both running."""
    clock = SystemClock()
    writer = Writer(
        path, clock, StoreSettings(commit_every_ms=20, keep_days=10_000), lambda _: None, lambda ok, why: None
    )
    settings = MirrorSettings(
        url, "farm", "air", batch_rows=batch_rows, every_ms=20, timeout_ms=2_000, keep_days=10_000
    )
    mirror = Mirror(settings, path, clock, writer)
    writer.start()
    writer.put(TENT)
    mirror.start()
    try:
        yield writer
    finally:
        mirror.stop()
        writer.close()


def nothing_waits(path: Path) -> bool:
    with Reader(path) as reader:
        return reader.mirror_waiting() == 0


class Victoria:
    """victoria-metrics on loopback, with its data kept over a restart."""

    def __init__(self, directory: Path) -> None:
        self._directory = directory
        self._port = free_port()
        self.url = f"http://{HOST}:{self._port}"
        self._process: subprocess.Popen[bytes] | None = None

    def start(self) -> None:
        self._process = subprocess.Popen(
            [
                program("victoria-metrics", "victoria-metrics"),
                f"-storageDataPath={self._directory}",
                f"-httpListenAddr={HOST}:{self._port}",
                "-retentionPeriod=10y",
                "-search.latencyOffset=0s",
                "-dedup.minScrapeInterval=1ms",
                "-loggerLevel=ERROR",
            ],
            stdout=subprocess.DEVNULL,
            stderr=subprocess.DEVNULL,
        )
        wait_until(self._up, 15, "victoria-metrics")

    def _up(self) -> bool:
        try:
            return urllib.request.urlopen(f"{self.url}/health", timeout=1).status == 200
        except OSError:
            return False

    def end(self, how: signal.Signals) -> None:
        assert self._process is not None
        self._process.send_signal(how)
        self._process.wait(20)

    def points(self, name: str) -> list[tuple[int, float]]:
        """Every point of a metric it can give back, in order of time."""
        asked = urllib.parse.urlencode({"match[]": f'{name}{{sensor="tent-1",space="tent",zone="middle"}}'})
        with urllib.request.urlopen(f"{self.url}/api/v1/export?{asked}", timeout=5) as answer:
            lines = [json.loads(line) for line in answer.read().splitlines()]
        return sorted(
            point for line in lines for point in zip(line["timestamps"], line["values"], strict=True)
        )


@pytest.fixture
def victoria(tmp_path: Path) -> Iterator[Victoria]:
    running = Victoria(tmp_path / "victoria")
    running.start()
    yield running
    running.end(signal.SIGTERM)


@pytest.mark.parametrize("how", [signal.SIGTERM, signal.SIGKILL], ids=["stopped", "killed"])
def test_every_reading_arrives_through_an_outage(
    tmp_path: Path, victoria: Victoria, how: signal.Signals
) -> None:
    path = tmp_path / "journal.db"
    rows = [reading(seq, 80 + seq / 64) for seq in range(1, 1501)]
    with mirroring(path, victoria.url) as writer:
        writer.put(*rows[:500])
        wait_until(lambda: len(victoria.points("humidity_value")) == 500, 15, "the first third")
        writer.put(*rows[500:600])
        victoria.end(how)
        writer.put(*rows[600:1000])
        wait_until(lambda: told(path), 15, "the outage in the log")
        victoria.start()
        writer.put(*rows[1000:])
        wanted = [(row.reading.sensed_ms, row.reading.value) for row in rows]
        wait_until(lambda: len(victoria.points("humidity_value")) == 1500, 30, "all points")
        assert victoria.points("humidity_value") == wanted
        wait_until(lambda: nothing_waits(path), 15, "every line marked sent")
        wait_until(lambda: len(told(path)) == 2, 15, "its end in the log")
    (down, up) = told(path)
    assert (down["up"], up["up"]) == (False, True)
    assert "cannot be reached" in str(down["why"])


def told(path: Path) -> list[dict[str, object]]:
    """The facts of the mirror's events."""
    with Reader(path) as reader:
        return [
            dict(at.event.facts)
            for at in reader.events(0, 2 * T0_MS, EventKind.LINK)
            if at.event.subject == "mirror"
        ]


class Picky:
    """An HTTP receiver that answers by what is in the body."""

    def __init__(self) -> None:
        self.status = 204
        self.headers: dict[str, str] = {}
        self.poison = "\x00"
        self.most_lines = 10_000
        self.taken: list[str] = []
        self.requests = 0
        outer = self

        class Handler(BaseHTTPRequestHandler):
            def do_POST(self) -> None:
                body = self.rfile.read(int(self.headers["Content-Length"])).decode()
                status = outer.judge(body.splitlines())
                self.send_response(status)
                for name, value in outer.headers.items():
                    self.send_header(name, value)
                text = b'{"message":"field type conflict"}' if status != 204 else b""
                self.send_header("Content-Length", str(len(text)))
                self.end_headers()
                self.wfile.write(text)

            def log_message(self, format: str, *args: object) -> None:
                pass

        self._server = ThreadingHTTPServer((HOST, 0), Handler)
        self.url = f"http://{HOST}:{self._server.server_port}"
        threading.Thread(target=self._server.serve_forever, args=(0.02,), daemon=True).start()

    def judge(self, lines: list[str]) -> int:
        self.requests += 1
        if self.status != 204:
            return self.status
        if len(lines) > self.most_lines:
            return 413
        if any(self.poison in line for line in lines):
            return 400
        self.taken += lines
        return 204

    def stop(self) -> None:
        self._server.shutdown()
        self._server.server_close()


@pytest.fixture
def picky() -> Iterator[Picky]:
    running = Picky()
    yield running
    running.stop()


def test_a_refused_line_is_found_and_parked(tmp_path: Path, picky: Picky) -> None:
    path = tmp_path / "journal.db"
    picky.poison = "value=66.5"
    with mirroring(path, picky.url) as writer:
        writer.put(*(reading(seq, 66.5 if seq in {7, 8, 31} else 91.0) for seq in range(1, 41)))
        wait_until(lambda: len(picky.taken) == 37 and nothing_waits(path), 10, "the others")
    with Reader(path) as reader:
        parked = reader.mirror_parked()
    refused = [int(line.rsplit(" ", 1)[1]) for _, line, _ in parked]
    assert refused == [T0_MS + seq * 1000 for seq in (7, 8, 31)]
    assert {why for _, _, why in parked} == {'400: {"message":"field type conflict"}'}
    assert len(set(picky.taken)) == 37


def test_a_receiver_that_refuses_everything_parks_nothing(tmp_path: Path, picky: Picky) -> None:
    path = tmp_path / "journal.db"
    picky.status = 400
    with mirroring(path, picky.url) as writer:
        writer.put(*(reading(seq) for seq in range(1, 41)))
        wait_until(lambda: told(path), 10, "the log")
        picky.status = 204
        wait_until(lambda: len(set(picky.taken)) == 40 and nothing_waits(path), 10, "all lines")
    assert "check its url, org and bucket" in str(told(path)[0]["why"])
    with Reader(path) as reader:
        assert reader.mirror_parked() == []


def test_too_much_at_once_is_halved(tmp_path: Path, picky: Picky) -> None:
    path = tmp_path / "journal.db"
    picky.most_lines = 10
    with mirroring(path, picky.url) as writer:
        writer.put(*(reading(seq) for seq in range(1, 41)))
        wait_until(lambda: len(picky.taken) == 40 and nothing_waits(path), 10, "all lines")
    assert picky.taken == sorted(picky.taken, key=lambda line: int(line.rsplit(" ", 1)[1]))


@pytest.mark.parametrize(
    ("status", "headers", "word"),
    [
        (401, {}, "check the token"),
        (404, {}, "check the url, org and bucket"),
        (429, {"Retry-After": "1"}, "429"),
        (503, {"Retry-After": "1"}, "503"),
        (500, {}, "500"),
    ],
)
def test_other_answers_keep_every_line(
    tmp_path: Path, picky: Picky, status: int, headers: dict[str, str], word: str
) -> None:
    path = tmp_path / "journal.db"
    picky.status, picky.headers = status, headers
    with mirroring(path, picky.url) as writer:
        writer.put(*(reading(seq) for seq in range(1, 11)))
        wait_until(lambda: told(path), 10, "the log")
        assert picky.requests == 1  # it waits, as asked, and does not hammer
        picky.status, picky.headers = 204, {}
        wait_until(lambda: len(picky.taken) == 10 and nothing_waits(path), 10, "all lines")
    assert word in str(told(path)[0]["why"])


def test_unsent_lines_wait_for_the_next_start_and_the_last_go_again(tmp_path: Path, picky: Picky) -> None:
    path = tmp_path / "journal.db"
    with mirroring(path, f"http://{HOST}:{free_port()}") as writer:
        writer.put(*(reading(seq) for seq in range(1, 11)))
        wait_until(lambda: told(path), 10, "nobody there")
    with mirroring(path, picky.url):
        wait_until(lambda: len(picky.taken) == 10 and nothing_waits(path), 10, "all lines")
    with mirroring(path, picky.url):
        wait_until(lambda: len(picky.taken) == 20, 10, "the last half minute again")
    assert picky.taken[:10] == picky.taken[10:]


def test_lines_too_old_are_dropped_and_counted(tmp_path: Path) -> None:
    path = tmp_path / "journal.db"
    settings = StoreSettings(keep_days=10_000)
    writer = Writer(path, SystemClock(), settings, lambda _: None, lambda ok, why: None)
    writer.keep_lines(line_of)
    writer.start()
    writer.put(*(reading(seq) for seq in range(1, 101)))
    assert writer.flush()
    writer.put(MirrorDrop(0, T0_MS + 31_000))
    assert writer.close()
    with Reader(path) as reader:
        assert reader.mirror_waiting() == 70
        assert {name: n for (_, name, _), n in reader.counters("2000", "2100").items()} == {
            "mirror-line-dropped": 30
        }


def line(sensor: str, value: float, series: SeriesRow, verdict: Verdict = GOOD) -> str | None:
    return line_of(ReadingRow(1, Instant(5, 5), Reading(sensor, value, 1_790_000_000_123), verdict), series)


def test_lines_are_written_as_the_protocol_says() -> None:
    """Worked by hand from the line protocol's description (measurement, tags, fields, time; escapes of comma,
    equals sign and space in tag values; integers end in i)."""
    assert line("tent-1", 91.0, TENT) == (
        "humidity,sensor=tent-1,space=tent,zone=middle value=91.0,quality=0i 1790000000123"
    )
    bad = Verdict(Quality.BAD, Mark.OUT_OF_RANGE)
    outdoors = SeriesRow("a,b c=d", "temperature", "Cel", None, "")
    assert line("a,b c=d", -4.25, outdoors, bad) == (
        "temperature,sensor=a\\,b\\ c\\=d value=-4.25,quality=2i 1790000000123"
    )
    assert line("tent-1", float("inf"), TENT) is None


def test_the_client_is_not_imported_before_there_is_a_mirror() -> None:
    """Its 20 MB are for those who use it."""
    code = "import sys, gillhouse.store.mirror; print('influxdb_client' in sys.modules)"
    python = subprocess.run(
        [sys.executable, "-c", code], capture_output=True, text=True, timeout=60, check=True
    )
    assert python.stdout == "False\n"
