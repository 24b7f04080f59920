"""What was decided, as canonical lines beside the inputs it was decided for: a replay compares these texts.

Reads only. The lines are those `codec.outcome_lines` makes of a fresh outcome.
"""

from gillhouse.core.readings import Verdict
from gillhouse.store.codec import decision_line, decode_spare_verdict
from gillhouse.store.names import Showing
from gillhouse.store.read_journal import END, JournalQueries
from gillhouse.store.read_log import ALARMS, COMMANDS, EVENTS, alarm_at, command_at, event_at


class DecisionQueries(JournalQueries):
    """Sequence ranges hold both ends. Rows with the number 0 were made outside the core and are left out."""

    _names: Showing

    def decisions(self, seq_from: int, seq_to: int | None) -> dict[int, tuple[str, ...]]:
        """Sequence number -> the verdict on a reading, then commands, events and alarm notices.

        Only inputs something followed from. `seq_to` None: to the end of the journal.
        """
        last = END if seq_to is None else seq_to
        found: dict[int, list[str]] = {}
        for first, end, from_ms, to_ms, _ in self._stretches(max(seq_from, 1), last):
            for _, at, _, _ in self._stored(first, end, from_ms, to_ms):
                found.setdefault(at.seq, []).append(decision_line(Verdict(at.quality, at.mark)))
        span = (max(seq_from, 1), last)
        for seq, body in self._db.execute(
            "SELECT seq, body FROM inputs WHERE kind = 'Reading' AND seq BETWEEN ? AND ?", span
        ):
            found.setdefault(seq, []).append(decision_line(decode_spare_verdict(body)))
        for row in self._db.execute(COMMANDS + "WHERE seq BETWEEN ? AND ? ORDER BY id", span):
            command = command_at(row, self._names)
            found.setdefault(command.seq, []).append(decision_line(command.command))
        for row in self._db.execute(EVENTS + "WHERE seq BETWEEN ? AND ? ORDER BY id", span):
            event = event_at(row, self._names)
            found.setdefault(event.seq, []).append(decision_line(event.event))
        for row in self._db.execute(ALARMS + "WHERE seq BETWEEN ? AND ? ORDER BY id", span):
            alarm = alarm_at(row, self._names)
            found.setdefault(alarm.seq, []).append(decision_line(alarm.notice))
        return {seq: tuple(lines) for seq, lines in sorted(found.items())}
