"""YAML's traps.

Outside truth: YAML 1.2.2, chapter 10.3.2 "Core schema, tag resolution" (its regular expressions).
"""

import math

import pytest

from gillhouse.config.tree import parse


@pytest.mark.parametrize(
    ("text", "value"),
    [
        # words YAML 1.1 takes for booleans, sexagesimal numbers and dates are text in 1.2's core schema
        ("on", "on"),
        ("off", "off"),
        ("yes", "yes"),
        ("NO", "NO"),
        ("22:30", "22:30"),
        ("06:30", "06:30"),
        ("2026-11-25", "2026-11-25"),
        ("12:34:56", "12:34:56"),
        ("1_000", "1_000"),
        # 10.3.2: [-+]? [0-9]+ is a decimal whole number, whatever zeros lead; 0o is octal, 0x hexadecimal
        ("017", 17),
        ("08", 8),
        ("0o17", 15),
        ("0x1F", 31),
        ("1e3", 1000.0),
        ("-.5", -0.5),
        ("+12", 12),
        ("true", True),
        ("False", False),
        ("null", None),
        ("~", None),
        (".inf", math.inf),
    ],
)
def test_scalars_follow_the_core_schema(text: str, value: object) -> None:
    sheet = parse(f"a: {text}\n", "x")
    assert sheet.mistakes == []
    got = sheet.group()["a"]
    assert got == value
    assert type(got) is type(value)


def test_a_key_called_on_stays_text() -> None:
    assert parse("on: 1\n", "x").data == {"on": 1}


def test_places_of_keys_and_items() -> None:
    sheet = parse("a:\n  b: 1\n  c: [x,\n    y]\n", "x")
    assert sheet.where[("a",)] == (1, 1)
    assert sheet.where[("a", "b")] == (2, 3)
    assert sheet.where[("a", "c", 1)] == (4, 5)


def test_all_duplicate_keys_are_named() -> None:
    sheet = parse("a: 1\nb: 2\na: 3\nb: 4\na: 5\n", "x")
    assert [str(mistake) for mistake in sheet.mistakes] == [
        "x:3:1: a: given twice (first at line 1); delete one of the two",
        "x:4:1: b: given twice (first at line 2); delete one of the two",
        "x:5:1: a: given twice (first at line 1); delete one of the two",
    ]


def test_depth_is_bounded_at_forty() -> None:
    """The top group and 39 lists are 40; one more is refused."""
    assert parse("a: " + "[" * 38 + "1" + "]" * 38, "x").mistakes == []
    assert "deeper than 40" in str(parse("a: " + "[" * 40 + "]" * 40, "x").mistakes[0])


def test_three_thousand_brackets_are_a_mistake_not_a_crash() -> None:
    assert "deeper than 40" in str(parse("[" * 3000, "x").mistakes[0])


def test_a_number_of_ten_thousand_digits_is_a_mistake() -> None:
    assert "cannot be read" in str(parse("a: " + "9" * 10_000, "x").mistakes[0])


def test_a_group_as_key_is_a_mistake() -> None:
    assert "plain word" in str(parse("? {a: 1}\n: 2\n", "x").mistakes[0])


def test_two_documents_are_a_mistake() -> None:
    assert len(parse("a: 1\n---\nb: 2\n", "x").mistakes) == 1
