"""Every sample file has a stated outcome; a file without one fails, and so does an outcome without a file."""

import pytest

from gillhouse.core.inputs import Delivery
from gillhouse.core.instant import Instant
from gillhouse.payloads import Message, Reject
from payloads.corpus import routes, samples

RECEIVED = Instant(1_795_600_805_000, 0)  # 2026-11-25T10:00:05Z

READ: dict[tuple[str, str], list[tuple[str, float]]] = {
    ("number", "plain.txt"): [("n", 85.3)],
    ("number", "comma.txt"): [("n", 85.3)],
    ("number", "percent.txt"): [("n", 85.3)],
    ("number", "rh-unit.txt"): [("n", 85.3)],
    ("number", "line-end.txt"): [("n", 85.3)],
    ("number", "exponent.txt"): [("n", 85.3)],
    ("number", "negative.txt"): [("n", -4.5)],  # whether a humidity can be that is for `core.quality`
    ("json", "plain.json"): [("rh", 85.3), ("co2", 912.0)],
    ("json", "nested.json"): [("t", 17.2), ("co2", 912.0)],
    ("json", "with-time.json"): [("rh", 85.3)],
    ("json", "time-ms.json"): [("rh", 85.3)],
    ("json", "time-iso.json"): [("rh", 85.3)],
    ("json", "time-unset.json"): [("rh", 85.3)],
    ("json", "time-null.json"): [("rh", 85.3)],
    ("json", "digits-in-quotes.json"): [("rh", 85.3)],
    ("json", "brackets-in-text.json"): [("rh", 85.3)],
    ("json", "escaped-key.json"): [("rh", 85.3)],
    ("senml", "single.json"): [("s", 23.1)],
    ("senml", "base-name.json"): [("hum", 84.5), ("open", 0.0)],
    ("senml", "batch.json"): [("hum", 80.0), ("hum", 81.5), ("hum", 82.0)],
    ("senml", "relative.json"): [("hum", 80.0), ("hum", 81.0)],
    ("senml", "base-value.json"): [("hum", 81.5)],
    ("senml", "text.json"): [("hum", 84.5), ("open", 1.0)],
    ("words", "open.txt"): [("w", 1.0)],
    ("words", "closed.txt"): [("w", 0.0)],
    ("words", "upper.txt"): [("w", 1.0)],
    ("words", "line-end.txt"): [("w", 0.0)],
    ("words", "in-json.json"): [("wj", 1.0)],
}
"""(format, file) -> what is read from it. All others are refused, for the reason below."""

