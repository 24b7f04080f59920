"""Format `senml`: SenML in JSON (RFC 8428), base fields resolved by us.

A pack is resolved once a message (section 4.6): names joined, base values added, times made absolute or left
relative. A sensor takes the records of its resolved name, several of them where a board sends a batch.
Not here: SenML in CBOR, XML or EXI; sums (`s`, `bs`) and data values (`vd`), which no sensor of ours has.
"""

import re
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

from gillhouse.core.edges import SensorRoute
from gillhouse.core.quantities import MEASURES
from gillhouse.payloads.json_pointer import number_of, parse
from gillhouse.payloads.number import Scale
from gillhouse.payloads.reject import Reject, refused, shown
from gillhouse.payloads.sample import CLOCK_SET_FROM_MS, Sample
from gillhouse.payloads.words import Words

ABSOLUTE_FROM_S = float(1 << 28)
"""Times from here up are Unix seconds, smaller ones are relative to now. Source: RFC 8428 section 4.5.3."""
FURTHEST_S = 1e11
"""No time beyond this (the year 5138) is meant, nor one further back than `ABSOLUTE_FROM_S`. Our choice."""
VERSION = 10
"""The newest pack version we read. Source: RFC 8428 section 4.4 (`bver`, 10 by default)."""
VALUE_FIELDS = ("v", "vs", "vb", "vd")
RATIO = "/"
"""SenML's name for a plain ratio (RFC 8428 section 12.1), which UCUM calls `1`."""

_NAME = re.compile(r"[A-Za-z0-9][A-Za-z0-9\-:./_]*")  # RFC 8428 section 4.5.1


@dataclass(frozen=True, slots=True)
class Record:
    """One record with its base fields worked in."""

    name: str
    unit: str | None
    value: float | str | bool | None
    """`v` with the base value added, or `vs`, or `vb`; None for a sum or data alone."""
    time_s: float
    """Base time plus time: Unix seconds, or seconds relative to now."""


Pack = dict[str, list[Record]]
"""Resolved name -> its records, in the pack's order."""


def parse_pack(payload: bytes) -> Pack:
    """The resolved pack in a message.

    Raises:
        PayloadError: as `json_pointer.parse`, or BAD_SENML or TIME_BAD.
    """
    pack: Pack = {}
    for record in resolve(parse(payload)):
        pack.setdefault(record.name, []).append(record)
    return pack


def resolve(document: Any) -> list[Record]:
    """The records of a pack, resolved.

    Raises:
        PayloadError: BAD_SENML, or TIME_BAD for a time beyond all calendars.
    Source: RFC 8428 sections 4.1 to 4.6.
    """
    if not isinstance(document, list) or not document:
        raise refused(Reject.BAD_SENML, f"a pack is a list of records, not {shown(document)}")
    base: dict[str, Any] = {}
    return [_resolve_one(raw, base) for raw in document]


def _resolve_one(raw: Any, base: dict[str, Any]) -> Record:
    """Resolves one record; `base` is carried from record to record."""
    if not isinstance(raw, dict):
        raise refused(Reject.BAD_SENML, f"a record is an object, not {shown(raw)}")
    for key, value in raw.items():
        if key.endswith("_"):  # section 4.4: who does not know such a field may not read the pack
            raise refused(Reject.BAD_SENML, f"field {shown(key)} must be understood and is not")
        if key in ("bn", "bt", "bu", "bv", "bver"):
            base[key] = value
    if _number(base, "bver", VERSION) > VERSION:
        raise refused(Reject.BAD_SENML, f"version {shown(base['bver'])} is newer than {VERSION}")
    name = _text(base, "bn") + _text(raw, "n")
    if not _NAME.fullmatch(name):
        raise refused(Reject.BAD_SENML, f"{shown(name)} is no SenML name")
    time_s = _number(base, "bt") + _number(raw, "t")
    if not -ABSOLUTE_FROM_S < time_s < FURTHEST_S:
        raise refused(Reject.TIME_BAD, f"{shown(time_s)} is no time")
    return Record(name, (_text(raw, "u") or _text(base, "bu")) or None, _value(raw, base), time_s)


def _value(raw: dict[str, Any], base: dict[str, Any]) -> float | str | bool | None:
    present = [field for field in VALUE_FIELDS if field in raw]
    if len(present) > 1:
        raise refused(Reject.BAD_SENML, f"a record has one value, not {' and '.join(present)}")
    if "v" in raw:
        return _number(raw, "v") + _number(base, "bv")
    if "vs" in raw:
        return _text(raw, "vs")
    if "vb" in raw:
        if not isinstance(raw["vb"], bool):
            raise refused(Reject.BAD_SENML, f"vb is true or false, not {shown(raw['vb'])}")
        return bool(raw["vb"])
    return None


def _number(fields: dict[str, Any], key: str, absent: float = 0.0) -> float:
    value = fields.get(key, absent)
    if isinstance(value, bool) or not isinstance(value, int | float):
        raise refused(Reject.BAD_SENML, f"{key} is a number, not {shown(value)}")
    try:
        return float(value)
    except OverflowError:
        raise refused(Reject.NOT_FINITE, f"{key} is too large") from None


def _text(fields: dict[str, Any], key: str) -> str:
    value = fields.get(key, "")
    if not isinstance(value, str):
        raise refused(Reject.BAD_SENML, f"{key} is text, not {shown(value)}")
    return value


def picker(route: SensorRoute) -> Callable[[Pack], tuple[Sample, ...]]:
    """What finds this sensor's records in a resolved pack."""
    if route.senml_name is None:
        raise ValueError(f"sensor {route.sensor}: format senml needs senml_name; name it in the config")
    name, value_of = route.senml_name, _value_reader(route)

    def pick(pack: Pack) -> tuple[Sample, ...]:
        records = pack.get(name)
        if records is None:
            raise refused(Reject.PATH_MISSING, f"no record named {name}; there are {shown(', '.join(pack))}")
        return tuple(_sample(value_of(record), record.time_s) for record in records)

    return pick


def _value_reader(route: SensorRoute) -> Callable[[Record], float]:
    """Numbers for what is measured; truth values, words, 1 and 0 for an on/off input."""
    scale = Scale(route.quantity, route.unit)
    words = None if route.words is None else Words(route.words)
    on_off = MEASURES[route.quantity].on_off

    def read(record: Record) -> float:
        value = record.value
        if on_off and isinstance(value, bool):
            return float(value)
        if isinstance(value, str) and words is not None:
            return words.value(value)
        if isinstance(value, float) and record.unit is not None and not on_off:
            return scale.of_unit(value, "1" if record.unit == RATIO else record.unit)
        return number_of(value, scale)

    return read


def _sample(value: float, time_s: float) -> Sample:
    if time_s < ABSOLUTE_FROM_S:
        return Sample(value, shift_ms=round(time_s * 1000))
    own_ms = round(time_s * 1000)
    return Sample(value, own_ms if own_ms >= CLOCK_SET_FROM_MS else None)
