"""Who is called for an alarm, when, and again when; what waits till morning, and what the digest will say.

Here: from alarm notices and the clock to messages (`Call`), by the rows of `call_order.ESCALATION`. Not here:
whether an alarm is announced (`alarm`), the digest's figures (`digest`), words, channels and retries
(`gillhouse.alerts`). How: an announced alarm is open until somebody acknowledges it or it is over (priority 1
stays open until it is acknowledged). Each row of its escalation that is due puts it on its way to a person,
where it is held for a moment so that others go in the same message. Nothing is dropped: what may not wake a
sleeper is asked again when their night ends, and what is over by then stands in the digest.
"""

from dataclasses import replace
from typing import Final

from gillhouse.core import digest
from gillhouse.core.alarm_kinds import KINDS
from gillhouse.core.alarm_states import AlarmRecord, BookState
from gillhouse.core.call_order import chosen, gets, night_ends_ms, night_key, order, step_at
from gillhouse.core.call_state import CallState, OpenCall, PersonCalls, Waiting
from gillhouse.core.call_turn import Turn
from gillhouse.core.edges import PersonSettings
from gillhouse.core.instant import Instant
from gillhouse.core.outputs import AlarmNotice, Call, CallKind, Facts, Transition
from gillhouse.core.schedule import MINUTE_MS

HOLD_MS: Final = 30_000
"""The first message about something waits so long for others to come along. Not at priority 1."""
APART_MS: Final = 5 * MINUTE_MS
"""Two messages to one person are at least so far apart. Not at priority 1."""
HOUR_MS: Final = 60 * MINUTE_MS
FURTHEST_MS: Final = 4 * HOUR_MS
"""No row of the escalation lies further ahead; a due time that does was made by another clock."""
OPENS: Final = (Transition.ACT, Transition.REALARM, Transition.UNSHELVE, Transition.UNSUPP)
HOLDS: Final = (Transition.SHELVE, Transition.SUPP)
OVER: Final = ("D", "E")
"""What was wrong is over, and nobody has seen it: only priority 1 is called on, and its call says so."""
BLIND: Final = ("broker-lost",)
"""While one of these holds, nothing else could have been noticed: its end is told with from when to when."""
TELL_AWAY_MS: Final = 10 * MINUTE_MS
"""A stop of the daemon that lasted longer is told when it is over."""


def follow(turn: Turn, notices: list[AlarmNotice], reminders: tuple[Facts, ...]) -> list[Call]:
    """Takes what happened to alarms and says what is due.

    Args:
        reminders: the lines of the weekly list, needed only when that is due.
    """
    calls = turn.calls
    for person in turn.settings.people:
        calls.people.setdefault(person.id, PersonCalls())
    for notice in notices:
        _take(turn, notice)
    _take_steps(turn)
    for person in turn.settings.people:
        _tell(turn, person)
    digest.tell(turn, reminders)
    calls.wake_ms = _next_ms(turn)
    return turn.made


def is_due(calls: CallState, now: Instant) -> bool:
    """Something is to be said though nothing happened, or nothing was looked at yet."""
    return calls.wake_ms is None or now.wall_ms >= calls.wake_ms


# --- what happens to alarms ----------------------------------------------------------------------------


def _take(turn: Turn, notice: AlarmNotice) -> None:
    digest.note(turn.calls, notice, turn.now_ms, turn.zone)
    again = notice.transition is Transition.REPEAT and KINDS[notice.kind].says_again_ms is not None
    if notice.announce and (notice.transition in OPENS or again):
        _open(turn, notice)
    elif notice.transition is Transition.RTN:
        _over(turn, notice)
    elif notice.transition is Transition.ACK:
        _seen(turn, notice)
    elif notice.transition is Transition.PASS and notice.alarm in turn.calls.open:
        known = turn.calls.open[notice.alarm]
        known.passed += [] if notice.who in known.passed else [notice.who]
        known.due_ms = turn.now_ms
    elif notice.transition in HOLDS or (notice.transition in OPENS and notice.state == "A"):
        _close(turn, notice.alarm)


