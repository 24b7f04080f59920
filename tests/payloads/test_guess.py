"""What unknown messages seem to be. The messages are made up after what boards commonly send."""

from hypothesis import given
from hypothesis import strategies as st

from gillhouse.core.edges import SensorRoute
from gillhouse.core.inputs import Reading
from gillhouse.core.instant import Instant
from gillhouse.core.quantities import Quantity
from gillhouse.payloads import Message
from gillhouse.payloads.guess import Guess, looks_like
from gillhouse.payloads.routes import Routes


def found(payload: str, topic: str = "") -> list[tuple[Quantity | None, str | None, str | None]]:
    return [(guess.quantity, guess.unit, guess.path) for guess in looks_like(payload.encode(), topic)]


def test_a_json_message_with_everything() -> None:
    payload = (
        '{"hum": 85.3, "temp_c": "17.2 C", "co2": 912, "rssi": -61, "ts": 1795600800, "n": 4, "door": true}'
    )
    assert found(payload) == [
        (Quantity.HUMIDITY, "%", "/hum"),
        (Quantity.TEMPERATURE, "C", "/temp_c"),
        (Quantity.CO2, "ppm", "/co2"),
        (Quantity.DOOR, "1", "/door"),
        (None, None, "/rssi"),
    ]
    first = looks_like(payload.encode())[0]
    assert (first.time_path, first.seq_path) == ("/ts", "/n")


def test_numbers_by_their_unit_or_their_topic() -> None:
    assert found("85.3 %") == [(Quantity.HUMIDITY, "%", None)]
    assert found("17,2 °C") == [(Quantity.TEMPERATURE, "Cel", None)]
    assert found("912", "tent/co2") == [(Quantity.CO2, "ppm", None)]
    assert found("0.1 %", "tent/co2") == [(Quantity.CO2, "%", None)]
    assert found("912", "tent/x") == [(None, None, None)]


def test_words() -> None:
    (guess,) = looks_like(b"CLOSED", "barn/door")
    assert (guess.format, guess.quantity, guess.words) == ("words", Quantity.DOOR, ("open", "closed"))


def test_senml() -> None:
    guesses = looks_like(b'[{"bn":"urn:dev:ow:1:","n":"hum","u":"%RH","v":80},{"n":"door","vb":true}]')
    assert [(guess.senml_name, guess.quantity, guess.unit) for guess in guesses] == [
        ("urn:dev:ow:1:hum", Quantity.HUMIDITY, "%RH"),
        ("urn:dev:ow:1:door", Quantity.DOOR, None),
    ]


def test_keys_are_escaped_as_rfc_6901_asks() -> None:
    assert found('{"a/b": {"m~hum": 80}}') == [(Quantity.HUMIDITY, "%", "/a~1b/m~0hum")]


def test_what_seems_to_be_nothing() -> None:
    for payload in (b"", b"hello", b"\xff", b"{", b'{"x": "hello"}', b"12 parrots", b"[1e999]"):
        assert looks_like(payload) == []


def reads_back(guess: Guess, payload: bytes) -> Reading:
    """A route written down from a guess must read the message it was guessed from."""
    assert guess.quantity is not None and guess.unit is not None
    route = SensorRoute(
        "s", "t", guess.format, guess.quantity, guess.unit, 10_000, guess.path, guess.time_path,
        guess.seq_path, guess.words, guess.senml_name,
    )  # fmt: skip
    decoded = Routes([route], 4096).decode(Message("t", payload, Instant(1_795_608_000_000, 0)), True)
    assert decoded.rejects == ()
    return decoded.readings[0]


def test_a_guess_is_a_route_that_works() -> None:
    for payload, value in (
        (b'{"air": {"rh": "85,3 %"}, "ts": 1795600800, "seq": 5}', 85.3),
        (b'{"door": false}', 0.0),
        (b'{"door": "open"}', 1.0),
        (b"85.3 %", 85.3),
        (b'[{"n":"t","u":"Cel","v":17.5}]', 17.5),
    ):
        assert reads_back(looks_like(payload)[0], payload).value == value


@given(st.binary(max_size=200) | st.text(st.characters(codec="utf-8"), max_size=100).map(str.encode))
def test_never_raises(payload: bytes) -> None:
    assert isinstance(looks_like(payload, "room/temperature"), list)
