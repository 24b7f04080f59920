"""Copies readings to a second store that takes line protocol v2. It only receives and is asked nothing.

The lines lie in `mirror_outbox`, written in the same transaction as their readings. This thread reads them in
order and hands them to the `receiver`; a line is marked sent only after the receiver said yes.

What a receiver that is killed said yes to in its last seconds may be gone, so after any failure, and at
start, the last 30 s of sending are sent again: the same point twice is one point. A line the receiver
refuses is found by halving and parked with the reason, so that it never holds up the others; when it refuses
everything, something else is wrong and nothing is parked.
"""

import sqlite3
import threading
from collections.abc import Sequence
from dataclasses import dataclass, field
from pathlib import Path

from gillhouse.clock import Box, Clock
from gillhouse.core.edges import MirrorSettings
from gillhouse.core.outputs import Event, EventKind, Facts
from gillhouse.store import rows
from gillhouse.store.keep import DAY_MS
from gillhouse.store.lines import line_of
from gillhouse.store.reader import Reader
from gillhouse.store.receiver import Receiver, SendFailed
from gillhouse.store.writer import Writer

REWIND_MS = 30_000
"""Sent again after a failure."""

KEEP_SENT_MS = 600_000
"""Sent lines stay this long, so that there is something to send again."""

RETRY_MS = (1_000, 2_000, 5_000, 15_000, 60_000)
"""Waits after failures in a row; the last one repeats."""

MOST_REFUSED = 8
"""Single lines refused in a row before it is taken for a refusal of everything."""

REFUSES_ALL = "refuses every line: check its url, org and bucket"

Line = tuple[int, str]


class Mirror:
    """One thread. Its troubles are events of the kind `link`, subject `mirror`, in the log."""

    def __init__(
        self,
        settings: MirrorSettings,
        store: Path,
        clock: Clock,
        writer: Writer,
    ) -> None:
        """`writer` is not started yet: it is told to keep a line with each reading of `store`, its file."""
        writer.keep_lines(line_of)
        self._settings = settings
        self._clock = clock
        self._store = store
        self._put = writer.put
        self._receiver = Receiver(settings)
        self._after = 0
        self._sent: list[tuple[int, int]] = []  # (wall ms, id before the batch), of the last half minute
        self._failures = 0
        self._box: Box[None] = Box(clock)
        self._thread = threading.Thread(target=self._run, name="mirror", daemon=True)

    def start(self) -> None:
        self._thread.start()

    def stop(self, timeout_s: float = 5.0) -> None:
        """Unsent lines stay in the store for the next start."""
        self._box.close()
        self._thread.join(timeout_s)

    def settled(self) -> bool:
        """True while it waits for its next turn."""
        return self._box.at_rest(self._clock.now().mono_ms)

    def _run(self) -> None:
        with Reader(self._store) as reader:
            self._after = reader.mirror_start(REWIND_MS)
            while not self._box.closed:
                wait_ms = self._turn(reader)
                self._box.take(self._clock.now().mono_ms + wait_ms)
        self._receiver.drop()

    def _turn(self, reader: Reader) -> int:
        """Sends what there is; returns the wait until the next turn in ms."""
        try:
            while not self._box.closed:
                lines = reader.mirror_lines(self._after, self._settings.batch_rows)
                if not lines:
                    break
                self._send_batch(lines)
                self._after = lines[-1][0]
        except SendFailed as failure:
            wait_ms = self._fail(failure)
        except sqlite3.Error as error:
            wait_ms = self._fail(SendFailed(f"cannot be fed, the store cannot be read: {error}"))
        else:
            if self._failures:
                self._failures = 0
                self._tell(True, "")
            wait_ms = self._settings.every_ms
        now_ms = self._clock.now().wall_ms
        self._put(rows.MirrorDrop(now_ms - KEEP_SENT_MS, now_ms - self._settings.keep_days * DAY_MS))
        return wait_ms

    def _send_batch(self, lines: Sequence[Line]) -> None:
        """Sends `lines`; parks those the receiver refuses, if it takes any of the others."""
        batch = _Batch()
        self._send(lines, batch)
        if batch.refused and not batch.accepted:
            raise SendFailed(f"{REFUSES_ALL} ({batch.refused[-1].reason})")
        if batch.refused:
            self._put(*batch.refused)

    def _send(self, lines: Sequence[Line], batch: "_Batch") -> None:
        status, why = self._receiver.write([line for _, line in lines])
        if status is None:
            batch.accepted = True
            self._took(lines)
        elif len(lines) > 1:
            half = len(lines) // 2
            self._send(lines[:half], batch)
            self._send(lines[half:], batch)
        else:
            batch.refused.append(rows.MirrorParked(lines[0][0], f"{status}: {why}"[:300]))
            if not batch.accepted and len(batch.refused) >= MOST_REFUSED:
                raise SendFailed(f"{REFUSES_ALL} ({status}: {why})"[:300])

    def _took(self, lines: Sequence[Line]) -> None:
        now_ms = self._clock.now().wall_ms
        self._sent = [pair for pair in self._sent if pair[0] > now_ms - REWIND_MS]
        self._sent.append((now_ms, lines[0][0] - 1))
        self._put(rows.MirrorSent(tuple(key for key, _ in lines), now_ms))

    def _fail(self, failure: SendFailed) -> int:
        """Steps back by half a minute of sending; returns the wait in ms."""
        now_ms = self._clock.now().wall_ms
        since_ms = now_ms - REWIND_MS
        again = [before for sent_ms, before in self._sent if sent_ms > since_ms]
        if again:
            self._after = min(again[0], self._after)
            self._put(rows.MirrorRewind(since_ms))
            self._sent.clear()
        if not self._failures:
            self._tell(False, str(failure))
        wait_ms = failure.wait_ms or RETRY_MS[min(self._failures, len(RETRY_MS) - 1)]
        self._failures += 1
        self._receiver.drop()  # a new one reads the token again
        return wait_ms

    def _tell(self, up: bool, why: str) -> None:
        """One event in the log per change: the mirror is a convenience, nobody is woken for it."""
        facts: Facts = {"up": up, "url": self._settings.url, "why": why}
        event = Event(EventKind.LINK, "mirror", None, None, facts)
        self._put(rows.EventRow(0, self._clock.now().wall_ms, event))


@dataclass(slots=True)
class _Batch:
    """How one batch went."""

    accepted: bool = False
    """The receiver took some line of it."""
    refused: list[rows.MirrorParked] = field(default_factory=list)
