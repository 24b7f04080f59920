"""The trial night that the tests of this directory share, and an ear of our own on its broker."""

import json
import shutil
import sqlite3
import threading
from collections.abc import Iterator
from contextlib import closing, contextmanager
from dataclasses import dataclass
from functools import cached_property
from math import ceil
from pathlib import Path
from types import TracebackType
from typing import Any, Self

import paho.mqtt.client as paho
import pytest
from click.testing import CliRunner
from paho.mqtt.enums import CallbackAPIVersion

from gillhouse.commands import demo
from gillhouse.config import Config, load
from gillhouse.core.crops import Stage
from gillhouse.sim.broker import HOST, TrialBroker
from gillhouse.sim.trial import night_from_ms
from gillhouse.store import JOURNAL
from gillhouse.store.reader import Reader

HOUR_MS = 3_600_000
LAST_WORD = "ear/last-word"
QUARTER_MS = 15 * 60_000
PACE_PER_H = {"humidity": 2.0, "temperature": 1.0, "co2": 1000.0}
"""Bands go over to a new stage so fast, in steps of a quarter of an hour (docs/how-to/batches.md)."""


class Ear:
    """Hears every topic of a broker, from before the boards and the daemon are there."""

    def __init__(self, port: int) -> None:
        self.heard: list[tuple[str, bytes]] = []
        self._ready, self._over = threading.Event(), threading.Event()
        self._client = paho.Client(CallbackAPIVersion.VERSION2, client_id="ear", protocol=paho.MQTTv311)
        self._client.on_message = self._hear
        self._client.on_subscribe = lambda *_: self._ready.set()
        self._client.connect(HOST, port)
        self._client.subscribe("#", 1)
        self._client.loop_start()
        assert self._ready.wait(10), "the trial's broker confirmed no subscription"

    def _hear(self, _client: Any, _data: Any, message: paho.MQTTMessage) -> None:
        if message.topic == LAST_WORD:
            self._over.set()
        else:
            self.heard.append((message.topic, bytes(message.payload)))

    def finish(self) -> None:
        """Returns when everything published so far has been heard: our own last word came after it."""
        self._client.publish(LAST_WORD, b"", 1)
        heard_all = self._over.wait(30)
        self._client.disconnect()
        self._client.loop_stop()
        assert heard_all, "the ear did not hear its own last word"


class HeardBroker(TrialBroker):
    """The trial's own broker, listened to."""

    ears: list[Ear]

    def __enter__(self) -> Self:
        super().__enter__()
        self.ears.append(Ear(self.port))
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.ears[-1].finish()
        super().__exit__(kind, error, trace)


@dataclass(frozen=True)
class Lived:
    """What `gillhouse demo` left behind."""

    out: Path
    said: str
    hours: float
    heard: tuple[tuple[str, bytes], ...]

    @cached_property
    def config(self) -> Config:
        """The trial's own farm file, as anybody may load it."""
        return load(self.out / "farm.yaml")

    @property
    def from_ms(self) -> int:
        return night_from_ms(self.config)

    @property
    def to_ms(self) -> int:
        return self.from_ms + int(self.hours * HOUR_MS)

    @property
    def text(self) -> str:
        return (self.out / "night.json").read_text(encoding="utf-8")

    @cached_property
    def told(self) -> dict[str, Any]:
        found: dict[str, Any] = json.loads(self.text)
        return found

    @property
    def journal(self) -> Path:
        return self.out / JOURNAL

    def reader(self) -> Reader:
        return Reader(self.journal)

    @contextmanager
    def rows(self) -> Iterator[sqlite3.Connection]:
        """The journal through nothing but the database's own library."""
        with closing(sqlite3.connect(f"file:{self.journal}?mode=ro", uri=True)) as db:
            db.row_factory = sqlite3.Row
            yield db

    @cached_property
    def stages(self) -> list[tuple[int, str, str, str]]:
        """(when, space, species, stage) of every stage that a person began."""
        with self.rows() as db:
            rows = db.execute("SELECT wall_ms, body FROM inputs WHERE kind = 'BatchAction'").fetchall()
        acts = [(row["wall_ms"], json.loads(row["body"])) for row in rows]
        added = {body["batch"]: (body["space"], body["species"]) for _, body in acts if body["act"] == "add"}
        return [(at, *added[one["batch"]], one["stage"]) for at, one in acts if one["act"] == "stage"]

    def steps(self, space: str) -> list[int]:
        """When the bands of a space may have moved: each quarter of an hour of the day after a new stage."""
        begun = [at for at, where, *_ in self.stages if where == space]
        return [at + quarter * QUARTER_MS for at in begun for quarter in range(97)]

    def band(self, space: str, quantity: str, at_ms: int) -> tuple[float | None, float | None]:
        """The edges in force at a moment, worked out anew from farm file, species file and what was done."""
        (given,) = [band for key, band in self.config.farm.spaces[space].bands.items() if key == quantity]
        for begun_ms, where, species, stage in self.stages:
            if where != space or at_ms < begun_ms:
                continue
            wish = getattr(self.config.farm.species[species].stages[Stage(stage)], quantity)
            edges = [(getattr(given, edge), getattr(wish, edge)) for edge in EDGES]
            way = max(abs(new - old) for old, new in edges if old is not None and new is not None)
            quarters = ceil(way / PACE_PER_H[quantity] * 4)
            part = min((at_ms - begun_ms) // QUARTER_MS / quarters, 1.0) if quarters else 1.0
            return _between(given.low, wish.low, part), _between(given.high, wish.high, part)
        return given.low, given.high

    def relays(self) -> dict[str, dict[str, Any]]:
        """The relays of night.json by id, shared ones too."""
        told = self.told
        every = [*told["shared"]["relays"], *(relay for space in told["nights"] for relay in space["relays"])]
        return {relay["id"]: relay for relay in every}


EDGES = ("alarm_low", "low", "target", "high", "alarm_high")


def _between(old: float | None, new: float | None, part: float) -> float | None:
    return None if old is None or new is None else round(old + part * (new - old), 2)


def live(out: Path, hours: float, farm: Path | None = None, seed: int = 1) -> Lived:
    """Runs the command as a grower does, in this process."""
    arguments = ["--hours", str(hours), "--seed", str(seed), "--out", str(out)]
    if farm is not None:
        arguments += ["--config", str(farm)]
    HeardBroker.ears = []
    with pytest.MonkeyPatch.context() as patched:
        patched.setattr(demo, "TrialBroker", HeardBroker)
        result = CliRunner().invoke(demo.command, arguments, catch_exceptions=False)
    assert result.exit_code == 0, result.output
    return Lived(out, result.output, hours, tuple(HeardBroker.ears[-1].heard))


def config_copy(source: Path, target: Path, room_low: float) -> Config:
    """A copy of a farm's files in which the room's lower humidity limit is another; everything else stays.

    Args:
        source: a directory with farm.yaml, and species where there are any.
    """
    target.mkdir(parents=True)
    lines = (source / "farm.yaml").read_text(encoding="utf-8").splitlines(keepends=True)
    (room,) = [place for place, line in enumerate(lines) if line.startswith("  room:")]
    lines.insert(room + 1, f"    bands:\n      humidity: {{low: {room_low:g}}}\n")
    (target / "farm.yaml").write_text("".join(lines), encoding="utf-8")
    if (source / "species").is_dir():
        shutil.copytree(source / "species", target / "species")
    return load(target / "farm.yaml")
