"""JSON by pointer: RFC 6901's own examples, the values boards send, and what is refused."""

import json
import subprocess

import pytest

from gillhouse.core.edges import SensorRoute
from gillhouse.core.quantities import Quantity
from gillhouse.errors import PayloadError
from gillhouse.payloads.json_pointer import MAX_DEPTH, Pointer, parse, picker
from gillhouse.payloads.reject import Reject
from gillhouse.payloads.sample import Sample, board_seq, own_time_ms

RFC_6901_DOCUMENT = r"""
{ "foo": ["bar", "baz"], "": 0, "a/b": 1, "c%d": 2, "e^f": 3, "g|h": 4,
  "i\\j": 5, "k\"l": 6, " ": 7, "m~n": 8 }
"""
"""The document of RFC 6901 section 5, and below the values it gives (from memory)."""


@pytest.mark.parametrize(
    ("pointer", "value"),
    [
        ("", json.loads(RFC_6901_DOCUMENT)),
        ("/foo", ["bar", "baz"]),
        ("/foo/0", "bar"),
        ("/", 0),
        ("/a~1b", 1),
        ("/c%d", 2),
        ("/e^f", 3),
        ("/g|h", 4),
        ("/i\\j", 5),
        ('/k"l', 6),
        ("/ ", 7),
        ("/m~0n", 8),
    ],
)
def test_the_examples_of_rfc_6901(pointer: str, value: object) -> None:
    assert Pointer(pointer).find(parse(RFC_6901_DOCUMENT.encode())) == value


@pytest.mark.parametrize("pointer", ["/missing", "/foo/2", "/foo/01", "/foo/-1", "/foo/x", "/foo/0/x", "//"])
def test_a_pointer_to_nothing(pointer: str) -> None:
    with pytest.raises(PayloadError) as caught:
        Pointer(pointer).find(parse(RFC_6901_DOCUMENT.encode()))
    assert caught.value.reason is Reject.PATH_MISSING


@pytest.mark.parametrize("text", ["rh", "/a~2b", "/a~"])
def test_what_is_no_pointer(text: str) -> None:
    with pytest.raises(ValueError, match="RFC 6901"):
        Pointer(text)


def route(**more: str) -> SensorRoute:
    return SensorRoute("s", "t", "json", Quantity.HUMIDITY, "%", 10_000, path="/rh", **more)


def read(payload: bytes, **more: str) -> Sample:
    (sample,) = picker(route(**more))(parse(payload))
    return sample


@pytest.mark.parametrize("text", ["85.3", '"85.3"', '"85,3 %"', "853e-1", '" 85.3 "'])
def test_numbers_bare_and_in_quotes(text: str) -> None:
    assert read(b'{"rh": %s}' % text.encode()) == Sample(pytest.approx(85.3))


@pytest.mark.parametrize(
    ("payload", "reason"),
    [
        (b"", Reject.EMPTY),
        (b'{"rh": null}', Reject.EMPTY),
        (b'{"rh": ""}', Reject.EMPTY),
        (b'{"rh": "\xff"}', Reject.NOT_UTF8),
        ('{"rh": 85.3}'.encode("utf-16"), Reject.NOT_UTF8),  # Python's reader would guess the encoding
        (b'{"rh": 85.', Reject.NOT_JSON),
        (b"{'rh': 85.3}", Reject.NOT_JSON),
        (b'\xef\xbb\xbf{"rh": 85.3}', Reject.NOT_JSON),
        (b'{"rh": NaN}', Reject.NOT_FINITE),  # no JSON number: RFC 8259 section 6
        (b'{"rh": -Infinity}', Reject.NOT_FINITE),
        (b'{"rh": 1e999}', Reject.NOT_FINITE),
        (b'{"rh": %s}' % (b"9" * 400), Reject.NOT_FINITE),
        (b'{"rh": %s}' % (b"9" * 5000), Reject.NOT_FINITE),
        (b'{"t": 17}', Reject.PATH_MISSING),
        (b"[85.3]", Reject.PATH_MISSING),
        (b"85.3", Reject.PATH_MISSING),
        (b'{"rh": true}', Reject.WRONG_TYPE),  # true is no 1
        (b'{"rh": {"v": 85.3}}', Reject.WRONG_TYPE),
        (b'{"rh": "wet"}', Reject.NOT_A_NUMBER),
        (b'{"rh": "85.3 ppm"}', Reject.UNIT_UNKNOWN),
    ],
)
def test_refused(payload: bytes, reason: Reject) -> None:
    with pytest.raises(PayloadError) as caught:
        read(payload)
    assert caught.value.reason is reason
    assert caught.value.detail.isascii() and caught.value.detail.isprintable()


