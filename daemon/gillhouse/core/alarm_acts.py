"""What people do to alarms: acknowledge, reset, shelve, mend. Each tells who did it, each may be refused.

What lives here: one function per act. What must not: what time does to alarms (see `alarm_moves`). How: an
acknowledgement that names an occurrence touches that one only, so a late answer to an old message does not
silence a new alarm.
"""

from collections.abc import Callable
from dataclasses import replace

from gillhouse.core.alarm_kinds import KINDS, LONGEST_OUT_MS, LONGEST_SHELVE_MS
from gillhouse.core.alarm_notices import FactsOut, free, notice, say, unknown
from gillhouse.core.alarm_states import AlarmRecord, BookState, Hold, Holding, Step, apply, new_record
from gillhouse.core.inputs import Act, OperatorAction
from gillhouse.core.instant import Instant
from gillhouse.core.outputs import AlarmNotice, Transition


def record_of(book: BookState, alarm: str) -> AlarmRecord | None:
    """The record of `alarm`, made if its kind exists; it may be shelved before it ever began."""
    kind, _, subject = alarm.partition(":")
    if alarm not in book.records and kind in KINDS and subject:
        book.records[alarm] = new_record(kind, subject, None)
    return book.records.get(alarm)


def acknowledge(book: BookState, now: Instant, action: OperatorAction, notices: list[AlarmNotice]) -> None:
    """Acknowledges one alarm, or all of a space."""
    record = book.records.get(action.subject)
    if record is not None:
        _acknowledge_one(now, record, action, notices)
        return
    meant = [item for item in book.records.values() if item.space == action.subject and not item.acked]
    if not meant:
        notices.append(unknown(action))
    for item in meant:
        _acknowledge_one(now, item, action, notices)


def _acknowledge_one(
    now: Instant, record: AlarmRecord, action: OperatorAction, notices: list[AlarmNotice]
) -> None:
    extra: FactsOut = {"text": action.text} if action.text else {}
    meant = action.occurrence
    if meant is not None and meant != record.occurrence:
        extra["meant"] = meant
        known = meant in record.old_unacked
        if known:
            record.old_unacked.remove(meant)
        transition = Transition.ACK if known else Transition.REFUSED
        told = notice(record, transition, False, extra)
        notices.append(replace(told, who=action.who, occurrence=meant))
        return
    effect = apply(record, Step.ACK, KINDS[record.kind].latching)
    if not effect.refused:
        record.acked_mono_ms = now.mono_ms
    told = say(now, record, Transition.ACK, effect, extra)
    notices.append(replace(told, who=action.who))


def reset(book: BookState, now: Instant, action: OperatorAction, notices: list[AlarmNotice]) -> None:
    """Clears a latched alarm that is over and acknowledged."""
    record = book.records.get(action.subject)
    if record is None:
        notices.append(unknown(action))
        return
    effect = apply(record, Step.RESET, KINDS[record.kind].latching)
    extra: FactsOut = {"text": action.text} if action.text else {}
    told = say(now, record, Transition.RESET, effect, extra)
    notices.append(replace(told, who=action.who))


def shelve(
    book: BookState,
    now: Instant,
    action: OperatorAction,
    notices: list[AlarmNotice],
    holding: Holding = Holding.SHELVED_TIMED,
) -> None:
    """Shelves an alarm until a set end; without one, for too long, or for people's limits it is refused."""
    record = record_of(book, action.subject)
    if record is None:
        notices.append(unknown(action))
        return
    longest = LONGEST_SHELVE_MS[record.priority]
    if KINDS[record.kind].people or action.for_ms is None or not 0 < action.for_ms <= longest:
        extra: FactsOut = {"for_s": (action.for_ms or 0) // 1000, "most_s": longest // 1000}
        if KINDS[record.kind].people:
            extra["most_s"] = 0
        notices.append(replace(notice(record, Transition.REFUSED, False, extra), who=action.who))
        return
    until = now.later(action.for_ms)
    record.holds[holding] = Hold(action.who, action.text, until.mono_ms, until.wall_ms)
    extra = {"hold": holding.value, "why": action.text, "until_ms": until.wall_ms}
    notices.append(replace(notice(record, Transition.SHELVE, False, extra), who=action.who))


def shelve_once(book: BookState, now: Instant, action: OperatorAction, notices: list[AlarmNotice]) -> None:
    """Shelves until it is over, but no longer than the time given."""
    shelve(book, now, action, notices, Holding.SHELVED_ONCE)


def take_out(book: BookState, now: Instant, action: OperatorAction, notices: list[AlarmNotice]) -> None:
    """Takes an alarm out of service: what it watches is being mended. Needs a reason and an expected end."""
    record = record_of(book, action.subject)
    if record is None:
        notices.append(unknown(action))
        return
    lasts = action.for_ms
    if KINDS[record.kind].people or not action.text or lasts is None or not 0 < lasts <= LONGEST_OUT_MS:
        most_s = 0 if KINDS[record.kind].people else LONGEST_OUT_MS // 1000
        extra: FactsOut = {"for_s": (lasts or 0) // 1000, "most_s": most_s, "why": action.text}
        notices.append(replace(notice(record, Transition.REFUSED, False, extra), who=action.who))
        return
    until = now.later(lasts)
    record.holds[Holding.OUT_OF_SERVICE] = Hold(action.who, action.text, until.mono_ms, until.wall_ms)
    extra = {"hold": Holding.OUT_OF_SERVICE.value, "why": action.text, "until_ms": until.wall_ms}
    notices.append(replace(notice(record, Transition.SHELVE, False, extra), who=action.who))


def _give_back(
    book: BookState, now: Instant, action: OperatorAction, notices: list[AlarmNotice], *holds: Holding
) -> None:
    record = book.records.get(action.subject)
    found = [] if record is None else [holding for holding in holds if holding in record.holds]
    if record is None:
        notices.append(unknown(action))
    elif not found:
        extra: FactsOut = {"asked": action.act.value, "held": ""}
        notices.append(replace(notice(record, Transition.REFUSED, False, extra), who=action.who))
    else:
        notices += [replace(free(now, record, holding), who=action.who) for holding in found]


def unshelve(book: BookState, now: Instant, action: OperatorAction, notices: list[AlarmNotice]) -> None:
    """Ends shelving before its time."""
    _give_back(book, now, action, notices, Holding.SHELVED_TIMED, Holding.SHELVED_ONCE)


def put_back(book: BookState, now: Instant, action: OperatorAction, notices: list[AlarmNotice]) -> None:
    """Puts an alarm back in service before its time."""
    _give_back(book, now, action, notices, Holding.OUT_OF_SERVICE)


def pass_on(book: BookState, now: Instant, action: OperatorAction, notices: list[AlarmNotice]) -> None:
    """Somebody who was called cannot come. Nothing of the alarm changes; whom to call next does."""
    record = book.records.get(action.subject)
    if record is None:
        notices.append(unknown(action))
        return
    stale = action.occurrence is not None and action.occurrence != record.occurrence
    transition = Transition.REFUSED if stale or record.acked else Transition.PASS
    notices.append(replace(notice(record, transition, False, {"asked": action.act.value}), who=action.who))


ACTS: dict[Act, Callable[[BookState, Instant, OperatorAction, list[AlarmNotice]], None]] = {
    Act.ACK: acknowledge,
    Act.SHELVE: shelve,
    Act.SHELVE_ONCE: shelve_once,
    Act.UNSHELVE: unshelve,
    Act.OUT_OF_SERVICE: take_out,
    Act.IN_SERVICE: put_back,
    Act.RESET: reset,
    Act.PASS_ON: pass_on,
}
