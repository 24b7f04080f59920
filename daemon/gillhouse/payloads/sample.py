"""What a format finds in a message for one sensor, before it is given a fate.

Here: the sample, and the reading of a board's own time and message number, which all JSON formats share.
Not here: anything that compares a sample with an earlier one (`routes`).
"""

import re
from datetime import UTC, datetime, timedelta
from typing import NamedTuple

from gillhouse.payloads.reject import Reject, refused, shown

EPOCH = datetime(1970, 1, 1, tzinfo=UTC)
MS_FROM = 1e11
"""A bare number from here up counts milliseconds: as seconds it would lie in the year 5138."""
CLOCK_SET_FROM_MS = 1_577_836_800_000
"""2020-01-01T00:00Z. A board that says an earlier time has no set clock (it counts from its own start, or
from 1970): its reading is kept as one without a time. Our own choice."""
SEQ_LIMIT = 1 << 63
"""Message numbers stay below this, the store's largest integer."""
HINT = "send Unix seconds or ISO 8601 with offset"

_DIGITS = re.compile(r"\d{9,}(?:\.\d+)?", re.ASCII)
# nine digits or more: `20260101` is a date (ISO 8601 basic form), not a moment in August 1970
_MS = timedelta(milliseconds=1)


class Sample(NamedTuple):
    """One value of one sensor, in its quantity's canonical unit."""

    value: float
    own_ms: int | None = None
    """The board's own time, Unix milliseconds; None where it sent none, or its clock is not set."""
    seq: int | None = None
    """The board's own message number."""
    shift_ms: int = 0
    """How long before (below 0) or after its sending the value was true, where only that is known."""


def own_time_ms(raw: object) -> int | None:
    """A board's time: Unix seconds or milliseconds, as number or digits, or ISO 8601 with an offset.

    Returns:
        Unix milliseconds, or None if the board's clock is plainly not set.
    Raises:
        PayloadError: TIME_BAD, or TIME_NAIVE for a calendar time without offset.
    """
    if isinstance(raw, str):
        raw = raw.strip()
        ms = _from_number(float(raw)) if _DIGITS.fullmatch(raw) else _from_calendar(raw)
    elif isinstance(raw, int | float) and not isinstance(raw, bool):
        ms = _from_number(raw)
    else:
        raise refused(Reject.TIME_BAD, f"{shown(raw)} is no time; {HINT}")
    return ms if ms >= CLOCK_SET_FROM_MS else None


def _from_number(raw: float) -> int:
    try:
        return round(raw if raw >= MS_FROM else raw * 1000)
    except (OverflowError, ValueError):  # infinite, or no number at all
        raise refused(Reject.TIME_BAD, f"{shown(raw)} is no time") from None


def _from_calendar(raw: str) -> int:
    try:
        moment = datetime.fromisoformat(raw)
    except ValueError:
        raise refused(Reject.TIME_BAD, f"{shown(raw)} is no time; {HINT}") from None
    if moment.tzinfo is None:
        raise refused(Reject.TIME_NAIVE, f"{shown(raw)} has no offset; end it with Z or +01:00")
    return (moment - EPOCH) // _MS


def board_seq(raw: object) -> int:
    """A board's message number: a whole number from 0 up, as number or digits.

    Raises:
        PayloadError: SEQ_BAD.
    """
    if isinstance(raw, str) and raw.isascii() and raw.isdigit() and len(raw) < 20:
        raw = int(raw)
    if type(raw) is int and 0 <= raw < SEQ_LIMIT:
        return raw
    if isinstance(raw, float) and raw.is_integer() and 0 <= raw < SEQ_LIMIT:
        return int(raw)
    raise refused(Reject.SEQ_BAD, f"{shown(raw)} is no message number; send a whole number from 0 up")
