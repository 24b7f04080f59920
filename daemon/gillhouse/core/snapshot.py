"""State to plain JSON values and back, for any dataclass of the core.

What lives here: `to_plain` and `from_plain`, driven by the dataclass's own type hints. What must not: any
knowledge of what the state means. How: a value is walked by its own type on the way out and by the declared
type on the way in. Allowed are JSON primitives, enums, dataclasses, lists, tuples and dicts (their keys
text, whole numbers or enums); sets have no order and are refused, as are NaN and infinity, which JSON has
not.
"""

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import MISSING, Field, fields, is_dataclass
from enum import Enum
from functools import cache
from types import NoneType, UnionType
from typing import Any, Literal, TypeVar, Union, cast, get_args, get_origin, get_type_hints

T = TypeVar("T")

Plain = Any
"""What `json.dumps` takes: None, bool, int, float, str, list, dict with text keys."""


def to_plain(value: object) -> Plain:
    """`value` as JSON values, in the order the dataclass declares its fields and a dict holds its keys.

    Raises:
        TypeError: something that has no stable plain form (a set, a function, an unknown object).
        ValueError: NaN or infinity.
    """
    if value is None or type(value) in (bool, int, str):
        return value
    if isinstance(value, Enum):
        return value.value
    if isinstance(value, float):
        if not math.isfinite(value):
            raise ValueError(f"{value!r} cannot be kept in a snapshot; JSON has no such number")
        return value
    if is_dataclass(value) and not isinstance(value, type):
        return {name: to_plain(getattr(value, name)) for name in _field_names(type(value))}
    if isinstance(value, Mapping):
        return {_key_text(key): to_plain(item) for key, item in value.items()}
    if isinstance(value, (list, tuple)):
        return [to_plain(item) for item in value]
    raise TypeError(
        f"{type(value).__name__} cannot be kept in a snapshot; use a list, tuple, dict or dataclass"
    )


def from_plain(wanted: type[T], plain: Plain, where: str = "snapshot") -> T:
    """An object of type `wanted` from what `to_plain` gave (also after a trip through JSON text).

    A field the snapshot does not have takes its default, so that an older snapshot still loads.

    Args:
        where: names the place in error messages.
    Raises:
        ValueError: a field without default is missing, one is unknown, or a value has the wrong type.
    """
    return cast(T, _read(wanted, plain, where))


@cache
def _field_names(kind: type) -> tuple[str, ...]:
    return tuple(item.name for item in fields(kind))


@cache
def _hints(kind: type) -> dict[str, Any]:
    return get_type_hints(kind)


def _key_text(key: object) -> str:
    if isinstance(key, Enum):
        return str(key.value)
    if type(key) in (str, int):
        return str(key)
    raise TypeError(f"dict key {key!r} cannot be kept in a snapshot; use text, a whole number or an enum")


def _read(wanted: Any, plain: Plain, where: str) -> object:
    if wanted is Any or wanted is object:
        return plain
    origin = get_origin(wanted)
    if origin is not None:
        return _READERS[origin](get_args(wanted), plain, where)
    if is_dataclass(wanted):
        return _read_dataclass(cast(type, wanted), plain, where)
    if isinstance(wanted, type) and issubclass(wanted, Enum):
        return _read_enum(wanted, plain, where)
    return _read_primitive(wanted, plain, where)


def _read_primitive(wanted: Any, plain: Plain, where: str) -> object:
    if wanted is NoneType or wanted is None:
        if plain is None:
            return None
    elif wanted is float and type(plain) is int:
        return float(plain)
    elif type(plain) is wanted:
        return plain
    raise _wrong(getattr(wanted, "__name__", str(wanted)), plain, where)


def _read_enum(wanted: type[Enum], plain: Plain, where: str) -> Enum:
    try:
        return wanted(plain)
    except ValueError:
        raise _wrong(wanted.__name__, plain, where) from None


def _read_dataclass(wanted: type, plain: Plain, where: str) -> object:
    if not isinstance(plain, Mapping):
        raise _wrong(wanted.__name__, plain, where)
    names = _field_names(wanted)
    unknown = [key for key in plain if key not in names]
    if unknown:
        raise ValueError(
            f"{where}: {wanted.__name__} has no field {unknown[0]!r}; written by another version?"
        )
    hints = _hints(wanted)
    given = {}
    for item in fields(wanted):
        if item.name in plain:
            given[item.name] = _read(hints[item.name], plain[item.name], f"{where}.{item.name}")
        elif not _has_default(item):
            raise ValueError(f"{where}: field {item.name!r} of {wanted.__name__} is missing")
    return wanted(**given)


def _has_default(item: Field[Any]) -> bool:
    return item.default is not MISSING or item.default_factory is not MISSING


def _read_list(args: tuple[Any, ...], plain: Plain, where: str) -> object:
    if not isinstance(plain, (list, tuple)):
        raise _wrong("list", plain, where)
    return [_read(args[0], item, f"{where}[{at}]") for at, item in enumerate(plain)]


def _read_tuple(args: tuple[Any, ...], plain: Plain, where: str) -> object:
    if not isinstance(plain, (list, tuple)):
        raise _wrong("list", plain, where)
    kinds = [args[0]] * len(plain) if args[-1] is Ellipsis else list(args)
    if len(kinds) != len(plain):
        raise ValueError(f"{where}: {len(kinds)} values wanted, {len(plain)} found")
    return tuple(
        _read(kind, item, f"{where}[{at}]") for at, (kind, item) in enumerate(zip(kinds, plain, strict=True))
    )


def _read_dict(args: tuple[Any, ...], plain: Plain, where: str) -> object:
    if not isinstance(plain, Mapping):
        raise _wrong("dict", plain, where)
    return {
        _read_key(args[0], key, where): _read(args[1], item, f"{where}[{key!r}]")
        for key, item in plain.items()
    }


def _read_key(wanted: Any, key: object, where: str) -> object:
    by_number = wanted is int or (isinstance(wanted, type) and issubclass(wanted, int))
    if by_number and isinstance(key, str):
        try:
            return _read(wanted, int(key), where)
        except ValueError:
            raise _wrong("whole number as key", key, where) from None
    return _read(wanted, key, where)


def _read_union(args: tuple[Any, ...], plain: Plain, where: str) -> object:
    # The exact type first, so that 1 stays an int where both int and float are allowed.
    ordered = sorted(args, key=lambda kind: kind is not type(plain))
    for kind in ordered:
        try:
            return _read(kind, plain, where)
        except ValueError:
            continue
    raise _wrong(" or ".join(getattr(kind, "__name__", str(kind)) for kind in args), plain, where)


def _read_literal(args: tuple[Any, ...], plain: Plain, where: str) -> object:
    if plain not in args:
        raise _wrong(" or ".join(map(repr, args)), plain, where)
    return plain


_READERS: dict[Any, Callable[[tuple[Any, ...], Plain, str], object]] = {
    list: _read_list,
    Sequence: _read_list,
    tuple: _read_tuple,
    dict: _read_dict,
    Mapping: _read_dict,
    Union: _read_union,
    UnionType: _read_union,
    Literal: _read_literal,
}


def _wrong(wanted: str, plain: Plain, where: str) -> ValueError:
    return ValueError(f"{where}: {wanted} wanted, got {plain!r}")
