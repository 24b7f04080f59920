"""The journal's texts: whatever the core was given comes back equal, and equal values give equal texts."""

import json
import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from gillhouse.core import inputs
from gillhouse.core.calibration import Calibration, Point
from gillhouse.core.crops import Stage
from gillhouse.core.measurement import Measurement
from gillhouse.core.quantities import Quantity
from gillhouse.errors import StoreError
from gillhouse.store.codec import (
    INPUT_KINDS,
    canonical,
    decode_causes,
    decode_facts,
    decode_input,
    encode_causes,
    encode_facts,
    encode_input,
    from_canonical,
)

texts = st.text(max_size=20)
whole = st.integers(-(2**62), 2**62)
numbers = st.floats(allow_nan=False, allow_infinity=False)
points = st.builds(Point, numbers, numbers, numbers, texts, whole)
calibrations = st.builds(
    Calibration,
    st.sampled_from(Quantity),
    numbers,
    numbers,
    numbers,
    whole,
    whole,
    st.lists(points, min_size=1, max_size=2).map(tuple),
)
measurements = st.builds(
    Measurement,
    numbers,
    numbers,
    numbers,
    numbers,
    st.none() | numbers,
    whole,
)
inputs_of_all_kinds = st.one_of(
    st.builds(
        inputs.Reading,
        texts,
        st.floats(allow_nan=False),
        whole,
        st.booleans(),
        st.none() | whole,
        st.sampled_from(inputs.Delivery),
    ),
    st.builds(inputs.Due, texts, whole),
    st.builds(inputs.RelayReport, texts, st.none() | st.booleans(), st.booleans()),
    st.builds(
        inputs.OperatorAction,
        st.sampled_from(inputs.Act),
        texts,
        texts,
        texts,
        st.none() | st.booleans(),
        st.none() | whole,
        st.none() | whole,
    ),
    st.builds(inputs.Calibrated, texts, st.none() | calibrations, texts),
    st.builds(inputs.Measure, texts, texts, st.booleans()),
    st.builds(inputs.ChannelReport, texts, st.booleans(), whole, texts, texts),
    st.builds(inputs.TooMany, texts, st.booleans(), texts, whole, texts),
    st.builds(inputs.Measured, texts, texts, st.none() | measurements),
    st.builds(inputs.SensorsAway, st.lists(texts, max_size=3).map(tuple), texts, whole),
    st.builds(
        inputs.BatchAction,
        st.sampled_from(inputs.BatchAct),
        texts,
        texts,
        st.none() | whole,
        st.none() | texts,
        st.none() | st.sampled_from(Stage),
        st.none() | numbers,
        st.none() | texts,
        st.none() | texts,
        st.none() | st.booleans(),
        st.none() | numbers,
        st.none() | numbers,
        texts,
    ),
    st.builds(inputs.LinkChange, st.sampled_from(inputs.Link), st.booleans(), texts),
    st.builds(inputs.ClockStep, whole),
    st.builds(inputs.SettingsChange, texts),
    st.builds(inputs.Started, texts, texts, st.booleans(), st.none() | whole),
)
facts = st.dictionaries(texts, st.none() | st.booleans() | whole | texts | st.floats(allow_nan=False))


@given(inputs_of_all_kinds)
def test_an_input_comes_back_as_it_was(item: inputs.Input) -> None:
    kind, body = encode_input(item)
    again = decode_input(kind, body)
    assert again == item
    assert type(again) is type(item)
    assert encode_input(again) == (kind, body)


def test_every_kind_of_input_is_covered() -> None:
    drawn = {
        "Reading",
        "Due",
        "RelayReport",
        "OperatorAction",
        "LinkChange",
        "ClockStep",
        "SettingsChange",
        "Started",
        "Calibrated",
        "SensorsAway",
        "BatchAction",
        "Measure",
        "Measured",
        "ChannelReport",
        "TooMany",
    }
    assert set(INPUT_KINDS) == drawn


def test_members_of_enums_come_back_as_members() -> None:
    item = inputs.OperatorAction(inputs.Act.SHELVE, "humidity-low:tent", "anna", for_ms=3_600_000)
    assert type(decode_input(*encode_input(item)).act) is inputs.Act  # type: ignore[union-attr]


@given(facts)
def test_facts_come_back_and_do_not_depend_on_their_order(made: dict[str, object]) -> None:
    text = encode_facts(made)  # type: ignore[arg-type]
    assert decode_facts(text) == made
    assert encode_facts(dict(reversed(made.items()))) == text  # type: ignore[arg-type]


@given(st.lists(st.integers(0, 2**62)))
def test_causes_keep_their_order(causes: list[int]) -> None:
    assert decode_causes(encode_causes(tuple(causes))) == tuple(causes)


def test_what_json_has_no_word_for_comes_back() -> None:
    made = {"a": [math.inf, -math.inf, {"b": math.nan}], "c": 1.0}
    again = from_canonical(canonical(made))
    assert again["a"][:2] == [math.inf, -math.inf]
    assert math.isnan(again["a"][2]["b"])
    json.loads(canonical(made), parse_constant=lambda word: pytest.fail(f"{word} is no JSON"))


def test_the_text_is_canonical_json() -> None:
    """Sorted keys, no blanks, ASCII: worked by hand."""
    assert canonical({"b": (1, None), "a": "°", "c": {"z": True, "y": 0.5}}) == (
        '{"a":"\\u00b0","b":[1,null],"c":{"y":0.5,"z":true}}'
    )


@pytest.mark.parametrize(
    ("kind", "body"),
    [("Wish", "{}"), ("Due", '{"what":"x","when":1}'), ("LinkChange", '{"link":"radio","up":true}')],
)
def test_an_input_of_another_version_says_so(kind: str, body: str) -> None:
    with pytest.raises(StoreError, match="use the version of gillhouse that wrote it"):
        decode_input(kind, body)
