"""One space's or batch's outlook: the models of `ahead` over what the journal holds.

Here: which sign each pest's clock starts from, until when it runs, and what is left out and why. Not here:
asking the store (`pests_log`), the models (`ahead`), words (`pests_told`).
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from gillhouse.ahead import traps
from gillhouse.ahead.cap_wet import WetCaps, wet_caps
from gillhouse.ahead.crop_end import crop_end
from gillhouse.ahead.diary import Caught, Larvae, Seen
from gillhouse.ahead.moulds import cobweb_hours, hours_over
from gillhouse.ahead.pest_clock import (
    DAY_MS,
    Begin,
    Generations,
    Sign,
    Sure,
    Window,
    clear_by_ms,
    generations,
    how_sure,
    windows,
)
from gillhouse.ahead.pests import Pest, PestStage
from gillhouse.ahead.warmth import Hour, hourly
from gillhouse.audit.pests_log import (
    Noted,
    air_of,
    block_sensors,
    logged_hours,
    mist_of,
    noted,
    of_places,
    standing_in,
)
from gillhouse.config import Config
from gillhouse.core.batches import Batch
from gillhouse.records.batch_book import Book, Place
from gillhouse.store.reader import Reader

CROP_MS = 42 * DAY_MS
"""Looked ahead where no end of the crop is known: six weeks. Common practice, no source."""
BEFORE_MS = 30 * DAY_MS
"""Hours before the sign: adults that were seen had lived a while."""
BEYOND_MS = 60 * DAY_MS
"""Hours beyond the crop, so that windows that begin in it can end."""
SIGNS_MS = 90 * DAY_MS
"""Where no batch says since when, older sightings are of another time."""
CAPS_MS = 14 * DAY_MS
"""Wet caps are told of so many days."""


@dataclass(frozen=True, slots=True)
class Asked:
    """What to look at, and how."""

    space: str
    book: Book | None
    """Of a batch; None: the space as a whole."""
    opened_ms: int | None
    until_ms: int | None
    """The planned end, where the grower says it."""
    now_ms: int
    forecast: Mapping[int, float]
    only: str | None = None
    """One pest."""
    with_caps: bool = True
    """Wet caps too, which reads every reading of two weeks."""


@dataclass(frozen=True, slots=True)
class End:
    """When the crop ends."""

    from_ms: int
    to_ms: int
    told: bool
    """By the grower; else by the usual days of its species."""


@dataclass(frozen=True, slots=True)
class PestOutlook:
    pest: Pest
    begin: Begin | None
    windows: tuple[Window, ...]
    generations: Generations | None
    """Before the crop's end."""
    clear_by_ms: int | None
    sure: Sure | None
    catches: tuple[traps.Catch, ...]
    trend: traps.Trend | None
    usual: traps.Usual | None
    larvae: int | None
    """Of the last count."""


@dataclass(frozen=True, slots=True)
class Outlook:
    asked: Asked
    end: End | None
    pests: tuple[PestOutlook, ...]
    block: bool
    """Temperatures are of the inside of blocks, not of the air."""
    hours_logged: int
    caps: WetCaps
    caps_from_ms: int
    block_over: dict[float, int]
    """Hours inside blocks over each limit; empty without a sensor there."""
    cobweb_h: float
    left_out: int
    """Sightings and counts after the batch was gone."""


def outlook(
    reader: Reader, config: Config, pests: Mapping[str, Pest], books_known: Sequence[Book], asked: Asked
) -> Outlook:
    """What is coming up in one space, or for one batch."""
    books = [asked.book] if asked.book else standing_in(books_known, asked.space, asked.now_ms)
    gone_ms = asked.book.ended_ms if asked.book else None
    since_ms = _since(asked, books)
    here = [
        one
        for one in noted(reader, config)
        if one.space == asked.space and since_ms <= one.entry.at_ms <= asked.now_ms
    ]
    kept = [one for one in here if gone_ms is None or one.entry.at_ms <= gone_ms]
    opened_ms = asked.opened_ms if asked.opened_ms is not None else _opened(asked, books)
    end = _end(config, books, asked)
    until_ms = max(end.to_ms if end else asked.now_ms + CROP_MS, since_ms)
    logged = _logged(reader, config, asked, min(since_ms, opened_ms or since_ms))
    first_ms = min([since_ms, *([opened_ms] if opened_ms else [])]) - BEFORE_MS
    hours = hourly(logged, asked.forecast, first_ms, max(until_ms, asked.now_ms) + BEYOND_MS)
    species = {book.species for book in books}
    caps_from_ms = max(asked.now_ms - CAPS_MS, since_ms)
    span = (caps_from_ms, asked.now_ms if gone_ms is None else max(gone_ms, caps_from_ms))
    blocks = logged_hours(reader, block_sensors(config, asked.space), since_ms, asked.now_ms)
    return Outlook(
        asked=asked,
        end=end,
        pests=tuple(
            _pest(pest, hours, _signs(kept, pest), (opened_ms, until_ms, asked.now_ms))
            for pest in _chosen(pests, species, kept, asked.only)
        ),
        block=bool(block_sensors(config, asked.space)),
        hours_logged=len(logged),
        caps=_caps(reader, config, asked, span),
        caps_from_ms=caps_from_ms,
        block_over=hours_over(blocks.values()) if blocks else {},
        cobweb_h=cobweb_hours(temp for at, temp in logged.items() if at >= caps_from_ms),
        left_out=len(here) - len(kept),
    )


