"""What a batch has been through: hours inside and outside of what its stage wants, place by place.

Here: the hold rule's sums (`hold`) over the places and stages of a batch's book. Its own species' figures are
the measure, whatever the space was held for: a batch in the wrong room shows it. Read day by day, so that a
long life needs no more memory than a short one. Not here: words.
"""

from collections.abc import Iterator
from dataclasses import dataclass

from gillhouse.audit import hold
from gillhouse.audit.evidence import Evidence, config_at, gather
from gillhouse.audit.figures import air
from gillhouse.audit.night import REPORTED, AuditError, Window
from gillhouse.core.bands_meet import band_of
from gillhouse.core.crops import Stage
from gillhouse.core.quantities import Quantity
from gillhouse.records.batch_book import Book
from gillhouse.store.reader import Reader

DAY_MS = 86_400_000


@dataclass(slots=True)
class Exposure:
    """A batch's time in one place at one stage. Milliseconds."""

    space: str
    rack: str
    stage: Stage
    flush: int
    from_ms: int
    to_ms: int
    quantities: dict[Quantity, "Spent"]


@dataclass(slots=True)
class Spent:
    """How one quantity was meanwhile. What is not inside, below or above is unknown."""

    low: float | None
    high: float | None
    inside_ms: int = 0
    below_ms: int = 0
    above_ms: int = 0
    unknown_ms: int = 0
    least: float | None = None
    most: float | None = None


def exposure(reader: Reader, book: Book, now_ms: int) -> list[Exposure]:
    """Every place and stage of the batch up to now, in order."""
    return [_one(reader, book, piece) for piece in _pieces(book, now_ms)]


def _pieces(book: Book, now_ms: int) -> Iterator[Exposure]:
    for place in book.places:
        for stage in book.stages:
            begin = max(place.from_ms, stage.from_ms)
            end = min(place.to_ms or now_ms, stage.to_ms or now_ms, now_ms)
            if begin < end:
                yield Exposure(place.space, place.rack, stage.stage, stage.flush, begin, end, {})


def _one(reader: Reader, book: Book, piece: Exposure) -> Exposure:
    farm = config_at(reader, piece.from_ms).farm
    species = farm.species.get(book.species)
    profile = species.stages.get(piece.stage) if species else None
    for quantity in REPORTED:
        band = band_of(profile, quantity) if profile else None
        piece.quantities[quantity] = Spent(band.low if band else None, band.high if band else None)
    begin = piece.from_ms
    while begin < piece.to_ms:
        end = min(begin + DAY_MS, piece.to_ms)
        window = Window(begin, end, farm.zone)
        try:
            evidence = gather(reader, window, end)
        except AuditError:  # the log holds nothing of that day
            evidence = None
        for quantity, spent in piece.quantities.items():
            _add(spent, evidence, (piece.space, quantity), window)
        begin = end
    return piece


def _add(spent: Spent, evidence: Evidence | None, what: tuple[str, Quantity], window: Window) -> None:
    space, quantity = what
    settings = evidence.latest.farm.spaces.get(space) if evidence else None
    steps = [] if evidence is None or settings is None else air(evidence, settings, quantity)[1]
    sums = hold.tally(hold.cut(steps, [hold.Limits(window.from_ms, window.to_ms, spent.low, spent.high)]))
    spent.inside_ms += sums.inside_ms
    spent.below_ms += sums.below_ms
    spent.above_ms += sums.above_ms
    spent.unknown_ms += window.lasts_ms - sums.covered_ms
    if sums.least is not None and sums.most is not None:
        spent.least = sums.least if spent.least is None else min(spent.least, sums.least)
        spent.most = sums.most if spent.most is None else max(spent.most, sums.most)
