"""Questions about the farm's log: commands, events, alarms, counters, messages. Reads only."""

import sqlite3
from collections.abc import Iterator
from typing import Any

from gillhouse.core.outputs import AlarmNotice, Authority, Command, Event, EventKind, Transition
from gillhouse.core.reasons import Reason
from gillhouse.errors import StoreError
from gillhouse.store.chain import COLUMNS
from gillhouse.store.codec import decode_causes, decode_facts
from gillhouse.store.names import Showing
from gillhouse.store.records import AlarmAt, CommandAt, EventAt, OutboxAt

_OUTBOX = (
    "id, ts, channel, subject, text, attempts, next_try, alarm, occurrence, last_error, sent, attachments"
)
"""Columns in the order of OutboxAt's fields; our own constant, so no text of others gets into the SQL."""

COMMANDS = f"SELECT {COLUMNS['commands']} FROM commands "  # noqa: S608
EVENTS = f"SELECT {COLUMNS['events']} FROM events "  # noqa: S608
ALARMS = f"SELECT {COLUMNS['alarms']} FROM alarms "  # noqa: S608
"""Begins of questions whose rows `command_at`, `event_at` and `alarm_at` read; constants of our own too."""


class LogQueries:
    """Times are wall ms; ranges hold `from_ms` and not `to_ms`; rows come in the order they were written."""

    _db: sqlite3.Connection
    _names: Showing

    def commands(self, from_ms: int, to_ms: int, relay: str | None = None) -> Iterator[CommandAt]:
        """Commands of one relay, or of all."""
        for row in self._db.execute(
            COMMANDS + "WHERE ts >= ? AND ts < ? AND (?3 IS NULL OR relay = ?3) ORDER BY id",
            (from_ms, to_ms, relay),
        ):
            yield command_at(row, self._names)

    def last_command(self, relay: str, before_ms: int) -> CommandAt | None:
        """What a relay was last told before a moment: how it stood then."""
        row = self._db.execute(
            COMMANDS + "WHERE relay = ? AND ts < ? ORDER BY ts DESC, id DESC LIMIT 1",
            (relay, before_ms),
        ).fetchone()
        return None if row is None else command_at(row, self._names)

    def events(self, from_ms: int, to_ms: int, kind: EventKind | None = None) -> Iterator[EventAt]:
        """Events of one kind, or of all."""
        for row in self._db.execute(
            EVENTS + "WHERE ts >= ? AND ts < ? AND (?3 IS NULL OR kind = ?3) ORDER BY id",
            (from_ms, to_ms, kind),
        ):
            yield event_at(row, self._names)

    def alarms(self, from_ms: int, to_ms: int) -> Iterator[AlarmAt]:
        """Transitions of alarms."""
        for row in self._db.execute(ALARMS + "WHERE ts >= ? AND ts < ? ORDER BY id", (from_ms, to_ms)):
            yield alarm_at(row, self._names)

    def alarms_open_at(self, at_ms: int) -> tuple[AlarmAt, ...]:
        """The last transition before `at_ms` of every alarm that was not back to normal then."""
        rows = self._db.execute(
            ALARMS + "WHERE id IN (SELECT max(id) FROM alarms WHERE ts < ? GROUP BY alarm) "  # noqa: S608
            "AND state <> 'A' ORDER BY id",
            (at_ms,),
        )
        return tuple(alarm_at(row, self._names) for row in rows)

    def counters(self, from_day: str, to_day: str) -> dict[tuple[str, str, str], int]:
        """(UTC day, name, subject) -> count; days as `2026-05-03`, both ends included."""
        rows = self._db.execute(
            "SELECT day, name, subject, n FROM counters WHERE day BETWEEN ? AND ? "
            "ORDER BY day, name, subject",
            (from_day, to_day),
        )
        return {(day, name, subject): n for day, name, subject, n in rows}

    def outbox_open(self) -> tuple[OutboxAt, ...]:
        """Messages not sent yet, oldest first."""
        rows = self._db.execute(f"SELECT {_OUTBOX} FROM outbox WHERE sent IS NULL ORDER BY id")  # noqa: S608
        return tuple(OutboxAt(*row) for row in rows)

    def outbox(self, from_ms: int, to_ms: int) -> Iterator[OutboxAt]:
        """Messages made in a range of time, sent or not."""
        for row in self._db.execute(
            f"SELECT {_OUTBOX} FROM outbox WHERE ts >= ? AND ts < ? ORDER BY id",  # noqa: S608
            (from_ms, to_ms),
        ):
            yield OutboxAt(*row)


def _reason(word: str) -> Reason:
    try:
        return Reason(word)
    except ValueError as error:
        raise StoreError(
            f"the log holds the reason {word!r}, which this version does not know: "
            f"use the version of gillhouse that wrote it"
        ) from error


def command_at(row: tuple[Any, ...], names: Showing) -> CommandAt:
    key, seq, ts, relay, is_on, lease_ms, authority, reason, facts, causes, renewal, advise = row
    command = Command(
        relay,
        bool(is_on),
        lease_ms,
        Authority(authority),
        _reason(reason),
        decode_causes(causes),
        decode_facts(names.show(facts)),
        bool(renewal),
        bool(advise),
    )
    return CommandAt(key, seq, ts, command)


def event_at(row: tuple[Any, ...], names: Showing) -> EventAt:
    key, seq, ts, kind, subject, space, reason, facts, causes = row
    event = Event(
        EventKind(kind),
        subject,
        space,
        None if reason is None else _reason(reason),
        decode_facts(names.show(facts)),
        decode_causes(causes),
    )
    return EventAt(key, seq, ts, event)


def alarm_at(row: tuple[Any, ...], names: Showing) -> AlarmAt:
    key, seq, ts, alarm, kind, occurrence, transition, priority, state, announce, space, who, facts = row
    notice = AlarmNotice(
        alarm,
        kind,
        occurrence,
        Transition(transition),
        priority,
        state,
        bool(announce),
        space,
        decode_facts(names.show(facts)),
        names.name(who),
    )
    return AlarmAt(key, seq, ts, notice)
