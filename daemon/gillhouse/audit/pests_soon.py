"""What the morning says of flies: the next that can come out within days, and cards that fill up.

Here: a sentence or two a space where a batch stands. Told are pests that were seen, and those of the crop
itself; what could merely come in anywhere is left to `gillhouse pests`. Not here: any reckoning (`ahead`),
wet caps (the night tells those by its own account).
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import tzinfo

from gillhouse.ahead.pest_clock import DAY_MS, Sign
from gillhouse.ahead.pests import Pest
from gillhouse.audit.pests_asked import Asked, PestOutlook, outlook
from gillhouse.audit.pests_log import standing_in
from gillhouse.audit.pests_told import day
from gillhouse.config import Config
from gillhouse.records.batch_book import Book
from gillhouse.store.reader import Reader

SOON_MS = 7 * DAY_MS
"""Told of so long before: time to pick, clear and clean. Common practice, no source."""
FRESH_MS = 10 * DAY_MS
"""A card counted longer ago says nothing of now."""


@dataclass(frozen=True, slots=True)
class Soon:
    space: str
    pest: str
    words: str
    source: str


def soon(
    reader: Reader, config: Config, pests: Mapping[str, Pest], books: Sequence[Book], wall_ms: int
) -> tuple[Soon, ...]:
    """What there is to say of each space at a moment, in the farm's order of spaces."""
    found: list[Soon] = []
    for space in config.farm.spaces:
        if not standing_in(books, space, wall_ms):
            continue
        asked = Asked(space, None, None, None, wall_ms, {}, with_caps=False)
        for one in outlook(reader, config, pests, books, asked).pests:
            words = [*_clearing(one, wall_ms, config.farm.zone), *_cards(one, wall_ms)]
            if words:
                source = one.pest.stages[0].pace.source if one.pest.is_sourced else "your log only"
                found.append(Soon(space, one.pest.id, f"{one.pest.name}: {'; '.join(words)}", source))
    return tuple(found)


def _clearing(one: PestOutlook, wall_ms: int, zone: tzinfo) -> list[str]:
    """The day to clear by, where it is near: of pests that were seen, and of those of this very crop."""
    if one.clear_by_ms is None or one.clear_by_ms > wall_ms + SOON_MS or one.begin is None:
        return []
    if one.begin.sign is Sign.OPENED and not one.pest.crops:
        return []
    sure = "if any came in, the next" if one.begin.sign is Sign.OPENED else "the next"
    by = day(one.clear_by_ms, zone)
    return [f"{sure} {one.pest.young} can come out from {by} on, pick and clear before"]


def _cards(one: PestOutlook, wall_ms: int) -> list[str]:
    last_ms = max((each.at_ms for each in one.catches), default=0)
    if one.trend is None or one.trend.doubling_days is None or wall_ms - last_ms > FRESH_MS:
        return []
    return [f"on cards they double in {one.trend.doubling_days:.0f} days"]
