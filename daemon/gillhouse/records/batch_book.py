"""A batch's book: where it stood, at which stage, from when to when, and who did what. Read from the log.

Here: the log's entries on batches, put in order. Not here: what the air was like meanwhile
(`audit.exposure`); nothing is written. A batch's name may be used again after its end; each use is a book of
its own.
"""

from collections.abc import Iterator
from dataclasses import dataclass, field

from gillhouse.core.crops import Stage
from gillhouse.core.outputs import EventKind, Facts
from gillhouse.core.reasons import Reason
from gillhouse.store.reader import Reader
from gillhouse.store.records import EventAt

FOREVER_MS = 1 << 48


@dataclass(slots=True)
class Place:
    """Where a batch stood. `to_ms` None: it is there still."""

    space: str
    rack: str
    from_ms: int
    to_ms: int | None = None


@dataclass(slots=True)
class StageTime:
    """A stage a batch went through. `to_ms` None: it is in it still."""

    stage: Stage
    flush: int
    from_ms: int
    to_ms: int | None = None


@dataclass(frozen=True, slots=True)
class Entry:
    """One line of the book."""

    ts: int
    """When it was written down; when it happened is in the facts, as `at_ms`."""
    reason: Reason
    facts: Facts


@dataclass(slots=True)
class Book:
    batch: str
    species: str
    kg: float
    places: list[Place] = field(default_factory=list)
    stages: list[StageTime] = field(default_factory=list)
    entries: list[Entry] = field(default_factory=list)
    ended_ms: int | None = None


def books(reader: Reader) -> list[Book]:
    """Every batch the log knows, in the order they were added."""
    open_books: dict[str, Book] = {}
    found: list[Book] = []
    for at in _entries(reader):
        name = at.event.subject
        if at.event.reason is Reason.BATCH_ADDED:
            open_books[name] = book = _opened(at)
            found.append(book)
        elif name in open_books:
            _write(open_books[name], at)
            if at.event.reason is Reason.BATCH_ENDED:
                del open_books[name]
    return found


def book(reader: Reader, batch: str) -> Book | None:
    """The last batch of that name; None if there never was one."""
    return next((one for one in reversed(books(reader)) if one.batch == batch), None)


def _entries(reader: Reader) -> Iterator[EventAt]:
    for at in reader.events(0, FOREVER_MS, EventKind.BATCH):
        if at.event.reason is not None and "batch" in at.event.facts:
            yield at


def _opened(at: EventAt) -> Book:
    facts = at.event.facts
    begun_ms = _whole(facts, "at_ms", at.ts)
    book = Book(at.event.subject, str(facts["species"]), _number(facts, "kg"))
    book.places.append(Place(str(facts["space"]), str(facts["rack"]), begun_ms))
    book.stages.append(StageTime(Stage(str(facts["stage"])), 1, begun_ms))
    _write(book, at)
    return book


def _write(book: Book, at: EventAt) -> None:
    reason, facts = at.event.reason, at.event.facts
    assert reason is not None  # _entries lets no other through
    book.entries.append(Entry(at.ts, reason, facts))
    happened_ms = _whole(facts, "at_ms", at.ts)
    if reason is Reason.BATCH_MOVED:
        book.kg = _number(facts, "kg")
        place = Place(str(facts["space"]), str(facts["rack"]), max(happened_ms, book.places[-1].from_ms))
        book.places[-1].to_ms = place.from_ms
        book.places.append(place)
    elif reason is Reason.STAGE_BEGUN:
        flush = _whole(facts, "flush", 1)
        begun = StageTime(Stage(str(facts["stage"])), flush, max(happened_ms, book.stages[-1].from_ms))
        book.stages[-1].to_ms = begun.from_ms
        book.stages.append(begun)
    elif reason is Reason.BATCH_ENDED:
        book.ended_ms = max(happened_ms, book.places[-1].from_ms, book.stages[-1].from_ms)
        book.places[-1].to_ms = book.stages[-1].to_ms = book.ended_ms


def _whole(facts: Facts, name: str, default: int) -> int:
    value = facts.get(name)
    return value if isinstance(value, int) else default


def _number(facts: Facts, name: str) -> float:
    value = facts.get(name)
    return float(value) if isinstance(value, int | float) else 0.0
