"""Readings that have not reached the broker yet: a ring of fixed size, the oldest goes first.

A reading keeps its number and its moment on the board's own uptime; the wall time is worked out when it is
sent, so that readings from before the clock was set get their right time too. The memory is taken once, at
the start, and never grows.
"""

from array import array

ABSENT = -1000.0
"""Where a sensor gave nothing."""
KEYS = ("temp", "rh", "co2")


class Backlog:
    """`keep` readings of 22 bytes each."""

    def __init__(self, keep):
        self.keep = keep
        self.dropped = 0
        """Readings that were overwritten before anybody had them."""
        self._number = array("I", [0] * keep)
        self._second = array("I", [0] * keep)
        self._millis = array("H", [0] * keep)
        self._value = [array("f", [ABSENT] * keep) for _ in KEYS]
        self._first = 0
        self._count = 0

    def __len__(self):
        return self._count

    def put(self, number, uptime_ms, values):
        """Keeps a reading: `values` is a dict with any of KEYS."""
        if self._count == self.keep:
            self._first = (self._first + 1) % self.keep
            self._count -= 1
            self.dropped += 1
        at = (self._first + self._count) % self.keep
        self._number[at] = number
        self._second[at] = uptime_ms // 1000
        self._millis[at] = uptime_ms % 1000
        for column, key in zip(self._value, KEYS):
            column[at] = values.get(key, ABSENT)
        self._count += 1

    def peek(self, place):
        """The reading at `place` from the oldest, as (number, uptime_ms, values)."""
        if not 0 <= place < self._count:
            raise IndexError("no reading %d of %d" % (place, self._count))
        at = (self._first + place) % self.keep
        values = {}
        for column, key in zip(self._value, KEYS):
            if column[at] != ABSENT:
                values[key] = column[at]
        return self._number[at], self._second[at] * 1000 + self._millis[at], values

    def done(self, number):
        """Forgets the oldest readings, up to and with this number."""
        while self._count and self._number[self._first] <= number:
            self._first = (self._first + 1) % self.keep
            self._count -= 1
