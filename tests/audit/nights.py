"""Stores with an invented night in them, for the tests of the audit, written by the store's own writer.

`Book` is a store one fills by hand; `lived_night` lets the real core decide over scripted readings.
"""

from collections.abc import Callable, Iterable
from datetime import datetime
from pathlib import Path
from zoneinfo import ZoneInfo

from gillhouse.clock import SystemClock
from gillhouse.config import Config, load_files, shipped_dir
from gillhouse.core.edges import StoreSettings
from gillhouse.core.farm import Farm
from gillhouse.core.inputs import (
    DEADLINE,
    Act,
    Delivery,
    Due,
    Input,
    OperatorAction,
    Reading,
    RelayReport,
    Started,
)
from gillhouse.core.instant import Instant
from gillhouse.core.outputs import AlarmNotice, Authority, Command, Event
from gillhouse.core.readings import GOOD, Mark, Quality, Verdict
from gillhouse.core.reasons import Reason
from gillhouse.store import rows
from gillhouse.store.reader import Reader
from gillhouse.store.writer import Writer
from gillhouse.timers import Timers

ROME = ZoneInfo("Europe/Rome")
HOUR_MS = 3_600_000
LATE = Verdict(Quality.SUSPECT, Mark.LATE)


def at(text: str) -> int:
    """Wall milliseconds of a Rome time such as `2026-10-14 20:00`."""
    return int(datetime.fromisoformat(text).replace(tzinfo=ROME).timestamp() * 1000)


def shipped_config(**changed: str) -> Config:
    """The shipped example farm with its relays let go, and texts of it replaced."""
    text = (
        (shipped_dir() / "farm.yaml")
        .read_text(encoding="utf-8")
        .replace("advise_only: yes", "advise_only: no")
    )
    for old, new in changed.values():
        assert old in text, old
        text = text.replace(old, new)
    return load_files({"farm.yaml": text})


class Book:
    """A store filled row by row, in one transaction."""

    def __init__(self, path: Path, config: Config, begin_ms: int) -> None:
        self.path, self.config, self.seq = path, config, 1
        self.rows: list[rows.Entry] = [
            rows.ConfigRow(config.digest, begin_ms, config.files),
            rows.SegmentRow(1, Instant(begin_ms, 0), config.digest, "test", "start", {}),
        ]
        self.begin_ms = begin_ms
        self.rows += [
            rows.SeriesRow(sensor.id, sensor.quantity.value, "1", sensor.space, sensor.zone)
            for sensor in config.farm.sensors.values()
        ]

    def instant(self, ms: int) -> Instant:
        return Instant(ms, ms - self.begin_ms)

    def reading(self, sensor: str, ms: int, value: float, verdict: Verdict = GOOD) -> int:
        delivery = Delivery.LATE if verdict.mark is Mark.LATE else Delivery.LIVE
        self.rows.append(
            rows.ReadingRow(
                self._next(), self.instant(ms), Reading(sensor, value, ms, delivery=delivery), verdict
            )
        )
        return self.seq - 1

    def readings(self, sensor: str, begin_ms: int, every_s: float, values: Iterable[float]) -> None:
        for place, value in enumerate(values):
            self.reading(sensor, begin_ms + int(place * every_s * 1000), value)

    def command(self, relay: str, ms: int, on: bool, lease_s: float = 0, **more: object) -> None:
        command = Command(
            relay,
            on,
            int(lease_s * 1000),
            Authority.DEMAND,
            Reason.AIR_DRY if on else Reason.RUN_ENDED,
            **more,  # type: ignore[arg-type]
        )
        self.rows.append(rows.CommandRow(self._next(), ms, command))

    def event(self, ms: int, event: Event) -> None:
        self.rows.append(rows.EventRow(self._next(), ms, event))

    def alarm(self, ms: int, notice: AlarmNotice) -> None:
        self.rows.append(rows.AlarmRow(self._next(), ms, notice))

    def add(self, row: rows.Entry) -> None:
        self.rows.append(row)

    def input(self, ms: int, item: Input) -> None:
        self.rows.append(rows.InputRow(self._next(), self.instant(ms), item))

    def _next(self) -> int:
        self.seq += 1
        return self.seq - 1

    def close(self) -> Reader:
        writer = Writer(self.path, SystemClock(), StoreSettings(), lambda _: None, lambda *_: None)
        writer.start()
        for row in self.rows:
            writer.put(row)
        assert writer.flush(60.0), "the store did not take the night"
        assert writer.close(60.0)
        return Reader(self.path)