@pytest.mark.parametrize("brackets", [("[", "]"), ('{"a":', "}")])
def test_depth(brackets: tuple[str, str]) -> None:
    opened, closed = brackets
    assert parse((opened * MAX_DEPTH + "1" + closed * MAX_DEPTH).encode()) is not None
    for depth in (MAX_DEPTH + 1, 2_000, 100_000):
        with pytest.raises(PayloadError) as caught:
            parse((opened * depth + "1" + closed * depth).encode())
        assert caught.value.reason is Reject.TOO_DEEP


def test_brackets_in_text_and_side_by_side_are_no_depth() -> None:
    assert parse(json.dumps({"note": '[{"\\' * 50}).encode()) == {"note": '[{"\\' * 50}
    assert len(parse(b"[" + b"[]," * 100 + b"1]")) == 101


def test_the_boards_own_time_and_number() -> None:
    sample = read(b'{"rh": 85.3, "ts": 1795600800.25, "n": 41}', time_path="/ts", seq_path="/n")
    assert sample == Sample(85.3, 1_795_600_800_250, 41)


@pytest.mark.parametrize("payload", [b'{"rh": 85.3}', b'{"rh": 85.3, "ts": null, "n": null}'])
def test_a_message_without_them_is_a_reading_without_them(payload: bytes) -> None:
    assert read(payload, time_path="/ts", seq_path="/n") == Sample(85.3)


@pytest.mark.parametrize(
    "text",
    [
        "2026-11-25T10:00:00Z", "2026-11-25T11:00:00+01:00", "2026-11-25T11:00:00.250+01:00",
        "2026-11-24T23:30:00-10:30", "20261125T100000Z",
    ],
)  # fmt: skip
def test_calendar_times_against_gnu_date(text: str) -> None:
    """GNU date (Debian's coreutils) is the outside reader of ISO 8601."""
    spelled = {"20261125T100000Z": "2026-11-25 10:00:00Z"}.get(text, text)  # GNU date lacks the basic form
    said = subprocess.run(["date", "-d", spelled, "+%s%3N"], capture_output=True, text=True, check=True)
    assert own_time_ms(text) == int(said.stdout)


@pytest.mark.parametrize("raw", [1_795_600_800, 1_795_600_800_000, "1795600800", "1795600800000"])
def test_seconds_and_milliseconds(raw: object) -> None:
    assert own_time_ms(raw) == 1_795_600_800_000


@pytest.mark.parametrize("raw", [0, 37, 1e6, "1970-01-01T00:03:00Z", -5, "000000037", 946_684_800])
def test_a_clock_that_is_not_set_is_no_time(raw: object) -> None:
    assert own_time_ms(raw) is None


@pytest.mark.parametrize(
    ("raw", "reason"),
    [
        ("2026-11-25T10:00:00", Reject.TIME_NAIVE),
        ("2026-11-25", Reject.TIME_NAIVE),
        ("20261125", Reject.TIME_NAIVE),
        ("yesterday", Reject.TIME_BAD),
        ("", Reject.TIME_BAD),
        (True, Reject.TIME_BAD),
        ([], Reject.TIME_BAD),
        (float("inf"), Reject.TIME_BAD),
        ("9" * 400, Reject.TIME_BAD),
    ],
)
def test_times_refused(raw: object, reason: Reject) -> None:
    with pytest.raises(PayloadError) as caught:
        own_time_ms(raw)
    assert caught.value.reason is reason


@pytest.mark.parametrize(("raw", "number"), [(0, 0), (7, 7), ("7", 7), (7.0, 7), (2**63 - 1, 2**63 - 1)])
def test_message_numbers(raw: object, number: int) -> None:
    assert board_seq(raw) == number


@pytest.mark.parametrize("raw", [-1, 1.5, "x", "", "-1", True, None, [], 2**63, "9" * 30, 1e300, "٧"])
def test_message_numbers_refused(raw: object) -> None:
    with pytest.raises(PayloadError) as caught:
        board_seq(raw)
    assert caught.value.reason is Reject.SEQ_BAD
