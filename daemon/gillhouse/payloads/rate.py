"""How fast one may speak: a bucket of tokens for each name, filled at a steady rate up to a burst.

Pure arithmetic on monotonic milliseconds given from outside. Each call takes a token; where none is left the
call is over the limit. A name that went over is quiet again once it has kept the limit for `QUIET_MS`.
"""

from dataclasses import dataclass

QUIET_MS = 60_000
"""Kept the limit for so long: it is over. Our own choice."""


@dataclass(slots=True)
class _Bucket:
    tokens: float
    filled_ms: int
    over_ms: int | None = None
    """The last call over the limit, until it is quiet again."""
    dropped: int = 0
    """Calls over the limit since it went over."""


class Rates:
    """Buckets by name. Not for two threads at a time."""

    def __init__(self, per_s: int, burst: int) -> None:
        """
        Args:
            per_s: calls a second that may go on for good; 0: no limit.
            burst: calls that may come at once after a quiet time.
        """
        self._per_ms = per_s / 1000
        self._burst = float(burst)
        self._buckets: dict[str, _Bucket] = {}
        self._over: set[str] = set()

    def take(self, name: str, mono_ms: int) -> bool:
        """One call. False: it is over the limit."""
        if not self._per_ms:
            return True
        bucket = self._buckets.get(name)
        if bucket is None:
            bucket = self._buckets[name] = _Bucket(self._burst, mono_ms)
        bucket.tokens = min(self._burst, bucket.tokens + (mono_ms - bucket.filled_ms) * self._per_ms)
        bucket.filled_ms = mono_ms
        if bucket.tokens >= 1.0:
            bucket.tokens -= 1.0
            return True
        bucket.over_ms = mono_ms
        bucket.dropped += 1
        self._over.add(name)
        return False

    def dropped(self, name: str) -> int:
        """Calls of `name` over the limit since it went over; 0 while it keeps it."""
        bucket = self._buckets.get(name)
        return 0 if bucket is None else bucket.dropped

    def quiet(self, mono_ms: int) -> dict[str, int]:
        """Names that keep the limit again, with how many calls were over it; each is told once."""
        ended = {}
        for name in sorted(self._over):
            bucket = self._buckets[name]
            if bucket.over_ms is not None and mono_ms - bucket.over_ms >= QUIET_MS:
                ended[name] = bucket.dropped
                bucket.over_ms, bucket.dropped = None, 0
        self._over -= ended.keys()
        return ended

    def next_ms(self) -> int | None:
        """When the next name may be quiet again; None while nobody is over the limit."""
        ends = [
            bucket.over_ms + QUIET_MS
            for name in self._over
            if (bucket := self._buckets[name]).over_ms is not None
        ]
        return min(ends, default=None)