def lived(
    path: Path,
    config: Config,
    begin_ms: int,
    hours: float,
    values: Callable[[str, float], float | None],
    actions: Iterable[tuple[float, Input]] = (),
) -> Reader:
    """A night the real core lived through.

    Args:
        values: (sensor, hours since the begin) -> its reading, or None while it is silent.
        actions: (hours since the begin, what a person did), in order.
    """
    book, farm = Book(path, config, begin_ms), Farm(config.farm)
    timers = Timers(config.farm.programmes.values(), config.farm.zone, {})
    timers.rebuild(book.instant(begin_ms))
    _decide(book, farm, begin_ms, Started("test", config.digest, True, None))
    acted = [(begin_ms + int(when * HOUR_MS), action) for when, action in actions]
    for moment, reporting in _reports(config, begin_ms, hours):
        _deadlines(book, farm, timers, moment)
        while acted and acted[0][0] <= moment:
            _decide(book, farm, *acted.pop(0))
        for sensor in reporting:
            value = values(sensor, (moment - begin_ms) / HOUR_MS)
            if value is not None:
                _decide(book, farm, moment, Reading(sensor, value, moment, own_time=True))
    return book.close()


def _reports(config: Config, begin_ms: int, hours: float) -> list[tuple[int, list[str]]]:
    """(moment, sensors that report then), in order of time."""
    found: dict[int, list[str]] = {}
    for sensor in config.farm.sensors.values():
        for place in range(int(hours * HOUR_MS / sensor.every_ms)):
            found.setdefault(begin_ms + place * sensor.every_ms + 137, []).append(sensor.id)
    return sorted(found.items())


def _deadlines(book: Book, farm: Farm, timers: Timers, until_ms: int) -> None:
    """Everything that comes due before `until_ms`: the core's own deadlines and the programmes' due times."""
    while True:
        times = (farm.next_deadline_ms(), timers.next_ms(book.instant(until_ms)))
        coming = min((at for at in times if at is not None), default=None)
        if coming is None or coming + book.begin_ms > until_ms:
            return
        ms = coming + book.begin_ms
        due = timers.pop_due(book.instant(ms)) or [Due(DEADLINE, ms)]
        for one in due:
            _decide(book, farm, ms, one)


def _decide(book: Book, farm: Farm, ms: int, item: Input) -> None:
    seq, echoes = book.seq, []
    outcome = farm.handle(seq, book.instant(ms), item)
    if isinstance(item, Reading):
        assert outcome.verdict is not None
        book.add(rows.ReadingRow(seq, book.instant(ms), item, outcome.verdict))
    else:
        book.add(rows.InputRow(seq, book.instant(ms), item))
    book.seq += 1
    for command in outcome.commands:
        book.add(rows.CommandRow(seq, ms, command))
        if not command.renewal and not command.advise:
            echoes.append(RelayReport(command.relay, command.on))
    for event in outcome.events:
        book.add(rows.EventRow(seq, ms, event))
    for notice in outcome.notices:
        book.add(rows.AlarmRow(seq, ms, notice))
    for echo in echoes:  # boards that answer at once
        _decide(book, farm, ms, echo)


def note(space: str, text: str, who: str = "helper 1") -> OperatorAction:
    return OperatorAction(Act.NOTE, space, who, text)
