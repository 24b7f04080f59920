"""The closed list of reasons for which a message, or one sensor's part of it, gives no reading.

Here: the list, and `refused`, which makes the one exception a decoder may raise. Nothing else.
"""

from enum import StrEnum

from gillhouse.errors import PayloadError

SHOWN_CHARS = 60
"""How much of an offending value is shown; a log line, not a copy of the message. Our own choice."""


class Reject(StrEnum):
    """Why there is no reading. Each is counted, stored with the event, and explained in the docs."""

    EMPTY = "empty"
    """No bytes, only blanks, or a JSON null: there is no value."""
    TOO_LARGE = "too-large"
    """Longer than the cap; not looked into."""
    NOT_UTF8 = "not-utf8"
    NOT_A_NUMBER = "not-a-number"
    """Text where a number should stand."""
    NOT_FINITE = "not-finite"
    """NaN, Infinity, or too large for a number."""
    NOT_JSON = "not-json"
    TOO_DEEP = "too-deep"
    """Nested deeper than any board has reason to."""
    PATH_MISSING = "path-missing"
    """The pointer leads nowhere, or no SenML record has the name."""
    WRONG_TYPE = "wrong-type"
    """Something is there, but of a kind that can be neither number nor word (an object, a truth value)."""
    UNKNOWN_WORD = "unknown-word"
    """Neither of the two words of an on/off input."""
    UNIT_UNKNOWN = "unit-unknown"
    """The message names a unit that this quantity cannot have."""
    TIME_BAD = "time-bad"
    """The board's time cannot be read."""
    TIME_NAIVE = "time-naive"
    """A calendar time without offset: it would be wrong by hours, twice a year by one more."""
    SEQ_BAD = "seq-bad"
    """The board's message number is no whole number from 0 up."""
    BAD_SENML = "bad-senml"
    """JSON, but not a SenML pack (RFC 8428 section 4)."""
    DUPLICATE = "duplicate"
    """The same reading came before."""


def shown(value: object) -> str:
    """`value` shortened and made printable, for a person to recognise."""
    if isinstance(value, bytes):
        text = value[: SHOWN_CHARS + 1].decode("utf-8", "backslashreplace")
    else:
        text = str(value)[: SHOWN_CHARS + 1]
    cut = text[:SHOWN_CHARS] + ("..." if len(text) > SHOWN_CHARS else "")
    return ascii(cut)


def refused(reason: Reject, detail: str) -> PayloadError:
    """The one exception a decoder may raise."""
    return PayloadError(reason, detail)
