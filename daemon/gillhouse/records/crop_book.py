"""What was picked, lost and seen of a batch, read from the notes of the log beside the batch's own book.

Here: finding a batch's entries, where it stood and at which flush it was; what cannot be. Not here: sums
(`yields`), words for a page. Reads only. An entry belongs to the use of the name that covers its moment.
"""

from dataclasses import dataclass
from datetime import tzinfo

from gillhouse.core.crops import Stage
from gillhouse.core.outputs import EventKind
from gillhouse.errors import StoreError
from gillhouse.records.batch_book import FOREVER_MS, Book
from gillhouse.records.crop_notes import CropEntry, Filled, Lost, Picked, read
from gillhouse.store.reader import Reader

MINUTE_MS = 60_000
"""Entries are kept to the minute; so is their batch's begin when they are held against it."""


@dataclass(frozen=True, slots=True)
class CropLine:
    """An entry with who wrote it down and its number in the journal."""

    entry: CropEntry
    ts: int
    """When it was written down."""
    who: str
    number: int | None
    corrects: int | None


def crop_lines(reader: Reader, zone: tzinfo) -> list[CropLine]:
    """Every entry that was not put right by a later note, in order of when it happened."""
    notes = list(reader.events(0, FOREVER_MS, EventKind.NOTE))
    put_right = {at.event.facts["corrects"] for at in notes if "corrects" in at.event.facts}
    found = []
    for at in notes:
        facts = at.event.facts
        entry = read(str(facts.get("text", "")), zone)
        if entry is None or at.seq in put_right:
            continue
        corrects = facts.get("corrects")
        found.append(
            CropLine(
                entry,
                at.ts,
                str(facts.get("who", "")),
                at.seq,
                corrects if isinstance(corrects, int) else None,
            )
        )
    return sorted(found, key=lambda one: one.entry.about.at_ms)


def of(book: Book, lines: list[CropLine]) -> list[CropLine]:
    """Those of one batch."""
    return [
        one for one in lines if one.entry.about.batch == book.batch and covers(book, one.entry.about.at_ms)
    ]


def covers(book: Book, at_ms: int) -> bool:
    """Whether the batch was there at that moment."""
    begun_ms = book.stages[0].from_ms
    return (
        begun_ms - begun_ms % MINUTE_MS <= at_ms <= (FOREVER_MS if book.ended_ms is None else book.ended_ms)
    )


def flush_then(book: Book, at_ms: int) -> int:
    """Which flush a batch was at."""
    return next((one.flush for one in reversed(book.stages) if one.from_ms <= at_ms), book.stages[0].flush)


def space_then(book: Book, at_ms: int) -> str:
    """Where a batch stood."""
    return next((one.space for one in reversed(book.places) if one.from_ms <= at_ms), book.places[0].space)


def pinning_began(book: Book) -> dict[int, int]:
    """When pinning began, by flush."""
    found: dict[int, int] = {}
    for one in book.stages:
        if one.stage is Stage.PINNING:
            found.setdefault(one.flush, one.from_ms)
    return found


def check_believable(book: Book, entry: CropEntry, others: list[CropLine]) -> None:
    """Holds an entry against what is known of its batch.

    Raises:
        StoreError: it cannot be; the message says why and what to do.
    """
    if isinstance(entry, Picked) and entry.kg + entry.waste_kg > book.kg:
        raise StoreError(
            f"{entry.kg + entry.waste_kg:g} kg picked is more than all the blocks of {book.batch} weighed"
            f" ({book.kg:g} kg); weigh again, or look at the batch's name"
        )
    if isinstance(entry, Filled) and entry.dry_kg >= book.kg:
        raise StoreError(
            f"{entry.dry_kg:g} kg dry is not less than the wet blocks of {book.batch} ({book.kg:g} kg);"
            " give the weight of the substrate without its water"
        )
    if isinstance(entry, Lost):
        _check_lost(book, entry, others)
    for one in others:
        if one.entry == entry:
            raise StoreError(
                f"that stands in the book already (number {one.number}); give --on another minute if it"
                " happened twice"
            )


def _check_lost(book: Book, entry: Lost, others: list[CropLine]) -> None:
    filled = [one.entry.blocks for one in others if isinstance(one.entry, Filled)]
    lost = entry.blocks + sum(one.entry.blocks for one in others if isinstance(one.entry, Lost))
    if filled and filled[-1] is not None and lost > filled[-1]:
        raise StoreError(f"{lost} blocks lost of {filled[-1]} that {book.batch} had; count again")
