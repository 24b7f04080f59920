"""Entries that wait for their commit: bounded, counted when some must go, with the tokens of the readings.

No SQL, no thread, no waiting; the writer holds its lock around every call.
"""

from collections.abc import Iterable
from dataclasses import dataclass

from gillhouse.clock import Clock
from gillhouse.core.outputs import Event, EventKind
from gillhouse.store import rows

UNACKED_LIMIT = 15
"""Readings a broker may wait for before we commit early. Brokers of MQTT 3.1.1 send 20 by default, then stop
until one is answered (mosquitto.conf(5), max_inflight_messages)."""


@dataclass(slots=True)
class Lost:
    """What could not be kept. Wall ms of the first and last of them."""

    count: int = 0
    from_ms: int = 0
    to_ms: int = 0
    why: str = ""

    def add(self, entry: rows.Entry, why: str) -> None:
        at_ms = _when(entry)
        if not self.count or (at_ms and at_ms < self.from_ms):
            self.from_ms = at_ms
        self.to_ms = max(self.to_ms, at_ms)
        self.count += 1
        self.why = why

    def and_then(self, later: "Lost") -> "Lost":
        """Both together."""
        if not later.count:
            return self
        return Lost(self.count + later.count, self.from_ms, max(self.to_ms, later.to_ms), later.why)

    def event(self) -> rows.EventRow:
        """The gap, as a row of the log; number 0, since no input of the core led to it."""
        facts: dict[str, float | int | str | bool | None] = {
            "lost": self.count,
            "from_ms": self.from_ms,
            "to_ms": self.to_ms,
            "why": self.why,
        }
        return rows.EventRow(0, self.to_ms, Event(EventKind.GAP, "store", None, None, facts))


class Backlog:
    """`entries` in the order they came and `tokens` nobody was told about yet."""

    def __init__(self, clock: Clock, most_rows: int, commit_every_ms: int) -> None:
        self.entries: list[rows.Entry] = []
        self.tokens: list[object] = []
        self.due = False
        """They shall be committed now, not when their group's time has come."""
        self.unacked_limit = UNACKED_LIMIT
        self._clock = clock
        self._most_rows = most_rows
        self._commit_every_ms = commit_every_ms
        self._first_ms = 0
        self._lost = Lost()
        self._taken: list[rows.Entry] = []
        self._taken_tokens: list[object] = []

    def put(self, entries: Iterable[rows.Entry]) -> bool:
        """Adds entries and their tokens. True if the writer has to look when to commit."""
        idle, due = not self.entries, self.due
        for entry in entries:
            self.entries.append(entry)
            if entry.urgent:
                self.due = True
            if isinstance(entry, rows.ReadingRow) and entry.token is not None:
                self.tokens.append(entry.token)
            if len(self.entries) + len(self._taken) > self._most_rows:
                self._shed()
        if idle:
            self._first_ms = self._clock.now().mono_ms
        self.due = self.due or len(self.tokens) >= self.unacked_limit
        return idle or self.due is not due

    def hold(self, token: object) -> bool:
        """Adds a token that belongs to no entry. True if the writer has to look when to commit."""
        self.tokens.append(token)
        due, self.due = self.due, self.due or len(self.tokens) >= self.unacked_limit
        return self.due is not due

    def wake_ms(self) -> int | None:
        """When to commit, on the monotonic clock; None: nothing to commit."""
        if self.due:
            return 0
        return self._first_ms + self._commit_every_ms if self.entries else None

    def take(self) -> tuple[list[rows.Entry], Lost]:
        """All entries, and what was lost before them; `give_back` or `settle` says how it went."""
        self._taken, self.entries = self.entries, []
        self._taken_tokens, self.tokens = self.tokens, []
        lost, self._lost = self._lost, Lost()
        self.due = False
        return self._taken, lost

    def settle(self) -> list[object]:
        """What was taken is safe: returns its tokens, those that were not let go meanwhile."""
        tokens, self._taken, self._taken_tokens = self._taken_tokens, [], []
        if self.entries:  # came while the writer was at the disk: their group begins now
            self._first_ms = self._clock.now().mono_ms
        return tokens

    def give_back(self, lost: Lost) -> None:
        """What was taken is not safe and stands first again; `lost` is told with the next success."""
        self.entries, self._taken = self._taken + self.entries, []
        self.tokens, self._taken_tokens = self._taken_tokens + self.tokens, []
        if lost.count:
            self._lost = lost.and_then(self._lost)
        if len(self.entries) > self._most_rows:
            self._shed()

    def let_go(self) -> list[object]:
        """All tokens, those of a commit under way too: their readings stay here, nobody waits for them."""
        tokens = self._taken_tokens + self.tokens
        self._taken_tokens, self.tokens = [], []
        return tokens

    def free(self) -> list[object]:
        """The tokens, if everything put so far is safe."""
        return [] if self.entries or self._taken else self.let_go()

    def _shed(self) -> None:
        """Drops the oldest tenth: readings before anything else, since a log of deeds outlasts figures."""
        spare = max(1, self._most_rows // 10)
        kept: list[rows.Entry] = []
        for kinds in ((rows.ReadingRow,), (rows.InputRow, rows.CounterRow), (object,)):
            for entry in self.entries:
                if spare and isinstance(entry, kinds):
                    spare -= 1
                    self._lost.add(entry, "memory full while the disk refused")
                else:
                    kept.append(entry)
            self.entries, kept = kept, []


def _when(entry: rows.Entry) -> int:
    """Wall ms of an entry, 0 where it has none."""
    if isinstance(entry, rows.ReadingRow | rows.InputRow):
        return entry.now.wall_ms
    return getattr(entry, "ts", None) or 0
