"""Snapshots: what goes out comes back the same, and what cannot is refused by name."""

import json
from dataclasses import dataclass, field
from enum import IntEnum, StrEnum
from typing import Any, Literal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from gillhouse.core.instant import Instant
from gillhouse.core.snapshot import from_plain, to_plain


class Colour(StrEnum):
    WHITE = "white"
    BROWN = "brown"


class Grade(IntEnum):
    FIRST = 1
    SECOND = 2


@dataclass(slots=True)
class Cap:
    colour: Colour
    grams: float


@dataclass(slots=True)
class Tray:
    name: str
    caps: list[Cap] = field(default_factory=list)
    by_grade: dict[Grade, int] = field(default_factory=dict)
    by_colour: dict[Colour, float] = field(default_factory=dict)
    seen: Instant | None = None
    corner: tuple[int, int] = (0, 0)
    causes: tuple[int, ...] = ()
    facts: dict[str, float | int | str | bool | None] = field(default_factory=dict)
    side: Literal["left", "right"] = "left"
    rest: Any = None


NUMBERS = st.floats(allow_nan=False, allow_infinity=False)
WHOLE = st.integers(-(2**53), 2**53)
TRAYS = st.builds(
    Tray,
    name=st.text(),
    caps=st.lists(st.builds(Cap, st.sampled_from(Colour), NUMBERS), max_size=3),
    by_grade=st.dictionaries(st.sampled_from(Grade), WHOLE),
    by_colour=st.dictionaries(st.sampled_from(Colour), NUMBERS),
    seen=st.none() | st.builds(Instant, WHOLE, WHOLE),
    corner=st.tuples(WHOLE, WHOLE),
    causes=st.lists(WHOLE, max_size=3).map(tuple),
    facts=st.dictionaries(st.text(), st.none() | st.booleans() | WHOLE | NUMBERS | st.text()),
    side=st.sampled_from(["left", "right"]),
)


@given(TRAYS)
def test_a_trip_through_json_text_changes_nothing(tray: Tray) -> None:
    back = from_plain(Tray, json.loads(json.dumps(to_plain(tray))))
    assert back == tray
    assert json.dumps(to_plain(back)) == json.dumps(to_plain(tray))
    for name, value in tray.facts.items():  # 1, 1.0 and True are equal in Python, and not the same fact
        assert type(back.facts[name]) is type(value)


def test_fields_keep_the_order_they_are_declared_in() -> None:
    assert list(to_plain(Tray("a"))) == [
        "name", "caps", "by_grade", "by_colour", "seen", "corner", "causes", "facts", "side", "rest",
    ]  # fmt: skip


def test_an_older_snapshot_gets_the_defaults_of_newer_fields() -> None:
    assert from_plain(Tray, {"name": "a"}) == Tray("a")


@pytest.mark.parametrize(
    ("plain", "words"),
    [
        ({}, "field 'name' of Tray is missing"),
        ({"name": "a", "colour": 1}, "no field 'colour'"),
        ({"name": 3}, "snapshot.name: str wanted, got 3"),
        (
            {"name": "a", "caps": [{"colour": "red", "grams": 1}]},
            r"caps\[0\].colour: Colour wanted, got 'red'",
        ),
        ({"name": "a", "caps": [{"colour": "white", "grams": True}]}, "grams: float wanted, got True"),
        ({"name": "a", "caps": {}}, "list wanted"),
        ({"name": "a", "corner": [1]}, "2 values wanted, 1 found"),
        ({"name": "a", "by_grade": {"x": 1}}, "whole number as key wanted"),
        ({"name": "a", "seen": 5}, "Instant or NoneType wanted, got 5"),
        ({"name": "a", "side": "up"}, "'left' or 'right' wanted"),
        ([], "Tray wanted"),
    ],
)
def test_a_snapshot_that_does_not_fit_is_refused_by_place_and_value(plain: object, words: str) -> None:
    with pytest.raises(ValueError, match=words):
        from_plain(Tray, plain)


@pytest.mark.parametrize("value", [{1, 2}, object(), {(1, 2): 3}, [b"raw"]])
def test_what_has_no_stable_form_is_refused(value: object) -> None:
    with pytest.raises(TypeError, match="cannot be kept"):
        to_plain(value)


@pytest.mark.parametrize("value", [float("nan"), float("inf")])
def test_numbers_json_has_not_are_refused(value: float) -> None:
    # RFC 8259 section 6: "Numeric values that cannot be represented in the grammar below (such as Infinity
    # and NaN) are not permitted."
    with pytest.raises(ValueError, match="JSON has no such number"):
        to_plain({"a": value})
