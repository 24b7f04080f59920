"""`gillhouse measure`: the last run read back from a real store, and the talk with a running daemon's socket.

The run is lived by the real core on a simulated room (tests/core/test_measuring.py) and written into a store
by the store's own writer; what is true is read from the room.
"""

import json
import threading
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner

from audit.nights import Book
from commands.measured_farm import written
from core.measured_room import PLAN, MeasuredRoom
from gillhouse.__main__ import cli
from gillhouse.commands.measure import watched
from gillhouse.config import load
from gillhouse.core.edges import PersonSettings
from gillhouse.core.farm import Farm
from gillhouse.core.inputs import DEADLINE, Due, Input, Measure, Measured, OperatorAction, Reading, Started
from gillhouse.core.instant import Instant
from gillhouse.core.outputs import Outcome
from gillhouse.core.quantities import Quantity
from gillhouse.core.step_plan import PHASE_WORDS, Phase
from gillhouse.local import LocalServer
from gillhouse.requests import answer

BEGIN_MS = 1_760_000_000_000
_TAIL = {Quantity.HUMIDITY: "rh", Quantity.TEMPERATURE: "temp", Quantity.CO2: "co2"}


class Living:
    """The real core over the simulated room, everything it said kept in a store's rows."""

    def __init__(self, folder: Path) -> None:
        plan = replace(PLAN, volume_m3=30.0, substrate_kg=120.0, crop_m2=3.6, leak_m2=0.009)
        self.room = MeasuredRoom(1, plan, fan_m3_s=105.0 / 3600, mist_kg_s=11.0 / 3600)
        self.room.heat = True
        self.config = load(written(folder))
        self.book = Book(folder / "journal.db", self.config, BEGIN_MS)
        self.farm = Farm(self.config.farm)
        self.ms = 0
        self.given: list[Input] = []
        self.submit(Started("test", self.config.digest, True))

    def submit(self, item: Input) -> Outcome:
        self.given.append(item)
        now = self.book.instant(BEGIN_MS + self.ms)
        if isinstance(item, Reading):
            seq = self.book.reading(item.sensor, BEGIN_MS + self.ms, item.value)
        else:
            self.book.input(BEGIN_MS + self.ms, item)
            seq = self.book.seq - 1
        out = self.farm.handle(seq, now, item)
        for command in out.commands:
            lease_s = command.lease_ms / 1000
            self.book.command(command.relay, BEGIN_MS + self.ms, command.on, lease_s, renewal=command.renewal)
        for event in out.events:
            self.book.event(BEGIN_MS + self.ms, event)
        return out

    @property
    def people(self) -> tuple[PersonSettings, ...]:
        return ()

    def status(self) -> dict[str, Any]:
        return self.farm.status(self.book.instant(BEGIN_MS + self.ms))

    def live(self, minutes: float) -> None:
        end = self.ms + int(minutes * 60_000)
        while self.ms < end:
            due = self.farm.next_deadline_ms()
            self.ms += 2_000
            if due is not None and due <= self.ms:
                self.submit(Due(DEADLINE, BEGIN_MS + self.ms))
            self.room.run(2)
            for what in ("fan", "mist"):
                self.room.switch(what, self.farm._state.relays[f"room-{what}"].on)
            if self.ms % 30_000 == 0:
                self._report()

    def _report(self) -> None:
        for quantity, values in self.room.said.items():
            if values and values[-1][0] == self.room.ms:
                self.submit(Reading(f"room-{_TAIL[quantity]}", values[-1][1], BEGIN_MS + self.ms))


def _lived(folder: Path, minutes: float) -> Living:
    living = Living(folder)
    living.live(10)
    living.submit(Measure("room", "ana"))
    living.live(minutes)
    living.book.close().close()
    return living


@pytest.fixture(scope="module")
def whole(tmp_path_factory: pytest.TempPathFactory) -> Iterator[tuple[Living, Path]]:
    folder = tmp_path_factory.mktemp("measured")
    living = _lived(folder, 330)
    assert not living.status()["measuring"]["room"]["run"]["running"]
    yield living, folder


def _figures(folder: Path) -> dict[str, Any]:
    done = CliRunner().invoke(cli, ["measure", "room", "--last", "--json", "--state", str(folder)])
    assert done.exit_code == 0, f"{done.output}{done.exception}"
    found: dict[str, Any] = json.loads(done.stdout)
    return found