def _caps(reader: Reader, config: Config, asked: Asked, span: tuple[int, int]) -> WetCaps:
    if not asked.with_caps:
        return WetCaps((), 0, None, None)
    mist = mist_of(reader, config, asked.space, span)
    return wet_caps(air_of(reader, config, asked.space, span), mist, span[1])


def _since(asked: Asked, books: Sequence[Book]) -> int:
    """From when sightings count: since the first batch came, or was opened; else the last months."""
    if asked.opened_ms is not None:
        return asked.opened_ms
    return min((_came(book, asked.space) for book in books), default=asked.now_ms - SIGNS_MS)


def _came(book: Book, space: str) -> int:
    """When a batch came to a space; when it was made, where it never stood there."""
    return min((one.from_ms for one in book.places if one.space == space), default=book.places[0].from_ms)


def _opened(asked: Asked, books: Sequence[Book]) -> int | None:
    return min((_came(book, asked.space) for book in books), default=None)


def _end(config: Config, books: Sequence[Book], asked: Asked) -> End | None:
    if asked.until_ms is not None:
        return End(asked.until_ms, asked.until_ms, True)
    if asked.book is not None and asked.book.ended_ms is not None:
        return End(asked.book.ended_ms, asked.book.ended_ms, True)
    found = []
    for book in books:
        kind = config.species.get(book.species)
        last = book.stages[-1]
        standing = Batch(
            book.batch, book.species, last.stage, book.kg, asked.space, "", last.from_ms, last.from_ms,
            flush=last.flush,
        )  # fmt: skip
        usual = None if kind is None else crop_end(standing, kind)
        if usual is not None:
            found.append(End(usual.from_ms, usual.to_ms, False))
    return max(found, key=lambda one: one.to_ms, default=None)


def _logged(reader: Reader, config: Config, asked: Asked, from_ms: int) -> dict[int, float]:
    begin_ms = from_ms - BEFORE_MS
    standing = [Place(asked.space, "", begin_ms)]
    if asked.book is None:
        return of_places(reader, config, standing, asked.now_ms)
    first = asked.book.places[0]
    before = [Place(first.space, "", begin_ms, first.from_ms)] if begin_ms < first.from_ms else []
    return of_places(reader, config, [*before, *asked.book.places], asked.now_ms)


def _chosen(
    pests: Mapping[str, Pest], species: set[str], kept: Sequence[Noted], only: str | None
) -> list[Pest]:
    """The one asked for; else those of these crops, and every one that was seen."""
    if only is not None:
        return [pests[only]]
    seen = {one.entry.pest for one in kept}
    return [
        pest
        for pest in pests.values()
        if pest.id in seen or not pest.crops or not species or species & set(pest.crops)
    ]


@dataclass(frozen=True, slots=True)
class _Signs:
    seen: tuple[Seen, ...]
    catches: tuple[traps.Catch, ...]
    larvae: tuple[Larvae, ...]


def _signs(kept: Sequence[Noted], pest: Pest) -> _Signs:
    entries = [one.entry for one in kept if one.entry.pest == pest.id]
    return _Signs(
        tuple(one for one in entries if isinstance(one, Seen)),
        tuple(one.catch for one in entries if isinstance(one, Caught)),
        tuple(one for one in entries if isinstance(one, Larvae)),
    )


def _first_sign(signs: _Signs, opened_ms: int | None) -> Begin | None:
    """The first sighting, or first card that caught something; else the day the space was opened."""
    found = [Begin(Sign.SEEN, one.at_ms, one.stage, opened_ms) for one in signs.seen]
    found += [Begin(Sign.SEEN, one.at_ms, PestStage.LARVA, opened_ms) for one in signs.larvae if one.count]
    rise_ms = traps.first_rise_ms(signs.catches)
    if rise_ms is not None:
        found.append(Begin(Sign.CAUGHT, rise_ms, since_ms=opened_ms))
    if opened_ms is not None and not found:
        found.append(Begin(Sign.OPENED, opened_ms))
    return min(found, key=lambda one: one.at_ms, default=None)


def _pest(
    pest: Pest, hours: Sequence[Hour], signs: _Signs, times: tuple[int | None, int, int]
) -> PestOutlook:
    """`times`: when it was opened, the crop's end, now."""
    opened_ms, until_ms, now_ms = times
    begin = _first_sign(signs, opened_ms)
    found: list[Window] = []
    counted = sure = None
    if begin is not None and pest.is_sourced and hours:
        found = windows(pest, hours, begin, until_ms)
        counted = generations(pest, hours, begin.at_ms, until_ms)
        sure = how_sure(pest, hours, begin.at_ms, until_ms)
    return PestOutlook(
        pest=pest,
        begin=begin,
        windows=tuple(found),
        generations=counted,
        clear_by_ms=clear_by_ms(found, now_ms),
        sure=sure,
        catches=signs.catches,
        trend=traps.trend(signs.catches),
        usual=traps.usual(signs.catches),
        larvae=signs.larvae[-1].count if signs.larvae else None,
    )
