"""Format `json`: the value stands at a pointer (RFC 6901), and so may the board's own time and number.

The document is parsed once a message, however many sensors share its topic. A pointer is checked and taken
apart once, by the `jsonpointer` library; a plain walk serves the usual object in object, and whatever that
walk cannot do (lists, odd keys, nothing there) is the library's to decide and to word.
"""

import json
from collections.abc import Callable
from typing import Any, NoReturn

from jsonpointer import JsonPointer, JsonPointerException

from gillhouse.core.edges import SensorRoute
from gillhouse.errors import PayloadError
from gillhouse.payloads.number import Scale, text_of
from gillhouse.payloads.reject import Reject, refused, shown
from gillhouse.payloads.sample import Sample, board_seq, own_time_ms

MAX_DEPTH = 32
"""Objects and lists inside one another; no board sends more. Our own choice, well inside Python's stack."""


class _NoNumber(ValueError):
    """JSON has no NaN and no Infinity (RFC 8259 section 6), though some writers write them."""


def _no_constant(name: str) -> NoReturn:
    raise _NoNumber(name)


_decoder = json.JSONDecoder(parse_constant=_no_constant)


def parse(payload: bytes) -> Any:
    """The document in a message.

    Raises:
        PayloadError: NOT_UTF8, EMPTY, NOT_JSON, NOT_FINITE or TOO_DEEP.
    """
    if payload.count(b"{") + payload.count(b"[") > MAX_DEPTH:
        _refuse_deep(payload)
    text = text_of(payload)
    try:
        return _decoder.decode(text)
    except _NoNumber as error:
        raise refused(Reject.NOT_FINITE, f"{error} is no JSON number") from None
    except json.JSONDecodeError as error:
        raise refused(Reject.NOT_JSON, f"{error.msg} at character {error.pos} of {shown(text)}") from None
    except ValueError as error:  # an integer of more digits than Python converts
        raise refused(Reject.NOT_FINITE, str(error)) from None


def _refuse_deep(payload: bytes) -> None:
    """Raises TOO_DEEP by counting brackets outside strings, before any recursive reader sees them."""
    depth, in_string, escaped = 0, False, False
    for byte in payload:
        if in_string:
            in_string = escaped or byte != 0x22
            escaped = byte == 0x5C and not escaped
        elif byte == 0x22:
            in_string = True
        elif byte in b"{[":
            depth += 1
            if depth > MAX_DEPTH:
                raise refused(Reject.TOO_DEEP, f"nested deeper than {MAX_DEPTH} levels")
        elif byte in b"}]":
            depth -= 1


class Pointer:
    """A checked RFC 6901 pointer."""

    __slots__ = ("_parts", "_pointer", "text")

    def __init__(self, text: str) -> None:
        """
        Args:
            text: `""` (the whole document) or `/a/b/0`.
        Raises:
            ValueError: it is no pointer.
        """
        try:
            self._pointer = JsonPointer(text)
        except JsonPointerException as error:
            hint = "write it as /key/key"
            raise ValueError(f"{text!r} is no JSON pointer (RFC 6901): {error}; {hint}") from None
        self.text = text
        self._parts: tuple[str, ...] = tuple(self._pointer.parts)

    def find(self, document: Any) -> Any:
        """What stands there.

        Raises:
            PayloadError: PATH_MISSING.
        """
        found = document
        try:
            for part in self._parts:
                found = found[part]
        except (KeyError, TypeError):
            return self._by_library(document)
        return found

    def find_or_none(self, document: Any) -> Any:
        """What stands there, or None where there is nothing."""
        try:
            return self.find(document)
        except PayloadError:
            return None

    def _by_library(self, document: Any) -> Any:
        try:
            return self._pointer.resolve(document)
        except JsonPointerException as error:
            raise refused(Reject.PATH_MISSING, f"nothing at {self.text}: {shown(error)}") from None


def number_of(found: object, scale: Scale) -> float:
    """A JSON value as a number in canonical unit; digits in quotes count too.

    Raises:
        PayloadError: EMPTY for null and blanks, WRONG_TYPE, NOT_A_NUMBER, NOT_FINITE or UNIT_UNKNOWN.
    """
    if isinstance(found, float) or type(found) is int:
        return scale.of(found)
    if isinstance(found, str):
        if not found.strip():
            raise refused(Reject.EMPTY, "the text holds no number")
        return scale.of_text(found)
    if found is None:
        raise refused(Reject.EMPTY, "the value is null")
    raise refused(Reject.WRONG_TYPE, f"{shown(found)} is no number")


def own_and_seq(route: SensorRoute) -> Callable[[Any], tuple[int | None, int | None]] | None:
    """What finds the board's time and number, or None where the board sends neither.

    A message without them, or with null, is a reading without them: boards leave the time out until they
    have one. What stands there and cannot be read is refused.
    """
    time_at = None if route.time_path is None else Pointer(route.time_path)
    seq_at = None if route.seq_path is None else Pointer(route.seq_path)
    if time_at is None and seq_at is None:
        return None

    def find(document: Any) -> tuple[int | None, int | None]:
        own = None if time_at is None else time_at.find_or_none(document)
        number = None if seq_at is None else seq_at.find_or_none(document)
        return None if own is None else own_time_ms(own), None if number is None else board_seq(number)

    return find


def picker(route: SensorRoute) -> Callable[[Any], tuple[Sample, ...]]:
    """What finds this sensor's value in the parsed document."""
    scale = Scale(route.quantity, route.unit)
    pointer = Pointer(route.path or "")
    extra = own_and_seq(route)

    def pick(document: Any) -> tuple[Sample, ...]:
        value = number_of(pointer.find(document), scale)
        if extra is None:
            return (Sample(value),)
        own_ms, seq = extra(document)
        return (Sample(value, own_ms, seq),)

    return pick
