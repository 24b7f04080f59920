"""What a command message asks of a relay, or why it is refused.

An ON must say for how long (`seconds`), and may say until when (`until`, Unix time) and which command it is
(`id`, growing). Nothing that was kept by the broker, is out of date, or came before switches anything on. An
OFF is always obeyed: it can do no harm.
"""

import json

RETAINED, UNREADABLE, NO_END, EXPIRED, REPEATED = "retained", "unreadable", "no end", "expired", "repeated"


class Order:
    """`ms` to run from now; 0: off. `refused` says why it counts for nothing, or is None."""

    def __init__(self, ms=0, number=None, refused=None):
        self.ms, self.number, self.refused = ms, number, refused


def whole(value):
    """A whole number, also one in quotes; None where there is none."""
    if value is None or value is True or value is False:
        return None
    return int(value)


def read(payload, retained, unix_ms, last):
    """
    Args:
        payload: bytes. retained: the broker had kept it. unix_ms: the wall clock; None: not set.
        last: number of the last order that was obeyed; None: none yet.
    Returns: an Order. Never raises.
    """
    if retained:
        return Order(refused=RETAINED)
    try:
        said = json.loads(payload)
        on = said["on"]
        seconds, until = said.get("seconds"), whole(said.get("until"))
        number = whole(said.get("id"))
        seconds = None if seconds is None else float(seconds)
    except (ValueError, TypeError, KeyError, AttributeError, UnicodeError, RuntimeError, OverflowError):
        return Order(refused=UNREADABLE)
    if on is False:
        return Order(0, number)
    if on is not True:
        return Order(refused=UNREADABLE)
    if seconds is None or not 0 < seconds <= 86400:
        return Order(refused=NO_END)
    if number is not None and last is not None and number <= last:
        return Order(refused=REPEATED)
    ms = int(seconds * 1000)
    if until is not None and unix_ms is not None:
        ms = min(ms, until * 1000 - unix_ms)
        if ms <= 0:
            return Order(refused=EXPIRED)
    return Order(ms, number)