def test_the_last_run_gives_back_what_the_room_was_made_with(whole: tuple[Living, Path]) -> None:
    living, folder = whole
    found = _figures(folder)
    assert found["refused"] == []
    for name, true in (
        ("fan_m3_per_h", living.room.added_m3_per_h()),
        ("co2_m3_per_h", living.room.source_m3_per_h()),
        ("intake_ppm", 425.0 + living.room.sensors[Quantity.CO2].bias),
    ):
        assert found[name]["low"] <= true <= found[name]["high"], name
    assert 0.3 < found["useful_share"]["value"] < 0.9


def test_a_person_is_told_figure_interval_and_label(whole: tuple[Living, Path]) -> None:
    done = CliRunner().invoke(cli, ["measure", "room", "--last", "--state", str(whole[1])], input="n\n")
    for words in ("its label says 120", "fit interval", "as true as the volume", "Use these in place"):
        assert words in done.output


def test_a_run_cut_short_is_refused(tmp_path: Path) -> None:
    living = Living(tmp_path)
    living.live(10)
    living.submit(Measure("room", "ana"))
    living.live(20)
    living.submit(Reading("room-door", 1.0, BEGIN_MS + living.ms))
    living.book.close().close()
    found = _figures(tmp_path)
    assert found["refused"] == ["the run is incomplete, it was given up: the door is open"]
    done = CliRunner().invoke(cli, ["measure", "room", "--last", "--use", "--state", str(tmp_path)])
    assert done.exit_code != 0


def test_no_run_is_said_plainly(tmp_path: Path) -> None:
    living = Living(tmp_path)
    living.live(2)
    living.book.close().close()
    done = CliRunner().invoke(cli, ["measure", "room", "--last", "--state", str(tmp_path)])
    assert done.exit_code != 0
    assert "no measuring run of room" in f"{done.output}{done.exception}"


@pytest.fixture
def answering(tmp_path: Path) -> Iterator[tuple[Living, Path]]:
    """A daemon's socket with the real requests behind it, over a living core."""
    living = Living(tmp_path)
    living.live(10)
    server = LocalServer(tmp_path, lambda request, who: answer(living, request, who))
    server.start()
    yield living, tmp_path
    server.stop()


def _run(folder: Path, *words: str, **more: Any) -> str:
    done = CliRunner().invoke(cli, ["measure", "room", *words, "--state", str(folder)], **more)
    return f"{done.output}{done.exception or ''}"


def test_it_is_not_begun_before_somebody_has_looked_inside(answering: tuple[Living, Path]) -> None:
    living, folder = answering
    assert "not begun" in _run(folder, input="n\n")
    assert "not begun" in _run(folder, "--json")
    assert not any(isinstance(item, Measure) for item in living.given)


def test_it_can_be_ended_and_its_figures_taken_back(answering: tuple[Living, Path]) -> None:
    living, folder = answering
    living.submit(Measure("room", "ana"))
    assert "decides for itself again" in _run(folder, "--end")
    assert living.status()["measuring"]["room"]["run"]["why"] == "by-hand"
    assert "labels count again" in _run(folder, "--labels")
    assert isinstance(living.given[-1], Measured)


def test_a_refusal_is_told_with_its_reason(answering: tuple[Living, Path]) -> None:
    living, folder = answering
    living.submit(Reading("room-door", 1.0, BEGIN_MS + living.ms))
    assert "not begun: the door is open" in _run(folder, "--nobody-inside")
    assert not any(isinstance(item, OperatorAction) for item in living.given)


def test_figures_are_put_to_use_by_the_daemon(whole: tuple[Living, Path]) -> None:
    living, folder = whole
    server = LocalServer(folder, lambda request, who: answer(living, request, who))
    server.start()
    try:
        assert "in use from now on" in _run(folder, "--last", "--use")
    finally:
        server.stop()
    fan = living.farm._plan.settings.relays["room-fan"].air_m3_per_h
    assert fan == pytest.approx(_figures(folder)["fan_m3_per_h"]["value"], abs=0.01)


class _LivingClock:
    """A clock whose waiting lets the room live on for five minutes."""

    def __init__(self, living: Living) -> None:
        self._living = living

    def now(self) -> Instant:
        return self._living.book.instant(BEGIN_MS + self._living.ms)

    def wait(self, condition: threading.Condition, until_mono_ms: int | None) -> None:
        self._living.live(5)


def test_a_run_is_watched_to_its_end(answering: tuple[Living, Path]) -> None:
    living, folder = answering
    living.submit(Measure("room", "ana"))
    said = [words.partition(" (CO2")[0].strip() for words in watched(folder, "room", _LivingClock(living))]
    assert list(dict.fromkeys(said)) == [
        PHASE_WORDS[phase] for phase in (Phase.REST, Phase.AIR, Phase.MIST, Phase.AGAIN, Phase.DONE)
    ]
    assert said[-1] == "done"
