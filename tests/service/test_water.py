"""What people do about water, from the command line to the journal, with and without a daemon.

Farm and air are invented. By hand: at 20 C and 80 % still air takes 0.390 mm a day (`core/test_drying`); the
guessed wind makes that 0.651 over the windy edge, so 0.15 mm last 5.5 h.
"""

import itertools
import json
import signal
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner
from farm import Daemon
from paho.mqtt import publish

from audit.nights import at, lived, shipped_config
from gillhouse.__main__ import cli
from gillhouse.commands import water_told
from gillhouse.core.outputs import EventKind
from gillhouse.core.reasons import Reason
from gillhouse.replay import replay
from gillhouse.store.reader import Reader
from servers import MosquittoBroker, wait_until

BEGIN = at("2026-10-13 20:00")
BARN = """\
farm: {{name: Test farm, zone: UTC, advise_only: no}}
broker: {{host: 127.0.0.1, port: {port}, protocol: "5", client_id: under-test}}
spaces:
  barn:
    {{name: Barn, kind: open, walk_in: no, volume_m3: 9, crop: {{species: shiitake, stage: fruiting, kg: 4}}}}
sensors:
  barn-rh:
    {{space: barn, quantity: humidity, unit: "%", topic: t/rh, format: number, every: 1 s, calibrated: yes}}
  barn-temp: {{space: barn, quantity: temperature, unit: degC, topic: t/temp, format: number, every: 1 s}}
relays:
  barn-mist:
    {{space: barn, role: mist, driver: mqtt, litres_per_h: 4, only_door_closed: no, not_with_people: no,
     command: {{topic: t/mist/set, on: "ON {{seconds}}", off: "OFF"}}}}
"""


@pytest.fixture
def state(tmp_path: Path) -> Path:
    """A farm that has lived for some minutes; no daemon runs."""
    lived(tmp_path / "journal.db", shipped_config(), BEGIN, 0.1, lambda sensor, hours: 80.0 + hours).close()
    return tmp_path


def run(state: Path, *words: str, code: int = 0) -> str:
    done = CliRunner().invoke(cli, [*words, "--state", str(state)])
    assert done.exit_code == code, done.output
    return done.output


def water(state: Path) -> list[Reason | None]:
    with Reader(state / "journal.db") as reader:
        return [one.event.reason for one in reader.events(0, 1 << 62, EventKind.WATER)]


@pytest.mark.parametrize(
    ("words", "said", "reason"),
    [
        (("barn", "--hosed"), "its caps count as wet", Reason.HOSED),
        (("barn", "hosed the west edge, two cans"), "noted for barn", Reason.HOSED),
        (("room-mist", "--cleaned", "vinegar"), "litres count anew", Reason.CLEANED),
        (("room-fan", "--cleaned"), "settles anew", Reason.CLEANED),
        (("room-mist", "--flushed"), "counts as fresh", Reason.FLUSHED),
        (("room-mist", "--drained"), "until it sprays again", Reason.DRAINED),
    ],
)
def test_recorded_while_no_daemon_runs(state: Path, words, said, reason) -> None:
    assert said in run(state, "note", *words)
    assert water(state) == [reason]


@pytest.mark.parametrize("words", [("tent", "--hosed"), ("barn", "--dry"), ("room-light", "--cleaned")])
def test_what_makes_no_sense_changes_nothing_and_says_so(state: Path, words) -> None:
    assert "nothing was changed: there is no such thing" in run(state, "note", *words, code=1)
    assert water(state) == []


def test_a_note_without_words_is_refused(state: Path) -> None:
    assert "write what is to be noted" in run(state, "note", "barn", code=2)


@pytest.fixture
def daemon(tmp_path: Path, broker: MosquittoBroker) -> Iterator[Daemon]:
    one = Daemon(tmp_path, broker)
    one.config.write_text(BARN.format(port=broker.port), encoding="utf-8")
    yield one
    one.kill()


def test_hose_and_frost_through_a_daemon_and_a_broker(broker: MosquittoBroker, daemon: Daemon) -> None:
    """Hosed by hand, the outlook stands in `now`. Then frost: no mist though a person asks for it."""
    rh = itertools.cycle((80.0, 80.1))
    daemon.start()
    wait_until(daemon.connected, 10, "the broker")

    def barn(celsius: float) -> dict[str, Any]:
        air = [("t/temp", str(celsius)), ("t/rh", str(next(rh)))]
        publish.multiple(air, hostname=broker.host, port=broker.port)
        space: dict[str, Any] = json.loads(daemon.run("now", "--json"))["spaces"]["barn"]
        return space

    wait_until(lambda: barn(20.0)["quantities"]["humidity"]["value"], 20, "the air to be known")
    daemon.run("note", "barn", "--hosed")
    first = barn(20.0)["caps"]["outlook"]
    assert first["zone"] == "windy edge"
    assert first["dry_min"] == pytest.approx(60 * 24 * 0.15 / 0.651, rel=0.05)
    assert "wind guessed; hosed 0 min ago" in daemon.run("now")
    wait_until(lambda: barn(1.0)["lines"]["barn-mist"]["freezing"], 20, "the cold to be believed")
    daemon.run("override", "barn-mist", "on", "--for", "1m", "--why", "looks dry")
    told = daemon.run("now")
    assert "line near freezing, no mist: drain it" in told
    assert "! DRAIN DOWN" in told
    daemon.signal(signal.SIGTERM)
    assert daemon.wait() == 0
    with Reader(daemon.state / "journal.db") as reader:
        refused = [one.event.reason for one in reader.events(0, 1 << 48, EventKind.REFUSED)]
        assert Reason.NEAR_FREEZING in refused
        assert replay(reader, 0, 1 << 48).first is None


def test_now_in_words() -> None:
    first = {"zone": "windward", "dry_min": 0, "within_min": 45, "wind": ""}
    one = {"hosed_ms": 0, "outlook": first, "reach": [60.2, 84.0], "within_reach_pct": 91.0}
    assert water_told.caps(one, 3 * 3_600_000) == [
        "caps         dry, hose within 45 min, windward first; hosed 3 h ago",
        "own reach    60..84 % at this time of day lately; as good as it comes 91 % of the time",
    ]
    none = {"hosed_ms": None, "outlook": None, "reach": None, "within_reach_pct": None}
    assert water_told.caps(none, 0) == [
        "caps         nobody told of a hosing yet: gillhouse note SPACE --hosed"
    ]
    assert water_told.caps(None, 0) == []
    line = {"freezing": False, "drained": False, "stood_h": 80.0, "descale_litres": 480.0, "litres": 390.0}
    assert water_told.lines({"m": line}) == [
        f"{'m':<20} line water stood for 80 h; 390 of 480 l until it wants descaling"
    ]
    assert water_told.lines({"m": {**line, "stood_h": 1.0, "litres": 3.0}}) == []
