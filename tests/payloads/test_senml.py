"""SenML against the examples of RFC 8428.

The packs and their resolved values are those of RFC 8428 sections 5.1.1 to 5.1.5, written down from memory:
the text itself was not at hand.
"""

import json

import pytest

from gillhouse.core.edges import SensorRoute
from gillhouse.core.quantities import Quantity
from gillhouse.errors import PayloadError
from gillhouse.payloads.reject import Reject
from gillhouse.payloads.sample import Sample
from gillhouse.payloads.senml import Record, parse_pack, picker, resolve

DEVICE = "urn:dev:ow:10e2073a01080063"


def test_single_datapoint() -> None:
    """RFC 8428 section 5.1.1 (from memory)."""
    document = [{"n": DEVICE, "u": "Cel", "v": 23.1}]
    assert resolve(document) == [Record(DEVICE, "Cel", 23.1, 0.0)]


def test_multiple_datapoints() -> None:
    """RFC 8428 section 5.1.2, first pack (from memory)."""
    document = [
        {"bn": DEVICE + ":", "n": "voltage", "u": "V", "v": 120.1},
        {"n": "current", "u": "A", "v": 1.2},
    ]
    assert resolve(document) == [
        Record(DEVICE + ":voltage", "V", 120.1, 0.0),
        Record(DEVICE + ":current", "A", 1.2, 0.0),
    ]


def test_base_time_base_unit_and_version() -> None:
    """RFC 8428 section 5.1.2, second pack (from memory): times add up, the base unit fills gaps."""
    document = [
        {
            "bn": "urn:dev:ow:10e2073a0108006:", "bt": 1.276020076001e9, "bu": "A", "bver": 5,
            "n": "voltage", "u": "V", "v": 120.1,
        },
        {"n": "current", "t": -5, "v": 1.2},
        {"n": "current", "t": -4, "v": 1.3},
        {"n": "current", "t": -3, "v": 1.4},
        {"n": "current", "t": -2, "v": 1.5},
        {"n": "current", "t": -1, "v": 1.6},
        {"n": "current", "v": 1.7},
    ]  # fmt: skip
    resolved = resolve(document)
    assert [record.unit for record in resolved] == ["V"] + ["A"] * 6
    assert [record.value for record in resolved] == [120.1, 1.2, 1.3, 1.4, 1.5, 1.6, 1.7]
    assert [round(record.time_s * 1000) for record in resolved] == [
        1_276_020_076_001, 1_276_020_071_001, 1_276_020_072_001, 1_276_020_073_001, 1_276_020_074_001,
        1_276_020_075_001, 1_276_020_076_001,
    ]  # fmt: skip


def test_names_that_are_the_base_name_alone() -> None:
    """RFC 8428 section 5.1.3, its first records (from memory): a humidity that travels."""
    document = [
        {"bn": DEVICE, "bt": 1.320067464e9, "bu": "%RH", "v": 20},
        {"u": "lon", "v": 24.30621},
        {"u": "lat", "v": 60.07965},
        {"t": 60, "v": 20.3},
        {"u": "lon", "t": 60, "v": 24.30622},
    ]
    assert resolve(document) == [
        Record(DEVICE, "%RH", 20.0, 1.320067464e9),
        Record(DEVICE, "lon", 24.30621, 1.320067464e9),
        Record(DEVICE, "lat", 60.07965, 1.320067464e9),
        Record(DEVICE, "%RH", 20.3, 1.320067524e9),
        Record(DEVICE, "lon", 24.30622, 1.320067524e9),
    ]


def test_many_data_types() -> None:
    """RFC 8428 section 5.1.5 (from memory): a number, a text, a truth value and data."""
    document = [
        {"bn": DEVICE + ":", "n": "temp", "u": "Cel", "v": 23.1},
        {"n": "label", "vs": "Machine Room"},
        {"n": "open", "vb": False},
        {"n": "nfc-reader", "vd": "aGkgCg"},
    ]
    assert [(record.name.rsplit(":", 1)[1], record.value) for record in resolve(document)] == [
        ("temp", 23.1), ("label", "Machine Room"), ("open", False), ("nfc-reader", None),
    ]  # fmt: skip


