"""The one writer of the store: a thread that owns the file, commits in groups, and never holds anybody up.

`put` only appends to a list; the thread sleeps until the group is due (a plain reading's turn comes within
`commit_every_ms`), until somebody puts an urgent entry, or until the broker has so many readings unanswered
that it would stop sending. Then all that waits goes into one transaction, synchronous to the disk, and the
tokens of the stored readings are handed back.

When the disk refuses, entries stay in memory in their order, up to a bound, and the commit is tried again at
growing waits. When no commit has succeeded for `release_after_ms` (a second thread sees to that, since this
one may be stuck inside the disk), tokens are handed back all the same: a stalled disk must not silence the
sensors. What had to be dropped is a gap event with its count.

Callbacks come from these threads or from the caller of `put`; they must return at once and not call `flush`
or `close`.
"""

import sqlite3
import threading
from collections.abc import Callable
from enum import Enum
from pathlib import Path

from gillhouse.clock import Box, Clock
from gillhouse.core.edges import StoreSettings
from gillhouse.errors import StoreError
from gillhouse.store import rows
from gillhouse.store.backlog import Backlog
from gillhouse.store.file import StoreFile
from gillhouse.store.health import Health
from gillhouse.store.records import Opened
from gillhouse.store.tables import LineOf


class _Nudge(Enum):
    LOOK = "look"


class Writer:  # 13 methods: one thread, and the ways others hand it work
    """See the module. Made: the store is open and locked, and `opened` says what was found."""

    def __init__(
        self,
        path: Path,
        clock: Clock,
        settings: StoreSettings,
        on_committed: Callable[[list[object]], None],
        on_state: Callable[[bool, str], None],
    ) -> None:
        """Opens or begins the store at `path`.

        `on_committed` is given tokens of readings that are safe (or were let go, see the module).
        `on_state` is told False with a reason when the store fails, True once it works again.

        Raises StoreError when the path cannot be written, is damaged, or another writer has it.
        """
        self._clock = clock
        self._on_committed = on_committed
        self._file = StoreFile(Path(path), clock.now(), settings)
        self.opened: Opened = self._file.opened
        self.next_seq: int = self.opened.next_seq
        """First free sequence number when the store was opened; from there the caller counts."""
        self.commits = 0
        """Transactions committed so far."""
        self.last_turn_ms = clock.now().mono_ms
        """When the loop last came round; the watchdog reads it."""
        self.at_disk = False
        """The loop is inside the disk; for how long is the disk's affair, and an alarm's."""
        self._lock = threading.Lock()
        self._handing = threading.Lock()
        self._backlog = Backlog(clock, settings.queue_rows, settings.commit_every_ms)
        self._waiters: list[threading.Event] = []
        self._box: Box[_Nudge] = Box(clock)
        self._health = Health(
            clock, settings.release_after_ms, on_state, lambda: self._hand(self._backlog.let_go)
        )
        self._thread = threading.Thread(target=self._run, name="store-writer", daemon=True)

    def start(self) -> None:
        """Begins writing. What was put before is kept and written now."""
        self._health.start()
        self._thread.start()

    def keep_lines(self, line_of: LineOf) -> None:
        """Has a line for the mirror stored with each reading, in the same transaction. Before `start`."""
        self._file.keep_lines(line_of)

    def put(self, *entries: rows.Entry) -> None:
        """Queues entries. Those of one call share a transaction: no outcome of an input is half there."""
        with self._lock:
            if self._backlog.put(entries):
                self._box.put(_Nudge.LOOK)
        if self._health.down:
            self._hand(self._backlog.let_go)

    def release_after(self, token: object) -> None:
        """Hands `token` back once all that was put so far is safe; at once if that is so already.

        For messages that leave no reading: a broker wants its answers in order and counts these too.
        """
        with self._lock:
            if self._backlog.hold(token):
                self._box.put(_Nudge.LOOK)
        self._hand(self._backlog.let_go if self._health.down else self._backlog.free)

    def set_unacked_limit(self, limit: int) -> None:
        """Commit early once this many tokens wait: 15 for MQTT 3.1.1, 750 where 1,000 were asked for."""
        self._backlog.unacked_limit = limit

    def flush(self, timeout_s: float = 5.0) -> bool:
        """Commits what was put so far and waits for it. False if that did not succeed in time."""
        done = threading.Event()
        with self._lock:
            self._waiters.append(done)
            self._backlog.due = True
            self._health.retry_now()
            self._box.put(_Nudge.LOOK)
        return done.wait(timeout_s)  # the disk's time, not the clock's: virtual time stands still meanwhile

    def close(self, timeout_s: float = 8.0) -> bool:
        """Commits, marks a clean stop, lets the file go. False if rows were left behind or the disk hangs."""
        if self._thread.ident is None:
            self.start()
        self._box.close()
        self._thread.join(timeout_s)
        self._health.close()
        return not self._thread.is_alive() and not self._backlog.entries

    def turn(self) -> None:
        """Has the loop come round soon, if it can. Commits nothing before its time."""
        self._box.put(_Nudge.LOOK)

    def settled(self) -> bool:
        """True while everything is at rest and nothing that is due by now is uncommitted."""
        now_ms = self._clock.now().mono_ms
        with self._lock:
            due = self._backlog.due and self._health.retry_ms is None
        return not due and self._box.at_rest(now_ms) and self._health.at_rest(now_ms)

    def _run(self) -> None:
        while not self._box.closed:
            self.last_turn_ms = self._clock.now().mono_ms
            with self._lock:
                wake_ms = self._health.retry_ms
                if wake_ms is None:
                    wake_ms = self._backlog.wake_ms()
            if wake_ms is not None and wake_ms <= self._clock.now().mono_ms:
                self._commit()
            else:
                self._box.take(wake_ms)
        self._commit()
        try:
            self._file.close(clean=not self._backlog.entries)
        except sqlite3.Error as error:
            self._health.failed(self._clock.now().mono_ms, str(error))

    def _commit(self) -> None:
        now = self._clock.now()
        with self._lock:
            entries, lost = self._backlog.take()
            waiters, self._waiters = self._waiters, []
        self._health.began(now.mono_ms)
        self.at_disk = True
        try:
            if entries or lost.count:
                self._file.commit(entries, lost, now)
                self.commits += 1
        except (sqlite3.Error, StoreError) as error:
            with self._lock:
                self._backlog.give_back(lost)
                self._waiters = waiters + self._waiters
                self._health.failed(self._clock.now().mono_ms, str(error))
            return
        finally:
            self.at_disk = False
        self._health.succeeded()
        self._hand(self._backlog.settle)
        self._hand(self._backlog.free)  # tokens that came while we were at the disk, with no entry of theirs
        for waiter in waiters:
            waiter.set()

    def _hand(self, take: Callable[[], list[object]]) -> None:
        """Hands tokens back in the order they came: who takes some has handed them on before another may."""
        with self._handing:
            with self._lock:
                tokens = take()
            if tokens:
                self._on_committed(tokens)
