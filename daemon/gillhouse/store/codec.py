"""Inputs, facts and snapshots to canonical JSON and back: the same value always gives the same text.

Keys sorted, no blanks, ASCII only. JSON has no NaN or infinity; here they are `{"$float": "nan"}`, so that
whatever a core holds can be written and comes back as it was. The columns of the log tables hold one such
text each. No SQL here.
"""

import json
import math
import types
import typing
from collections.abc import Callable, Mapping
from dataclasses import fields, is_dataclass
from enum import Enum
from typing import TYPE_CHECKING

from gillhouse.core import inputs
from gillhouse.core.outputs import Facts, Outcome
from gillhouse.core.readings import Mark, Quality, Verdict
from gillhouse.core.snapshot import from_plain, to_plain
from gillhouse.errors import StoreError

if TYPE_CHECKING:
    from _typeshed import DataclassInstance


INPUT_KINDS: dict[str, type] = {kind.__name__: kind for kind in typing.get_args(inputs.Input)}
"""Every class of input by the name stored in `inputs.kind`."""

_encode = json.JSONEncoder(sort_keys=True, separators=(",", ":"), allow_nan=False).encode
_NAMED_FLOAT = "$float"
_VERDICT = "$verdict"


def canonical(value: object) -> str:
    """`value` (dicts with text keys, lists, tuples, text, numbers, True, False, None) as canonical JSON."""
    try:
        return _encode(value)
    except ValueError:  # NaN or infinity somewhere inside
        return _encode(_named(value))


def from_canonical(text: str) -> typing.Any:
    """The value `canonical` made `text` from; tuples come back as lists."""
    return json.loads(text, object_hook=_unnamed)


def encode_facts(facts: Facts) -> str:
    return canonical(dict(facts)) if facts else "{}"


def decode_facts(text: str) -> Facts:
    facts: Facts = from_canonical(text)
    return facts


def encode_causes(causes: tuple[int, ...]) -> str:
    return canonical(causes)


def decode_causes(text: str) -> tuple[int, ...]:
    return tuple(json.loads(text))


def encode_input(item: inputs.Input) -> tuple[str, str]:
    """The columns `kind` and `body` for an input."""
    kind = type(item)
    return kind.__name__, canonical({name: _plain(getattr(item, name)) for name in _converters(kind)})


def encode_spare_reading(reading: inputs.Reading, verdict: Verdict) -> tuple[str, str]:
    """The same for a reading that has no room among the readings; its verdict goes with it."""
    kind, body = encode_input(reading)
    return kind, canonical(from_canonical(body) | {_VERDICT: [verdict.quality, verdict.mark]})


def decode_spare_verdict(body: str) -> Verdict:
    """The verdict in the body of a reading kept among the inputs."""
    quality, mark = from_canonical(body)[_VERDICT]
    return Verdict(Quality(quality), Mark(mark))


def decode_input(kind: str, body: str) -> inputs.Input:
    """The input that `encode_input` was given.

    Raises StoreError on a kind or field this version does not know: the row is of another version.
    """
    try:
        found = INPUT_KINDS[kind]
        convert = _converters(found)
        item: inputs.Input = found(
            **{name: convert[name](value) for name, value in from_canonical(body).items() if name != _VERDICT}
        )
    except (KeyError, TypeError, ValueError) as error:
        raise StoreError(
            f"the journal holds an input of kind {kind!r} this version cannot read ({error}): "
            f"use the version of gillhouse that wrote it"
        ) from error
    return item


def outcome_lines(outcome: Outcome, item: inputs.Input | None = None) -> tuple[str, ...]:
    """What was decided, a canonical line each: a reading's verdict, then commands, events, alarm notices.

    `Reader.decisions` makes the same lines of what was stored, so that a replay compares texts. Commands of
    a renewal count too. `item` is the input the outcome came from: only a Reading's verdict is stored.
    """
    verdict = [outcome.verdict] if outcome.verdict and isinstance(item, inputs.Reading) else []
    things = (verdict, outcome.commands, outcome.events, outcome.notices)
    return tuple(decision_line(thing) for kind in things for thing in kind)


def decision_line(thing: "DataclassInstance") -> str:
    """One decision (Verdict, Command, Event, AlarmNotice) as its class's name and its fields."""
    body = {field.name: getattr(thing, field.name) for field in fields(thing)}
    return f"{type(thing).__name__} {canonical({name: _flat(value) for name, value in body.items()})}"


def _flat(value: object) -> object:
    return dict(value) if isinstance(value, Mapping) else value


def _plain(value: object) -> object:
    """What JSON has no word for, as what it has: dataclasses within an input, and tuples."""
    return to_plain(value) if is_dataclass(value) or isinstance(value, tuple) else value


def _named(value: object) -> object:
    if isinstance(value, float) and not math.isfinite(value):
        return {_NAMED_FLOAT: str(value)}
    if isinstance(value, Mapping):
        return {key: _named(inner) for key, inner in value.items()}
    if isinstance(value, list | tuple):
        return [_named(inner) for inner in value]
    return value


def _unnamed(value: dict[str, object]) -> object:
    if len(value) == 1 and isinstance(value.get(_NAMED_FLOAT), str):
        return float(typing.cast(str, value[_NAMED_FLOAT]))
    return value


_known: dict[type, dict[str, Callable[[typing.Any], object]]] = {}


def _converters(kind: type) -> dict[str, Callable[[typing.Any], object]]:
    """Field name -> what turns the JSON value into the field's own type. Worked out once per class."""
    found = _known.get(kind)
    if found is None:
        hints = typing.get_type_hints(kind)
        found = _known[kind] = {field.name: _converter(hints[field.name]) for field in fields(kind)}
    return found


def _converter(hint: object) -> Callable[[typing.Any], object]:
    if isinstance(hint, types.UnionType):
        (inner,) = [part for part in typing.get_args(hint) if part is not types.NoneType]
        convert = _converter(inner)
        return lambda value: None if value is None else convert(value)
    if isinstance(hint, type) and issubclass(hint, Enum):
        return hint
    if is_dataclass(hint) or typing.get_origin(hint) is tuple:
        return lambda value: from_plain(typing.cast(type, hint), value)
    return lambda value: value