REFUSED: dict[tuple[str, str], Reject] = {
    ("number", "degree-fahrenheit.txt"): Reject.UNIT_UNKNOWN,  # on a humidity sensor
    ("number", "huge-exponent.txt"): Reject.NOT_FINITE,
    ("number", "nan.txt"): Reject.NOT_FINITE,
    ("number", "infinity.txt"): Reject.NOT_FINITE,
    ("number", "empty.txt"): Reject.EMPTY,
    ("number", "blanks.txt"): Reject.EMPTY,
    ("number", "text.txt"): Reject.NOT_A_NUMBER,
    ("number", "latin1.txt"): Reject.NOT_UTF8,
    ("number", "wrong-unit.txt"): Reject.UNIT_UNKNOWN,
    ("number", "thousands.txt"): Reject.NOT_A_NUMBER,
    ("number", "underscore.txt"): Reject.NOT_A_NUMBER,
    ("number", "too-long.txt"): Reject.NOT_FINITE,
    ("json", "time-naive.json"): Reject.TIME_NAIVE,
    ("json", "time-bad.json"): Reject.TIME_BAD,
    ("json", "seq-bad.json"): Reject.SEQ_BAD,
    ("json", "null.json"): Reject.EMPTY,
    ("json", "empty-text.json"): Reject.EMPTY,
    ("json", "bool.json"): Reject.WRONG_TYPE,
    ("json", "object.json"): Reject.WRONG_TYPE,
    ("json", "word.json"): Reject.NOT_A_NUMBER,
    ("json", "nan.json"): Reject.NOT_FINITE,
    ("json", "infinity.json"): Reject.NOT_FINITE,
    ("json", "long-integer.json"): Reject.NOT_FINITE,
    ("json", "cut-off.json"): Reject.NOT_JSON,
    ("json", "empty.json"): Reject.EMPTY,
    ("json", "not-utf8.json"): Reject.NOT_UTF8,
    ("json", "utf16.json"): Reject.NOT_UTF8,
    ("json", "lone-surrogate.json"): Reject.NOT_A_NUMBER,
    ("json", "deep.json"): Reject.TOO_DEEP,
    ("json", "too-large.json"): Reject.TOO_LARGE,
    ("json", "other-unit.json"): Reject.UNIT_UNKNOWN,
    ("json", "number-only.json"): Reject.PATH_MISSING,
    ("senml", "wrong-unit.json"): Reject.UNIT_UNKNOWN,
    ("senml", "bool-for-number.json"): Reject.WRONG_TYPE,
    ("senml", "data.json"): Reject.EMPTY,
    ("senml", "two-values.json"): Reject.BAD_SENML,
    ("senml", "must-understand.json"): Reject.BAD_SENML,
    ("senml", "newer-version.json"): Reject.BAD_SENML,
    ("senml", "no-name.json"): Reject.BAD_SENML,
    ("senml", "object.json"): Reject.BAD_SENML,
    ("senml", "number-as-text.json"): Reject.BAD_SENML,
    ("senml", "other-name.json"): Reject.PATH_MISSING,
    ("senml", "time-beyond.json"): Reject.TIME_BAD,
    ("senml", "infinite.json"): Reject.NOT_FINITE,
    ("senml", "huge-integer.json"): Reject.NOT_FINITE,
    ("senml", "nan.json"): Reject.NOT_FINITE,
    ("senml", "wrong-word.json"): Reject.UNKNOWN_WORD,
    ("senml", "cut-off.json"): Reject.NOT_JSON,
    ("senml", "empty.json"): Reject.EMPTY,
    ("senml", "not-utf8.json"): Reject.NOT_UTF8,
    ("senml", "deep.json"): Reject.TOO_DEEP,
    ("senml", "too-large.json"): Reject.TOO_LARGE,
    ("words", "ajar.txt"): Reject.UNKNOWN_WORD,
    ("words", "empty.txt"): Reject.EMPTY,
    ("words", "number.txt"): Reject.UNKNOWN_WORD,
    ("words", "latin1.txt"): Reject.NOT_UTF8,
    ("words", "too-long.txt"): Reject.TOO_LARGE,
    ("words", "object.json"): Reject.WRONG_TYPE,
    ("words", "null.json"): Reject.EMPTY,
    ("words", "blank.json"): Reject.EMPTY,
    ("words", "bool.json"): Reject.UNKNOWN_WORD,
    ("words", "missing.json"): Reject.PATH_MISSING,
    ("words", "cut-off.json"): Reject.NOT_JSON,
    ("words", "deep.json"): Reject.TOO_DEEP,
    ("words", "nan.json"): Reject.NOT_FINITE,
    ("words", "time-bad.json"): Reject.TIME_BAD,
    ("words", "time-naive.json"): Reject.TIME_NAIVE,
    ("words", "seq-bad.json"): Reject.SEQ_BAD,
}
"""(format, file) -> a reason it is refused for, by at least one of the format's sensors."""


@pytest.mark.parametrize(("form", "name", "body"), samples())
def test_sample(form: str, name: str, body: bytes) -> None:
    decoded = routes().decode(Message(form, body, RECEIVED), True)
    read = [(reading.sensor, pytest.approx(reading.value)) for reading in decoded.readings]
    assert read == READ.get((form, name), [])
    if (form, name) not in READ:
        assert REFUSED[form, name] in {rejected.reason for rejected in decoded.rejects}
    assert all(reading.delivery is not Delivery.RETAINED for reading in decoded.readings)


def test_every_outcome_has_its_file() -> None:
    assert {(form, name) for form, name, _ in samples()} == READ.keys() | REFUSED.keys()
    assert not READ.keys() & REFUSED.keys()
