"""Plain numbers, with and without a unit."""

import pytest

from gillhouse.core.edges import SensorRoute
from gillhouse.core.quantities import UNITS, Quantity
from gillhouse.errors import PayloadError
from gillhouse.payloads.number import SPELLINGS, picker, text_of
from gillhouse.payloads.reject import SHOWN_CHARS, Reject, shown


def read(payload: bytes, quantity: Quantity = Quantity.HUMIDITY, unit: str = "%") -> float:
    route = SensorRoute("s", "t", "number", quantity, unit, 10_000)
    (sample,) = picker(route)(text_of(payload))
    assert (sample.own_ms, sample.seq, sample.shift_ms) == (None, None, 0)
    return sample.value


@pytest.mark.parametrize(
    "payload",
    [
        b"85.3",
        b"85,3",
        b"85.3 %",
        b"85.3%",
        b"85,3 % RH",
        b"+85.3",
        b" 85.3\r\n",
        b"8.53e1",
        "85.3\u00a0%".encode(),
    ],
)
def test_one_humidity_in_many_spellings(payload: bytes) -> None:
    assert read(payload) == pytest.approx(85.3)


@pytest.mark.parametrize(
    ("payload", "quantity", "unit", "expected"),
    [
        # freezing and boiling point of water, 32 and 212 degF: NIST SP 811, appendix B.8
        (b"32", Quantity.TEMPERATURE, "degF", 0.0),
        (b"212", Quantity.TEMPERATURE, "degF", 100.0),
        # absolute zero at -273.15 degrees Celsius: SI Brochure, 9th edition, section 2.3.1
        (b"0", Quantity.TEMPERATURE, "K", -273.15),
        # the standard atmosphere, 101 325 Pa: 10th CGPM (1954), resolution 4
        (b"101325", Quantity.PRESSURE, "Pa", 1013.25),
        (b"101.325", Quantity.PRESSURE, "kPa", 1013.25),
        (b"3.6", Quantity.WIND, "km/h", 1.0),  # by hand: 3,600 s in an hour
        (b"0.853", Quantity.HUMIDITY, "1", 85.3),  # by hand: a ratio
        (b"0.09", Quantity.CO2, "%", 900.0),  # by hand: one per cent is 10,000 ppm
    ],
)
def test_units_of_the_config(payload: bytes, quantity: Quantity, unit: str, expected: float) -> None:
    assert read(payload, quantity, unit) == pytest.approx(expected, abs=1e-9)


def test_a_unit_in_the_message_wins_over_the_config() -> None:
    assert read("63.5 °F".encode(), Quantity.TEMPERATURE, "degC") == pytest.approx(17.5)  # (63.5 - 32) / 1.8


def test_every_spelling_names_a_unit_of_some_quantity() -> None:
    known = {unit for units in UNITS.values() for unit in units}
    assert set(SPELLINGS.values()) <= known


@pytest.mark.parametrize(
    ("payload", "reason"),
    [
        (b"", Reject.EMPTY),
        (b" \r\n", Reject.EMPTY),
        (b"\xff\xfe8", Reject.NOT_UTF8),
        (b"error", Reject.NOT_A_NUMBER),
        (b"1,234.5", Reject.NOT_A_NUMBER),  # thousands are not grouped
        (b"1_000", Reject.NOT_A_NUMBER),  # Python would read it
        (b"85.3 85.4", Reject.NOT_A_NUMBER),
        (b"0x1F", Reject.NOT_A_NUMBER),
        ("٨٥".encode(), Reject.NOT_A_NUMBER),  # Arabic digits, which Python would read too
        (b"nan", Reject.NOT_FINITE),
        (b"-Infinity", Reject.NOT_FINITE),
        (b"1e999", Reject.NOT_FINITE),
        (b"85.3 kPa", Reject.UNIT_UNKNOWN),
    ],
)
def test_refused(payload: bytes, reason: Reject) -> None:
    with pytest.raises(PayloadError) as caught:
        read(payload)
    assert caught.value.reason is reason
    assert caught.value.detail.isascii() and caught.value.detail.isprintable()


def test_an_offending_value_is_shown_short_and_printable() -> None:
    text = shown("bell \a and long " + "x" * 5_000)
    assert text.isprintable() and len(text) < SHOWN_CHARS + 20 and text.endswith("...'")
