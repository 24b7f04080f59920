"""What the journal holds for the pest clock: hours of temperature, where a batch stood, what people saw.

Here: asking the store. Not here: the clock (`ahead.pest_clock`), words (`pests_told`).
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from itertools import zip_longest
from statistics import fmean

from gillhouse.ahead.cap_wet import AirAt
from gillhouse.ahead.diary import Entry, read
from gillhouse.ahead.warmth import HOUR_MS
from gillhouse.audit.journal_series import on_spans as relay_spans
from gillhouse.audit.journal_series import relays_of, sensors_of, series
from gillhouse.config import Config
from gillhouse.core.kind_limits import in_block
from gillhouse.core.outputs import EventKind
from gillhouse.core.quantities import Quantity
from gillhouse.core.settings import Role, SensorSettings
from gillhouse.records.batch_book import Book, Place
from gillhouse.store.hours import HOLD_MS
from gillhouse.store.reader import Reader

FOREVER_MS = 1 << 48
LEAST_KNOWN_MS = 20 * 60_000
"""An hour of which less is known counts as missing. Our choice, no source."""
PAIR_MS = 10 * 60_000
"""A temperature goes with a humidity this near in time."""


@dataclass(frozen=True, slots=True)
class Noted:
    """A sighting or count, with who wrote it down."""

    entry: Entry
    space: str
    who: str
    number: int | None


def noted(reader: Reader, config: Config) -> list[Noted]:
    """Every sighting and count that was not put right by a later note, in order of when it happened."""
    notes = list(reader.events(0, FOREVER_MS, EventKind.NOTE))
    put_right = {at.event.facts["corrects"] for at in notes if "corrects" in at.event.facts}
    found = []
    for at in notes:
        entry = read(str(at.event.facts.get("text", "")), config.farm.zone)
        if entry is not None and at.seq not in put_right:
            found.append(Noted(entry, at.event.subject, str(at.event.facts.get("who", "")), at.seq))
    return sorted(found, key=lambda one: one.entry.at_ms)


def block_sensors(config: Config, space: str) -> list[SensorSettings]:
    return [one for one in config.farm.sensors.values() if in_block(one) and one.space == space]


def warmth_sensors(config: Config, space: str) -> list[SensorSettings]:
    """Those inside blocks where there are any, for that is where larvae live; else the air's."""
    return block_sensors(config, space) or sensors_of(config, space, Quantity.TEMPERATURE)


def logged_hours(
    reader: Reader, sensors: Iterable[SensorSettings], from_ms: int, to_ms: int
) -> dict[int, float]:
    """Mean of each hour over the sensors that know it, degrees C.

    The store's sums of hours reach back farthest; what they do not hold yet comes from the readings.
    """
    found: dict[int, list[float]] = {}
    for sensor in sensors:
        own: dict[int, float] = {
            one.begin_ms: one.mean
            for one in reader.hours(sensor.id, from_ms, to_ms)
            if one.known_ms >= LEAST_KNOWN_MS
        }
        begin_ms = max(max(own, default=from_ms - HOUR_MS) + HOUR_MS, from_ms)
        own |= _unsummed(reader, sensor, begin_ms, to_ms)
        for begin, mean in own.items():
            found.setdefault(begin, []).append(mean)
    return {begin: fmean(means) for begin, means in sorted(found.items())}


def _unsummed(reader: Reader, sensor: SensorSettings, from_ms: int, to_ms: int) -> dict[int, float]:
    """Hours of readings, each of which holds until the next for a while, as in the store's own sums."""
    held: dict[int, float] = {}
    sums: dict[int, float] = {}
    readings = series(reader, [sensor], (from_ms, to_ms))
    for (ms, value), (after_ms, _) in zip_longest(readings, readings[1:], fillvalue=(to_ms, 0.0)):
        end_ms = min(after_ms, ms + HOLD_MS, ms - ms % HOUR_MS + HOUR_MS)
        begin = ms - ms % HOUR_MS
        held[begin] = held.get(begin, 0.0) + end_ms - ms
        sums[begin] = sums.get(begin, 0.0) + value * (end_ms - ms)
    return {begin: sums[begin] / ms for begin, ms in held.items() if ms >= LEAST_KNOWN_MS}


def of_places(reader: Reader, config: Config, places: Sequence[Place], to_ms: int) -> dict[int, float]:
    """The hours a batch lived through, wherever it stood."""
    found: dict[int, float] = {}
    for place in places:
        end_ms = to_ms if place.to_ms is None else place.to_ms
        sensors = warmth_sensors(config, place.space)
        found |= logged_hours(reader, sensors, place.from_ms - place.from_ms % HOUR_MS, end_ms)
    return found


def standing_in(books: Sequence[Book], space: str, at_ms: int) -> list[Book]:
    """The batches that stood in a space at a moment."""
    return [
        book
        for book in books
        if any(
            place.space == space
            and place.from_ms <= at_ms
            and (at_ms < place.to_ms if place.to_ms is not None else book.ended_ms is None)
            for place in book.places
        )
    ]


def air_of(reader: Reader, config: Config, space: str, span: tuple[int, int]) -> list[AirAt]:
    """The space's air as pairs of temperature and humidity."""
    humid = series(reader, sensors_of(config, space, Quantity.HUMIDITY), span)
    warm = series(reader, sensors_of(config, space, Quantity.TEMPERATURE), span)
    found: list[AirAt] = []
    place = 0
    for ms, humidity in humid:
        while place + 1 < len(warm) and warm[place + 1][0] <= ms:
            place += 1
        if warm and abs(warm[place][0] - ms) <= PAIR_MS:
            found.append(AirAt(ms, warm[place][1], humidity))
    return found


def mist_of(reader: Reader, config: Config, space: str, span: tuple[int, int]) -> list[tuple[int, int]]:
    return relay_spans(reader, relays_of(config, space, Role.MIST), span)