def _open(turn: Turn, notice: AlarmNotice) -> None:
    if notice.priority == 3 and not KINDS[notice.kind].by_day:
        return
    known = turn.calls.open.get(notice.alarm)
    if known is None or known.due_ms is None:  # nobody is being called for it (any more)
        turn.calls.open[notice.alarm] = OpenCall(
            notice, turn.now_ms, due_ms=turn.now_ms, over=notice.state in OVER
        )
    else:
        # It came and went: whoever is being called is called on, not from the beginning.
        known.notice, known.over = notice, notice.state in OVER


def _close(turn: Turn, alarm: str) -> None:
    turn.calls.open.pop(alarm, None)
    for person in turn.calls.people.values():
        person.waiting.pop(alarm, None)


def _over(turn: Turn, notice: AlarmNotice) -> None:
    known = turn.calls.open.get(notice.alarm)
    told = turn.calls.blind.pop(notice.alarm, None)
    if told is not None:
        for name in told:
            _tell_back(turn, name, notice.facts.get("from_ms"), notice.kind)
    if known is None:
        return
    known.notice = replace(notice, facts={**notice.facts, "over_ms": turn.now_ms})
    if notice.priority == 1 and notice.state in OVER:
        known.over = True
        return
    if told is None and notice.state == "D":
        for name in known.told:
            if name in turn.calls.people:
                turn.calls.people[name].cleared.append(notice)
    _close(turn, notice.alarm)


def _seen(turn: Turn, notice: AlarmNotice) -> None:
    """Whoever acknowledges one alarm of a message has seen the others in it."""
    known = turn.calls.open.get(notice.alarm)
    if known is None or known.notice.occurrence != notice.occurrence:
        return
    _close(turn, notice.alarm)
    for alarm, occurrence in known.together.items():
        other = turn.calls.open.get(alarm)
        if other is not None and other.notice.occurrence == occurrence:
            _close(turn, alarm)


# --- whom to call --------------------------------------------------------------------------------------


def _take_steps(turn: Turn) -> None:
    for known in turn.calls.open.values():
        while known.due_ms is not None and known.due_ms <= turn.now_ms:
            if not _take_step(turn, known):
                break


def _take_step(turn: Turn, known: OpenCall) -> bool:
    """Takes one row of an alarm's escalation. Returns whether the next one may be looked at."""
    notice = known.notice
    row = step_at(notice.priority, known.step)
    people = _asked(turn, known)
    if row is None or not people:
        known.due_ms = None
        return False
    minutes, ask = row
    found = chosen(ask, people, lambda one: turn.asleep(one, notice))
    awake = [one for one in found if not turn.asleep(one, notice)]
    if not awake:
        _put_off(turn, known, minutes, found[0])
        return False
    for one in awake:
        waiting = turn.calls.people[one.id].waiting
        waiting.setdefault(notice.alarm, Waiting(turn.now_ms, one.id not in known.told))
    known.step += 1
    later = step_at(notice.priority, known.step)
    known.due_ms = None if later is None else known.since_ms + later[0] * MINUTE_MS
    return True


def _asked(turn: Turn, known: OpenCall) -> list[PersonSettings]:
    """Whom this alarm is for, in the order of the moment; whoever cannot come stands last."""
    notice = known.notice
    people = [
        one
        for one in order(turn.settings, turn.now_ms, turn.zone)
        if gets(one, notice.priority, notice.space)
    ]
    return sorted(people, key=lambda one: one.id in known.passed)


def _put_off(turn: Turn, known: OpenCall, minutes: int, person: PersonSettings) -> None:
    """The row comes when the person's night is over, and the rows after it as much later."""
    known.due_ms = night_ends_ms(turn.settings, person, turn.now_ms, turn.zone)
    known.since_ms = known.due_ms - minutes * MINUTE_MS


# --- what one person gets ------------------------------------------------------------------------------


