"""Open inputs, 2,000 examples a format: each sensor gets a fate, and no exception comes out."""

import json
import math
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from gillhouse.core.inputs import Delivery
from gillhouse.core.instant import Instant
from gillhouse.payloads import Message, Reject
from payloads.corpus import DEVICE, ROUTES, WORDS, routes

EXAMPLES = 2_000
TEXT = st.text(st.characters(codec="utf-8"), max_size=20)
WORD = TEXT | st.sampled_from(["85,3", "nan", "21 °C", *WORDS])
SCALAR = st.none() | st.booleans() | st.integers() | st.floats() | WORD
VALUE: st.SearchStrategy[Any] = st.recursive(
    SCALAR,
    lambda inner: st.lists(inner, max_size=4) | st.dictionaries(TEXT, inner, max_size=4),
    max_leaves=10,
)
CALENDAR = st.datetimes().map(lambda moment: moment.isoformat() + "Z")
TIME = VALUE | st.integers(1_700_000_000, 1_900_000_000) | CALENDAR
AIR = st.fixed_dictionaries({"t": VALUE})
BOARD = st.fixed_dictionaries(
    {}, optional={"rh": VALUE, "air": AIR, "co2": VALUE, "door": VALUE, "ts": TIME, "n": VALUE}
)
RECORD = st.fixed_dictionaries(
    {},
    optional={
        "bn": st.sampled_from([DEVICE, DEVICE + ":"]) | VALUE,
        "n": st.sampled_from(["hum", "open", ""]) | VALUE,
        "bt": TIME, "t": st.integers(-100, 100) | VALUE, "bu": st.sampled_from(["Cel", "%RH", "V"]) | VALUE,
        "u": st.sampled_from(["Cel", "%RH", "/"]) | VALUE, "bv": VALUE, "v": st.floats() | VALUE, "vb": VALUE,
        "vs": VALUE, "vd": VALUE, "s": VALUE, "bver": st.integers(1, 12), "odd_": VALUE,
    },
)  # fmt: skip
UNITS = st.sampled_from(["", " %", "%RH", " hPa", "\r\n"])
NUMBERS = st.floats().map(str) | st.decimals().map(str) | st.integers().map(str)
LIKELY: dict[str, st.SearchStrategy[bytes]] = {
    "number": st.tuples(NUMBERS, UNITS).map("".join).map(str.encode),
    "json": BOARD.map(json.dumps).map(str.encode),
    "senml": st.lists(RECORD, max_size=4).map(json.dumps).map(str.encode),
    "words": st.sampled_from(WORDS).map(str.encode) | BOARD.map(json.dumps).map(str.encode),
}
ANYTHING = st.binary(max_size=300) | TEXT.map(str.encode) | VALUE.map(json.dumps).map(str.encode)


@pytest.mark.parametrize("form", ROUTES)
@settings(max_examples=EXAMPLES)
@given(data=st.data())
def test_every_sensor_gets_a_fate(form: str, data: st.DataObject) -> None:
    body = data.draw(LIKELY[form] | ANYTHING)
    message = Message(form, body, Instant(1_795_608_000_000, 0), retain=data.draw(st.booleans()))
    decoded = routes().decode(message, synced=data.draw(st.booleans()))
    read = {reading.sensor for reading in decoded.readings}
    refused = {rejected.sensor for rejected in decoded.rejects}
    every = {route.sensor for route in ROUTES[form]}
    assert read <= every
    assert None in refused or read | refused == every
    for reading in decoded.readings:
        assert math.isfinite(reading.value)
        assert 0 < reading.sensed_ms < 2**62
        assert (reading.delivery is Delivery.RETAINED) == message.retain
    for rejected in decoded.rejects:
        assert isinstance(rejected.reason, Reject)
        assert rejected.detail.isprintable() and len(rejected.detail) < 300


@settings(max_examples=EXAMPLES)
@given(st.floats(-1e9, 1e9, allow_nan=False), st.sampled_from(["", " %", "%RH"]), st.booleans())
def test_a_number_comes_back_as_it_was_written(value: float, unit: str, comma: bool) -> None:
    text = f"{value!r}".replace(".", ",") if comma else f"{value!r}"
    decoded = routes().decode(Message("number", (text + unit).encode(), Instant(1_795_608_000_000, 0)), True)
    assert [reading.value for reading in decoded.readings] == [value]