def read(
    document: object, name: str = "hum", quantity: Quantity = Quantity.HUMIDITY, **more: object
) -> list[Sample]:
    unit = "%" if quantity is Quantity.HUMIDITY else "1"
    route = SensorRoute("s", "t", "senml", quantity, unit, 10_000, senml_name=name, **more)
    return list(picker(route)(parse_pack(json.dumps(document).encode())))


def test_absolute_times_are_the_boards_own() -> None:
    """2**28 seconds and more are Unix time: RFC 8428 section 4.5.3."""
    document = [{"bn": "hum", "bt": 1_795_600_800, "v": 80}, {"t": 10.5, "v": 81}]
    assert read(document) == [Sample(80.0, 1_795_600_800_000), Sample(81.0, 1_795_600_810_500)]


def test_relative_times_are_told_from_arrival() -> None:
    document = [{"n": "hum", "t": -5, "v": 80}, {"n": "hum", "v": 81}]
    assert read(document) == [Sample(80.0, shift_ms=-5_000), Sample(81.0)]


def test_a_time_before_the_clock_was_set_is_none() -> None:
    assert read([{"n": "hum", "t": 1.3e9, "v": 80}]) == [Sample(80.0)]


def test_base_value_is_added() -> None:
    """RFC 8428 section 4.5.4."""
    assert read([{"bn": "hum", "bv": 80, "v": 1.5}, {"v": -1}]) == [Sample(81.5), Sample(79.0)]


def test_units_of_the_record() -> None:
    assert read([{"n": "hum", "u": "/", "v": 0.8}]) == [Sample(80.0)]
    assert read([{"n": "hum", "u": "%RH", "v": 80}]) == [Sample(80.0)]


def test_on_off_by_truth_value_word_or_number() -> None:
    words = ("open", "closed")
    said = [({"vb": True}, 1.0), ({"vb": False}, 0.0), ({"vs": "Closed"}, 0.0), ({"v": 1}, 1.0)]
    for value, expected in said:
        assert read([{"n": "d", **value}], "d", Quantity.DOOR, words=words) == [Sample(expected)]


@pytest.mark.parametrize(
    ("document", "reason"),
    [
        ({"n": "hum", "v": 1}, Reject.BAD_SENML),
        ([], Reject.BAD_SENML),
        ([1], Reject.BAD_SENML),
        ([{"v": 1}], Reject.BAD_SENML),  # a name is needed: section 4.5.1
        ([{"n": "-hum", "v": 1}], Reject.BAD_SENML),  # must begin with a letter or digit
        ([{"n": "hu m", "v": 1}], Reject.BAD_SENML),
        ([{"n": 7, "v": 1}], Reject.BAD_SENML),
        ([{"n": "hum", "v": "1"}], Reject.BAD_SENML),
        ([{"n": "hum", "v": True}], Reject.BAD_SENML),
        ([{"n": "hum", "v": 1, "vs": "x"}], Reject.BAD_SENML),
        ([{"n": "hum", "vb": 1}], Reject.BAD_SENML),
        ([{"n": "hum", "v": 1, "bver": 11}], Reject.BAD_SENML),  # newer than we read: section 4.4
        ([{"n": "hum", "v": 1, "odd_": 1}], Reject.BAD_SENML),  # must be understood: section 4.4
        ([{"n": "hum", "t": "now", "v": 1}], Reject.BAD_SENML),
        ([{"n": "hum", "t": 1e300, "v": 1}], Reject.TIME_BAD),
        ([{"n": "hum", "t": -1e12, "v": 1}], Reject.TIME_BAD),
        ([{"n": "hum", "v": 10**400}], Reject.NOT_FINITE),
        ([{"n": "hum", "u": "V", "v": 1}], Reject.UNIT_UNKNOWN),
        ([{"n": "hum", "vb": True}], Reject.WRONG_TYPE),
        ([{"n": "hum", "s": 5}], Reject.EMPTY),
        ([{"n": "other", "v": 1}], Reject.PATH_MISSING),
    ],
)
def test_refused(document: object, reason: Reject) -> None:
    with pytest.raises(PayloadError) as caught:
        read(document)
    assert caught.value.reason is reason


def test_unknown_fields_are_passed_over() -> None:
    assert read([{"n": "hum", "v": 80, "odd": {}, "ut": 60}]) == [Sample(80.0)]
