"""The only reader of the machine's two clocks, and the only place anything waits.

Everything that waits (control, writer, outboxes, timers, drivers) owns a `Box` and calls `take`. With
`SystemClock` that is an ordinary queue. With `VirtualClock` time stands still until the trial run moves it,
and the trial run can ask whether everybody is at rest.
"""

import ctypes
import threading
import time
from collections import deque
from pathlib import Path
from typing import Generic, Protocol, TypeVar

from gillhouse.core.instant import Instant

T = TypeVar("T")


class Clock(Protocol):
    """Tells the time and waits."""

    def now(self) -> Instant:
        """Both clocks, read together."""
        ...

    def wait(self, condition: threading.Condition, until_mono_ms: int | None) -> None:
        """Waits on `condition` (held by the caller) until notified or `until_mono_ms` has come.

        May return early; the caller looks again. None waits for a notification only.
        """
        ...

    def is_set(self) -> bool | None:
        """Whether the wall clock is set: True by a time server, False by nothing; None: cannot be told."""
        ...


class SystemClock:
    """The machine's clocks. Monotonic time counts from this object's making."""

    def __init__(self) -> None:
        self._origin = time.monotonic()

    def now(self) -> Instant:
        return Instant(
            int(time.time() * 1000),
            int((time.monotonic() - self._origin) * 1000),
        )

    def wait(self, condition: threading.Condition, until_mono_ms: int | None) -> None:
        if until_mono_ms is None:
            condition.wait()
            return
        left_s = until_mono_ms / 1000 - (time.monotonic() - self._origin)
        if left_s > 0:
            condition.wait(left_s)

    def is_set(self) -> bool | None:
        kept = kernel_keeps_time()
        return None if kept is False and battery_clock() else kept


TIME_ERROR = 5
"""Answer of adjtimex(2): 'the system clock is not synchronized to a reliable server'."""
TIMEX_BYTES = 512
"""More than the structure has on any Linux; all zero, it asks and changes nothing."""


def kernel_keeps_time() -> bool | None:
    """Whether the kernel was told by a time server lately; None: no such kernel, or it may not be asked.

    Source: adjtimex(2). Time servers' clients (NTP, chrony, systemd-timesyncd) all tell the kernel there.
    """
    try:
        answer = ctypes.CDLL(None).adjtimex(ctypes.create_string_buffer(TIMEX_BYTES))
    except (AttributeError, OSError):
        return None
    return None if answer < 0 else bool(answer != TIME_ERROR)


def battery_clock(folder: Path = Path("/sys/class/rtc")) -> bool:
    """Whether the machine took its time from a battery clock as it booted.

    Source: Linux, Documentation/ABI/testing/sysfs-class-rtc: `hctosys` is 1 for the clock that was used.
    """
    try:
        return any(one.read_text().strip() == "1" for one in folder.glob("*/hctosys"))
    except OSError:
        return False


class VirtualClock:
    """Time that moves only when told. Wall time runs along, and can be stepped for drills."""

    told_set: bool | None = True
    """What `is_set` answers; a drill may have it otherwise."""

    def __init__(self, wall_ms: int) -> None:
        self._now = Instant(wall_ms, 0)
        self._lock = threading.Lock()
        self._waiting: dict[int, tuple[threading.Condition, int | None]] = {}
        self._next_id = 0

    def now(self) -> Instant:
        return self._now

    def wait(self, condition: threading.Condition, until_mono_ms: int | None) -> None:
        with self._lock:
            if until_mono_ms is not None and until_mono_ms <= self._now.mono_ms:
                return
            key = self._next_id
            self._next_id += 1
            self._waiting[key] = (condition, until_mono_ms)
        condition.wait()
        with self._lock:
            self._waiting.pop(key, None)

    def is_set(self) -> bool | None:
        return self.told_set

    def next_wake_ms(self) -> int | None:
        """The earliest monotonic time anybody waits for."""
        with self._lock:
            times = [until for _, until in self._waiting.values() if until is not None]
        return min(times, default=None)

    def advance_to(self, mono_ms: int) -> None:
        """Moves both clocks to `mono_ms` and wakes whoever waited for that. Never moves back."""
        with self._lock:
            by = mono_ms - self._now.mono_ms
            if by < 0:
                raise ValueError(f"virtual time cannot go back by {-by} ms")
            self._now = self._now.later(by)
            due = [
                condition
                for condition, until in self._waiting.values()
                if until is not None and until <= mono_ms
            ]
        for condition in due:
            with condition:
                condition.notify_all()

    def step_wall(self, by_ms: int) -> None:
        """Steps the wall clock alone, as a time server does."""
        with self._lock:
            self._now = Instant(self._now.wall_ms + by_ms, self._now.mono_ms)


class Box(Generic[T]):
    """A queue whose waiting goes through a clock, and which knows whether its reader is at rest."""

    def __init__(self, clock: Clock) -> None:
        self._clock = clock
        self._items: deque[T] = deque()
        self._changed = threading.Condition()
        self._until: int | None = None
        self._resting = False
        self._closed = False
        self._room: int | None = None
        """Somebody waits until no more than so many items are left."""

    def put(self, item: T) -> None:
        with self._changed:
            self._items.append(item)
            self._changed.notify_all()

    def wait_for_room(self, most: int, timeout_s: float) -> None:
        """Where more than `most` items wait, holds the caller up until half of them are gone, or for
        `timeout_s` of the machine's time. For whoever puts faster than anybody takes."""
        if len(self._items) <= most:
            return
        with self._changed:
            self._room = most // 2
            self._changed.wait_for(lambda: len(self._items) <= most // 2, timeout_s)
            self._room = None

    def close(self) -> None:
        """Lets `take` return None for good once the box is empty."""
        with self._changed:
            self._closed = True
            self._changed.notify_all()

    @property
    def closed(self) -> bool:
        return self._closed and not self._items

    def __len__(self) -> int:
        return len(self._items)

    def take(self, until_mono_ms: int | None = None) -> T | None:
        """The next item, or None once `until_mono_ms` has come or the box is closed and empty."""
        with self._changed:
            while not self._items:
                if self._closed:
                    return None
                if until_mono_ms is not None and self._clock.now().mono_ms >= until_mono_ms:
                    return None
                self._until, self._resting = until_mono_ms, True
                self._clock.wait(self._changed, until_mono_ms)
                self._resting = False
            item = self._items.popleft()
            if self._room is not None and len(self._items) <= self._room:
                self._changed.notify_all()
            return item

    def at_rest(self, now_mono_ms: int) -> bool:
        """True while the reader waits, nothing is queued, and its deadline has not come."""
        with self._changed:
            return self._resting and not self._items and (self._until is None or self._until > now_mono_ms)
