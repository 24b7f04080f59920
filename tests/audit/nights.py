"""Stores with an invented night in them, for the tests of the audit. Rows are written by the store's own code.

`Book` is a store one fills by hand; `lived_night` lets the real core decide over scripted readings.
"""

from collections.abc import Callable, Iterable
from datetime import datetime, timedelta
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

ROME = ZoneInfo("Europe/Rome")
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
    actions: Iterable[tuple[float, OperatorAction]] = (),
) -> Reader:
    """A night the real core lived through.

    Args:
        values: (sensor, hours since the begin) -> its reading, or None while it is silent.
        actions: (hours since the begin, what a person did), in order.
    """
    book, farm = Book(path, config, begin_ms), Farm(config.farm)
    end_ms = begin_ms + int(hours * 3_600_000)
    _decide(book, farm, begin_ms, Started("test", config.digest, True, None))
    due = [(begin_ms + int(when * 3_600_000), action) for when, action in actions]
    moments = {
        begin_ms + place * sensor.every_ms + 137
        for sensor in config.farm.sensors.values()
        for place in range(int((end_ms - begin_ms) / sensor.every_ms))
    }
    for moment in sorted(moments):
        _deadlines(book, farm, moment)
        while due and due[0][0] <= moment:
            _decide(book, farm, *due.pop(0))
        for sensor in config.farm.sensors.values():
            if (moment - 137 - begin_ms) % sensor.every_ms == 0:
                value = values(sensor.id, (moment - begin_ms) / 3_600_000)
                if value is not None:
                    _decide(book, farm, moment, Reading(sensor.id, value, moment, own_time=True))
    return book.close()


def _deadlines(book: Book, farm: Farm, until_ms: int) -> None:
    while (deadline := farm.next_deadline_ms()) is not None and deadline + book.begin_ms <= until_ms:
        ms = deadline + book.begin_ms
        _decide(book, farm, ms, Due(DEADLINE, ms))


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


def hours_later(begin_ms: int, hours: float) -> int:
    return begin_ms + int(timedelta(hours=hours) / timedelta(milliseconds=1))