def _tell(turn: Turn, person: PersonSettings) -> None:
    mine = turn.calls.people[person.id]
    mine.sent_ms = [at for at in mine.sent_ms if at > turn.now_ms - HOUR_MS]
    for alarm in list(mine.waiting):
        known = turn.calls.open[alarm]
        if turn.asleep(person, known.notice):  # the night began while it was held
            del mine.waiting[alarm]
            known.step -= 1
            _put_off(turn, known, (step_at(known.notice.priority, known.step) or (0,))[0], person)
    at_ms = _tell_at(turn, mine)
    if at_ms is not None and at_ms <= turn.now_ms:
        _call(turn, person, mine)
    _tell_cleared(turn, person, mine)


def _tell_at(turn: Turn, mine: PersonCalls) -> int | None:
    """When what is on its way to a person goes out; None: nothing is."""
    if not mine.waiting:
        return None
    urgent = any(turn.calls.open[alarm].notice.priority == 1 for alarm in mine.waiting)
    most = turn.settings.most_per_h
    most = most if urgent else most - most // 4
    free_ms = turn.now_ms if len(mine.sent_ms) < most else mine.sent_ms[-most] + HOUR_MS
    if urgent:
        return free_ms
    held = min(one.since_ms + (HOLD_MS if one.first else 0) for one in mine.waiting.values())
    return max(free_ms, held, 0 if mine.called_ms is None else mine.called_ms + APART_MS)


def _call(turn: Turn, person: PersonSettings, mine: PersonCalls) -> None:
    """One message about everything that is on its way to the person."""
    alarms = list(mine.waiting)
    told = [_as_now(turn, turn.calls.open[alarm]) for alarm in alarms]
    told.sort(key=_gravity)
    night = turn.night(person)
    if night:
        key = night_key(turn.settings, person, turn.now_ms, turn.zone)
        mine.nights[key] = mine.nights.get(key, 0) + 1
    for alarm in alarms:
        known = turn.calls.open[alarm]
        known.told += [] if person.id in known.told else [person.id]
        known.together = {one.alarm: one.occurrence for one in told if one.alarm != alarm}
        if known.notice.kind in BLIND:
            turn.calls.blind[alarm] = list(known.told)
    mine.waiting.clear()
    mine.called_ms = turn.now_ms
    facts = _next_up(turn, turn.calls.open[told[0].alarm])
    turn.say(
        CallKind.ALARM, person.id, priority=told[0].priority, night=night, notices=tuple(told), facts=facts
    )


def _gravity(notice: AlarmNotice) -> tuple[int, bool, int]:
    """By priority; of equals the first to start, which explains the others."""
    since = notice.facts.get("since_ms")
    return (
        notice.priority,
        notice.facts.get("first_out") != notice.alarm,
        since if isinstance(since, int) else 0,
    )


def _as_now(turn: Turn, known: OpenCall) -> AlarmNotice:
    """The notice with the values of this moment."""
    record: AlarmRecord | None = turn.book.records.get(known.notice.alarm)
    fresh = {} if record is None or known.over else record.facts
    return replace(
        known.notice, facts={**known.notice.facts, **fresh, **({"over": True} if known.over else {})}
    )


def _next_up(turn: Turn, known: OpenCall) -> Facts:
    """Who is called next, and when, if nobody answers."""
    row = step_at(known.notice.priority, known.step)
    people = _asked(turn, known)
    if row is None or known.due_ms is None or not people:
        return {}
    found = chosen(row[1], people, lambda one: turn.asleep(one, known.notice))
    return {
        "next": found[0].id if len(found) == 1 else "",
        "next_ms": known.due_ms,
        "everyone": len(found) > 1,
    }


def _tell_cleared(turn: Turn, person: PersonSettings, mine: PersonCalls) -> None:
    """One note that what they were called for is over; at night only of what may wake: the digest has all."""
    over = [one for one in mine.cleared if one.priority == 1 or not turn.night(person)]
    mine.cleared = []
    if over and len(mine.sent_ms) < turn.settings.most_per_h - turn.settings.most_per_h // 4:
        turn.say(CallKind.CLEARED, person.id, priority=over[0].priority, notices=tuple(over))


