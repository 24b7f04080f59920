"""What time and conditions do to alarms: starts and ends after delays, reminders, parents, who was first.

What lives here: the steps `AlarmBook.update` takes through every record. What must not: what people do (see
`alarm_acts`). How: each step looks at one record and appends what happened to the notices.
"""

from gillhouse.core.alarm_kinds import KINDS, SUPPRESSED_IN
from gillhouse.core.alarm_notices import FactsOut, free, notice, say
from gillhouse.core.alarm_states import AlarmRecord, BookState, Effect, FirstOut, Hold, Holding, Step, apply
from gillhouse.core.instant import Instant
from gillhouse.core.outputs import AlarmNotice, Transition

FIRST_OUT_WINDOW_MS = 60_000
"""Alarms of one space that start within this of the first are its followers. Our choice; the idea is OPC
10000-9's FirstInGroup."""


def delay_ms(record: AlarmRecord) -> int:
    """The delay before the alarm starts or ends; one that ended while the daemon was away ends at once."""
    if record.unseen and record.active:
        return 0
    return record.off_delay_ms if record.active else record.on_delay_ms


def expire(now: Instant, record: AlarmRecord, notices: list[AlarmNotice]) -> None:
    """Takes away the holds whose time is over."""
    for holding, hold in list(record.holds.items()):
        if hold.until_mono_ms is not None and now.mono_ms >= hold.until_mono_ms:
            notices.append(free(now, record, holding))


def explain(book: BookState, now: Instant, record: AlarmRecord, notices: list[AlarmNotice]) -> None:
    """Holds an alarm back while a parent or its space's mode explains it; frees it when none does any more.

    A start is held back also by a parent that still waits for its delay; what is on already only by a parent
    that is on, or every short loss of contact would say all the old alarms again.
    """
    held = record.holds.get(Holding.BY_DESIGN)
    if held is not None and held.who:
        return  # held by a rule of the farm, not by a parent
    mode, parent = _mode(book, record), _parent(book, record)
    why = mode or parent
    if held is not None:
        if why is None and record.active and record.reported is False:
            return  # it only waits to be over: what hid it until now still explains it
        if why is None:
            notices.append(free(now, record, Holding.BY_DESIGN))
        else:
            held.why = why
    elif why is not None and _may_be_held(book, now, record, None if mode else parent):
        record.holds[Holding.BY_DESIGN] = Hold("", why)
        notices.append(notice(record, Transition.SUPP, False, {"mode" if mode else "parent": why}))


def _may_be_held(book: BookState, now: Instant, record: AlarmRecord, parent: str | None) -> bool:
    if not record.active:
        return _is_due(now, record)
    return parent is None or book.records[parent].active


def _mode(book: BookState, record: AlarmRecord) -> str | None:
    """The mode of its space that keeps this alarm back; nothing does that to one of priority 1."""
    if record.priority == 1 or KINDS[record.kind].people:
        return None
    modes = book.modes.get(record.space or "", ())
    return next((mode.value for mode in modes if record.kind in SUPPRESSED_IN.get(mode, ())), None)


def _parent(book: BookState, record: AlarmRecord) -> str | None:
    for parent in record.parents:
        if parent in book.records and _holds_now(book.records[parent]) and not KINDS[record.kind].people:
            return parent
    kinds = KINDS[record.kind].parents
    for other in book.records.values():
        here = other.space is None or other.space == record.space
        if other.kind in kinds and here and _holds_now(other):
            return other.alarm
    return None


def _holds_now(record: AlarmRecord) -> bool:
    """On, or about to be: its condition holds and only the delay is left. A limit for people must be on."""
    return record.active or (record.reported is True and not KINDS[record.kind].people)


def _is_due(now: Instant, record: AlarmRecord) -> bool:
    if record.differs_since is None or record.reported is None or record.reported is record.active:
        return False
    return now.mono_ms >= record.differs_since + delay_ms(record)


def move(book: BookState, now: Instant, record: AlarmRecord, notices: list[AlarmNotice]) -> None:
    """Starts or ends the alarm once its delay has passed."""
    if not _is_due(now, record):
        return
    if record.differs_since is not None and not record.active:
        record.from_wall_ms = now.wall_ms - (now.mono_ms - record.differs_since)
    record.differs_since = None
    if record.active:
        _end(book, now, record, notices)
    else:
        _begin(book, now, record, notices)


