"""What an unknown message seems to be, for somebody who is finding out what the boards on the broker say.

Guesses only: by the names of keys, by units written beside a number, and by well-known pairs of words. A bare
number says nothing of its quantity, and is offered without one. Key names and word pairs: common practice, no
source.
"""

import math
import re
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

from gillhouse.core.quantities import UNITS, Quantity
from gillhouse.errors import PayloadError
from gillhouse.payloads.json_pointer import parse
from gillhouse.payloads.number import SPELLINGS, text_of
from gillhouse.payloads.senml import Record, resolve

MOST_GUESSES = 32
"""A message with more values than this is a log, not a reading."""

NAMES: tuple[tuple[Quantity, re.Pattern[str]], ...] = tuple(
    (quantity, re.compile(pattern, re.IGNORECASE))
    for quantity, pattern in (
        (Quantity.HUMIDITY, r"hum|(^|[^a-z])r_?h($|[^a-z])|rel.?h"),
        (Quantity.CO2, r"co2|carbon"),
        (Quantity.TEMPERATURE, r"temp|(^|[^a-z])(t|t_?c|t_?f|deg_?[cf])($|[^a-z])|celsius|fahrenheit"),
        (Quantity.PRESSURE, r"press|baro|hpa"),
        (Quantity.LIGHT, r"lux|light|illum"),
        (Quantity.WIND, r"wind"),
        (Quantity.DOOR, r"door|gate|contact"),
        (Quantity.TANK, r"tank|float|water_?level"),
        (Quantity.PEOPLE, r"people|person|presence|occup|motion|pir"),
        (Quantity.MAINS, r"mains|grid|on_?line_?power"),
    )
)
TIME_NAMES = re.compile(r"^(ts|time|timestamp|epoch|date|datetime|at|when|utc)$", re.IGNORECASE)
SEQ_NAMES = re.compile(r"^(seq|sequence|count|counter|n|nr|msg_?id|message_?id)$", re.IGNORECASE)
WORD_PAIRS = (
    ("open", "closed"), ("open", "close"), ("on", "off"), ("true", "false"), ("yes", "no"),
    ("wet", "dry"), ("full", "empty"), ("online", "offline"), ("occupied", "empty"),
)  # fmt: skip
DEFAULT_UNITS: dict[Quantity, str] = {
    Quantity.HUMIDITY: "%", Quantity.TEMPERATURE: "degC", Quantity.CO2: "ppm", Quantity.PRESSURE: "hPa",
    Quantity.LIGHT: "lx", Quantity.WIND: "m/s",
}  # fmt: skip
"""What a number of this quantity most often is in."""


@dataclass(frozen=True, slots=True)
class Guess:
    """One value in a message, and what it may be. Fields are named as in `SensorRoute`."""

    format: str
    shown: str
    """The value as it stands there."""
    quantity: Quantity | None = None
    unit: str | None = None
    path: str | None = None
    senml_name: str | None = None
    words: tuple[str, str] | None = None
    time_path: str | None = None
    seq_path: str | None = None


def looks_like(payload: bytes, topic: str = "") -> list[Guess]:
    """What a message seems to be, likeliest first; empty where no reading seems to be in it.

    Args:
        topic: its names help where the payload has none.
    """
    try:
        text = text_of(payload)
        stripped = text.strip()
        if stripped[:1] in ("{", "["):
            return _in_json(parse(payload), topic)
    except PayloadError:
        return []
    guess = _in_text(stripped, topic)
    return [] if guess is None else [guess]


def _named(name: str) -> Quantity | None:
    """The quantity whose name stands in `name`, looked for from its end."""
    for part in reversed(re.split(r"[/.]", name)):
        for quantity, pattern in NAMES:
            if pattern.search(part):
                return quantity
    return None


def _in_text(text: str, topic: str) -> Guess | None:
    named = _named(topic)
    for pair in WORD_PAIRS:
        if text.casefold() in pair:
            return Guess("words", text, named, "1", words=pair)
    found = re.fullmatch(r"([+-]?\d+(?:[.,]\d+)?)\s*(\D*)", text)
    if found is None:
        return None
    unit = found.group(2).strip()
    if not unit:
        return Guess("number", text, named, DEFAULT_UNITS.get(named) if named else None)
    known = SPELLINGS.get(unit, unit)
    owners = [quantity for quantity, units in UNITS.items() if known in units]
    if not owners:
        return None
    return Guess("number", text, named if named in owners else owners[0], known)


def _in_json(document: Any, topic: str) -> list[Guess]:
    if isinstance(document, list):
        try:
            return [_of_record(record) for record in resolve(document)[:MOST_GUESSES]]
        except PayloadError:  # an ordinary list
            pass
    leaves = list(_leaves(document, ""))[:MOST_GUESSES]
    keys = {path: path.rsplit("/", 1)[-1] for path, _ in leaves}
    time_path = next((path for path, _ in leaves if TIME_NAMES.match(keys[path])), None)
    seq_path = next((path for path, _ in leaves if SEQ_NAMES.match(keys[path])), None)
    guesses = [
        _of_leaf(path, value, topic, (time_path, seq_path))
        for path, value in leaves
        if path not in (time_path, seq_path)
    ]
    found = [guess for guess in guesses if guess is not None]
    return sorted(found, key=lambda guess: guess.quantity is None)


def _leaves(document: Any, path: str) -> Iterator[tuple[str, Any]]:
    """Every value that is no object or list, with its pointer (RFC 6901 section 3: `~` and `/` escaped)."""
    if isinstance(document, dict):
        for key, value in document.items():
            yield from _leaves(value, f"{path}/{key.replace('~', '~0').replace('/', '~1')}")
    elif isinstance(document, list):
        for index, value in enumerate(document):
            yield from _leaves(value, f"{path}/{index}")
    else:
        yield path, document


def _of_leaf(path: str, value: Any, topic: str, extra: tuple[str | None, str | None]) -> Guess | None:
    time_path, seq_path = extra
    quantity = _named(path) or _named(topic)
    if isinstance(value, bool):
        return Guess(
            "words", str(value).lower(), quantity, "1", path, None, ("true", "false"), time_path, seq_path
        )
    if isinstance(value, str):
        word = _in_text(value.strip(), path)
        if word is None:
            return None
        form = "words" if word.words else "json"
        return Guess(form, value, word.quantity, word.unit, path, None, word.words, time_path, seq_path)
    if isinstance(value, int | float) and math.isfinite(value):
        unit = DEFAULT_UNITS.get(quantity) if quantity else None
        return Guess("json", str(value), quantity, unit, path, None, None, time_path, seq_path)
    return None


def _of_record(record: Record) -> Guess:
    unit = SPELLINGS.get(record.unit or "", record.unit)
    owners = [quantity for quantity, units in UNITS.items() if unit in units]
    named = _named(record.name.replace(":", "/"))
    quantity = named if named in owners or not owners else owners[0]
    words = ("true", "false") if isinstance(record.value, bool) else None
    return Guess("senml", str(record.value), quantity, unit, senml_name=record.name, words=words)