def _tell_back(turn: Turn, name: str, from_ms: object, why: str) -> None:
    person = next((one for one in turn.settings.people if one.id == name), None)
    if person is None:
        return
    facts: Facts = {
        "from_ms": from_ms if isinstance(from_ms, int) else None,
        "to_ms": turn.now_ms,
        "why": why,
    }
    turn.say(CallKind.BACK, name, night=turn.night(person), facts=facts)


def back_from_away(turn: Turn, away_ms: int | None) -> None:
    """After a start: tells the first person by day that nobody watched, and for how long."""
    for person in turn.settings.people:
        turn.calls.people.setdefault(person.id, PersonCalls())
    if away_ms is None or away_ms < TELL_AWAY_MS:
        return
    turn.calls.away_ms += away_ms
    people = [one for one in order(turn.settings, turn.now_ms, turn.zone) if one.report]
    if people and not turn.night(people[0]):
        _tell_back(turn, people[0].id, turn.now_ms - away_ms, "daemon")


# --- starts, clocks, deadlines -------------------------------------------------------------------------


def restart(calls: CallState, book: BookState, now: Instant, sure: bool) -> None:
    """After a start: what waits to be seen is called on, and what nobody was called for is called now."""
    calls.started_ms, calls.sure, calls.wake_ms = now.wall_ms, sure, None
    for record in book.records.values():
        unseen = record.state in "BE" and not record.holds and record.alarm not in calls.open
        if unseen and (record.priority < 3 or KINDS[record.kind].by_day):
            facts = {**record.facts, "since_ms": record.since_wall_ms, "from_ms": record.from_wall_ms}
            found = AlarmNotice(
                record.alarm, record.kind, record.occurrence, Transition.ACT, record.priority, record.state,
                True, record.space, facts,
            )  # fmt: skip
            calls.open[record.alarm] = OpenCall(
                found, now.wall_ms, due_ms=now.wall_ms, over=record.state in OVER
            )
    _within_reach(calls, now.wall_ms)


def step(calls: CallState, now: Instant, by_ms: int, sure: bool) -> None:
    """The wall clock was set: what was timed by it is moved along."""
    calls.sure, calls.wake_ms, calls.digest_ms, calls.weekly_ms = sure, None, None, None
    calls.started_ms += by_ms
    for known in calls.open.values():
        known.since_ms += by_ms
        known.due_ms = None if known.due_ms is None else known.due_ms + by_ms
    for person in calls.people.values():
        person.sent_ms = [at + by_ms for at in person.sent_ms]
        person.called_ms = None if person.called_ms is None else person.called_ms + by_ms
        for one in person.waiting.values():
            one.since_ms += by_ms
    for life in calls.channels.values():
        life.since_ms += by_ms
        life.ok_ms = None if life.ok_ms is None else life.ok_ms + by_ms
    _within_reach(calls, now.wall_ms)


def _within_reach(calls: CallState, now_ms: int) -> None:
    """Brings back what another clock put far ahead. A night that ends later is found again when looked at."""
    for known in calls.open.values():
        if known.due_ms is not None and known.due_ms > now_ms + FURTHEST_MS:
            known.due_ms = now_ms
    for person in calls.people.values():
        person.sent_ms = [at for at in person.sent_ms if at <= now_ms]
        person.called_ms = None if (person.called_ms or 0) > now_ms else person.called_ms


def _next_ms(turn: Turn) -> int | None:
    calls = turn.calls
    times = [known.due_ms for known in calls.open.values() if known.due_ms is not None]
    times += [calls.digest_ms, calls.weekly_ms] if calls.digest_ms and calls.weekly_ms else []
    times += digest.channel_deadlines(calls, turn.now_ms)
    for mine in calls.people.values():
        at_ms = _tell_at(turn, mine)
        times += [] if at_ms is None else [at_ms]
    return min((max(at, turn.now_ms + 1) for at in times), default=None)
