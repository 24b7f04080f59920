"""Entries that wait for their commit: bounded, counted when some must go, with the tokens of the readings.

No SQL, no thread, no waiting; the writer holds its lock around every call.
"""

from dataclasses import dataclass

from gillhouse.core.outputs import Event, EventKind
from gillhouse.store import rows


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

    def event(self) -> rows.EventRow:
        """The gap, as a row of the log; number 0, since no input of the core led to it."""
        facts: dict[str, float | int | str | bool | None] = {
            "lost": self.count, "from_ms": self.from_ms, "to_ms": self.to_ms, "why": self.why,
        }
        return rows.EventRow(0, self.to_ms, Event(EventKind.GAP, "store", None, None, facts))


class Backlog:
    """`entries` in the order they came and `tokens` nobody was told about yet."""

    def __init__(self, most_rows: int) -> None:
        self.entries: list[rows.Entry] = []
        self.tokens: list[object] = []
        self.lost = Lost()
        self._most = most_rows
        self._taken: list[rows.Entry] = []
        self._taken_tokens: list[object] = []

    def add(self, entry: rows.Entry) -> None:
        self.entries.append(entry)
        if len(self.entries) + len(self._taken) > self._most:
            self._shed()

    def take(self) -> list[rows.Entry]:
        """All entries, for a commit; `give_back` or `settle` says how it went."""
        self._taken, self.entries = self.entries, []
        self._taken_tokens, self.tokens = self.tokens, []
        return self._taken

    @property
    def unsafe(self) -> bool:
        """Something put is not committed yet."""
        return bool(self.entries or self._taken)

    def settle(self) -> list[object]:
        """What was taken is safe: returns its tokens, those that were not let go meanwhile."""
        tokens, self._taken, self._taken_tokens = self._taken_tokens, [], []
        return tokens

    def give_back(self) -> None:
        """What was taken is not safe and stands first again."""
        self.entries, self._taken = self._taken + self.entries, []
        self.tokens, self._taken_tokens = self._taken_tokens + self.tokens, []
        if len(self.entries) > self._most:
            self._shed()

    def take_lost(self) -> Lost:
        lost, self.lost = self.lost, Lost()
        return lost

    def give_back_lost(self, lost: Lost) -> None:
        """`lost` could not be written either; it is told with the next success."""
        if not lost.count:
            return
        newer = self.lost
        self.lost = lost
        if newer.count:
            lost.to_ms = max(lost.to_ms, newer.to_ms)
            lost.count, lost.why = lost.count + newer.count, newer.why

    def let_go(self) -> list[object]:
        """All tokens, those of a commit under way too: their readings stay here, nobody waits for them."""
        tokens = self._taken_tokens + self.tokens
        self._taken_tokens, self.tokens = [], []
        return tokens

    def _shed(self) -> None:
        """Drops the oldest tenth: readings before anything else, since a log of deeds outlasts figures."""
        spare = max(1, self._most // 10)
        kept: list[rows.Entry] = []
        for kinds in ((rows.ReadingRow,), (rows.InputRow, rows.CounterRow), (object,)):
            for entry in self.entries:
                if spare and isinstance(entry, kinds):
                    spare -= 1
                    self.lost.add(entry, "memory full while the disk refused")
                else:
                    kept.append(entry)
            self.entries, kept = kept, []


def _when(entry: rows.Entry) -> int:
    """Wall ms of an entry, 0 where it has none."""
    if isinstance(entry, rows.ReadingRow | rows.InputRow):
        return entry.now.wall_ms
    return getattr(entry, "ts", None) or 0