def _begin(book: BookState, now: Instant, record: AlarmRecord, notices: list[AlarmNotice]) -> None:
    if not record.acked:
        record.old_unacked.append(record.occurrence)
    record.occurrence += 1
    record.since_wall_ms = now.wall_ms
    extra: FactsOut = {}
    if record.unseen:
        extra["found_at_start"] = True
    record.unseen = False
    _mark_first(book, now, record)
    effect = apply(record, Step.ACT, KINDS[record.kind].latching)
    notices.append(say(now, record, Transition.ACT, effect, {**extra, **_because(book, record)}))


def _end(book: BookState, now: Instant, record: AlarmRecord, notices: list[AlarmNotice]) -> None:
    extra: FactsOut = {"lasted_s": max(0, now.wall_ms - record.since_wall_ms) // 1000}
    if record.unseen:
        extra["ended_unseen"] = True
        if record.unseen_from_ms:
            extra["unseen_from_ms"], extra["unseen_to_ms"] = record.unseen_from_ms, now.wall_ms
    record.unseen = False
    effect = apply(record, Step.RTN, KINDS[record.kind].latching)
    notices.append(say(now, record, Transition.RTN, effect, extra))
    if Holding.SHELVED_ONCE in record.holds:
        notices.append(free(now, record, Holding.SHELVED_ONCE))


def _mark_first(book: BookState, now: Instant, record: AlarmRecord) -> None:
    """Keeps who started first in a space, until everything there is normal again."""
    group, record.first_out = record.space or "", ""
    others = [
        o for o in book.records.values() if o is not record and (o.space or "") == group and o.state != "A"
    ]
    first = book.firsts.get(group)
    if first is None or not others:
        book.firsts[group] = FirstOut(record.alarm, now.mono_ms)
        record.first_out = record.alarm
    elif now.mono_ms <= first.mono_ms + FIRST_OUT_WINDOW_MS:
        record.first_out = ("=" if now.mono_ms == first.mono_ms else "") + first.alarm


def _because(book: BookState, record: AlarmRecord) -> FactsOut:
    """The first active alarm that may have led here."""
    for kind in KINDS[record.kind].causes:
        for other in book.records.values():
            if other.kind == kind and other.active and (other.space is None or other.space == record.space):
                return {"because": other.alarm}
    return {}


def remind(book: BookState, now: Instant, record: AlarmRecord, notices: list[AlarmNotice]) -> None:
    """Says again what nobody acknowledged; makes as new what was acknowledged long ago and is still there."""
    due = _reminder_ms(book, record)
    if due is None or now.mono_ms < due:
        return
    if record.state == "C":
        effect = apply(record, Step.REALARM)
        notices.append(say(now, record, Transition.REALARM, effect, _because(book, record)))
    else:
        notices.append(say(now, record, Transition.REPEAT, Effect(False, True), _because(book, record)))


def _reminder_ms(book: BookState, record: AlarmRecord) -> int | None:
    if record.holds or (record.active and record.reported is False):
        return None  # nothing to say while it is held, or only waits to be over
    if record.state == "C":
        after = book.realarm_ms.get(record.priority)
        own_ms = KINDS[record.kind].as_new_ms
        return None if after is None else record.acked_mono_ms + max(after, own_ms)
    again_ms = KINDS[record.kind].says_again_ms
    after = None if record.state not in "BE" else again_ms or book.repeat_ms.get(record.priority)
    return None if after is None else record.said_mono_ms + after


def next_look(book: BookState) -> int | None:
    """Monotonic time of the earliest delay, end of a hold or reminder; None if none is ahead."""
    times: list[int] = []
    for record in book.records.values():
        if record.differs_since is not None and record.reported is not None:
            times.append(record.differs_since + delay_ms(record))
        times += [hold.until_mono_ms for hold in record.holds.values() if hold.until_mono_ms is not None]
        reminder = _reminder_ms(book, record)
        if reminder is not None:
            times.append(reminder)
    return min(times, default=None)
