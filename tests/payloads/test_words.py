"""On/off inputs by their two words."""

import pytest

from gillhouse.core.edges import SensorRoute
from gillhouse.core.quantities import Quantity
from gillhouse.errors import PayloadError
from gillhouse.payloads.formats import form_of
from gillhouse.payloads.reject import Reject
from gillhouse.payloads.sample import Sample


def read(payload: bytes, words: tuple[str, str] = ("open", "closed"), path: str | None = None) -> Sample:
    route = SensorRoute("d", "t", "words", Quantity.DOOR, "1", 60_000, path=path, words=words, seq_path="/n")
    form = form_of(route)
    (sample,) = form.picker(route)(form.parse(payload))
    return sample


@pytest.mark.parametrize(
    ("payload", "value"), [(b"open", 1.0), (b"closed", 0.0), (b" Open\r\n", 1.0), (b"CLOSED", 0.0)]
)
def test_the_two_words(payload: bytes, value: float) -> None:
    assert read(payload) == Sample(value)


@pytest.mark.parametrize(
    ("payload", "words", "expected"),
    [
        (b'{"door": "open", "n": 3}', ("open", "closed"), Sample(1.0, None, 3)),
        (b'{"door": false}', ("true", "false"), Sample(0.0)),
        (b'{"door": 1}', ("1", "0"), Sample(1.0)),
    ],
)
def test_words_in_json(payload: bytes, words: tuple[str, str], expected: Sample) -> None:
    assert read(payload, words, "/door") == expected


@pytest.mark.parametrize(
    ("payload", "path", "reason"),
    [
        (b"ajar", None, Reject.UNKNOWN_WORD),
        (b"", None, Reject.EMPTY),
        (b"\xf6", None, Reject.NOT_UTF8),
        (b'{"door": "ajar"}', "/door", Reject.UNKNOWN_WORD),
        (b'{"door": 7}', "/door", Reject.UNKNOWN_WORD),
        (b'{"door": {}}', "/door", Reject.WRONG_TYPE),
        (b'{"door": null}', "/door", Reject.EMPTY),
        (b'{"door": " "}', "/door", Reject.EMPTY),
        (b"{}", "/door", Reject.PATH_MISSING),
        (b'{"door": "open", "n": 1.5}', "/door", Reject.SEQ_BAD),
    ],
)
def test_refused(payload: bytes, path: str | None, reason: Reject) -> None:
    with pytest.raises(PayloadError) as caught:
        read(payload, path=path)
    assert caught.value.reason is reason


def test_a_route_that_names_no_words_or_no_format_is_refused_by_name() -> None:
    with pytest.raises(ValueError, match="sensor d: format words needs its two words"):
        route = SensorRoute("d", "t", "words", Quantity.DOOR, "1", 60_000)
        form_of(route).picker(route)
    with pytest.raises(ValueError, match="no format 'csv'; use one of number, json, senml, words"):
        form_of(SensorRoute("d", "t", "csv", Quantity.DOOR, "1", 60_000))
    with pytest.raises(ValueError, match="needs senml_name"):
        route = SensorRoute("d", "t", "senml", Quantity.DOOR, "1", 60_000)
        form_of(route).picker(route)
