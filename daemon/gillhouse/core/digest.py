"""Once a day what happened, also when nothing did; once a week what is due; and whether channels still work.

Here: what is counted for the digest, when it goes, and the condition of a channel that took nothing for eight
days. Not here: who is called for an alarm (`calling`), words (`gillhouse.alerts.digest_words`). A digest that
does not come is itself the sign that the box is silent.
"""

from datetime import timedelta, tzinfo
from typing import Final

from gillhouse.core.alarm import Condition
from gillhouse.core.call_order import gets
from gillhouse.core.call_state import MOST_LINES, CallState, ChannelLife, DigestLine
from gillhouse.core.call_turn import Turn
from gillhouse.core.edges import PersonSettings
from gillhouse.core.inputs import ChannelReport
from gillhouse.core.instant import Instant
from gillhouse.core.outputs import AlarmNotice, CallKind, Facts, Transition
from gillhouse.core.schedule import DAY_MS, at_minute_ms, day_key, local
from gillhouse.core.settings import CallSettings

KEPT_DAYS: Final = 8
CHANNEL_DEAD_MS: Final = 8 * DAY_MS
"""A channel that took nothing for so long is told over the others: the weekly list tries each. Our choice."""

TARGETS: Final[dict[str, int]] = {
    # for one farm whose grower also sleeps; over these the digest says so. Our choice.
    "urgent_a_week": 1,
    "calls_a_night": 2,
    "night_calls_a_week": 4,
    "alarms_a_day": 10,
}


def note(calls: CallState, notice: AlarmNotice, now_ms: int, zone: tzinfo) -> None:
    """Keeps what the digest will say of an alarm."""
    line = calls.lines.get(notice.alarm)
    if notice.transition is Transition.ACT:
        if notice.announce:
            counts = calls.announced.setdefault(day_key(now_ms, zone), [0, 0, 0])
            counts[notice.priority - 1] += 1
        if line is not None:
            line.times, line.to_ms, line.seen = line.times + 1, None, False
        elif len(calls.lines) < MOST_LINES:
            held = notice.facts.get("held")
            calls.lines[notice.alarm] = DigestLine(
                notice.kind, notice.space, notice.priority, now_ms, mode=str(held) if held else ""
            )
        else:
            calls.more += 1
    elif line is not None and notice.transition is Transition.RTN:
        line.to_ms = now_ms
    elif line is not None and notice.transition is Transition.ACK:
        line.seen = True


def tell(turn: Turn, reminders: tuple[Facts, ...]) -> None:
    """Sends the digest and the weekly list when their time has come."""
    calls, settings = turn.calls, turn.settings
    for person in settings.people:
        for reach in person.reach:
            calls.channels.setdefault(reach.channel, ChannelLife(turn.now_ms))
    if calls.digest_ms is not None and turn.now_ms >= calls.digest_ms:
        for person in settings.people:
            if person.report:
                turn.say(CallKind.DIGEST, person.id, facts=_facts(turn, person), lines=_lines(turn, person))
        _begin_day(turn)
        calls.digest_ms = None
    if calls.weekly_ms is not None and turn.now_ms >= calls.weekly_ms:
        for person in settings.people:
            turn.say(CallKind.WEEKLY, person.id, lines=reminders)
        calls.weekly_ms = None
    if calls.digest_ms is None:
        calls.digest_ms = next_at_ms(turn.now_ms, turn.zone, settings.digest_min)
    if calls.weekly_ms is None:
        calls.weekly_ms = next_at_ms(turn.now_ms, turn.zone, settings.digest_min, settings.weekly_on)


def next_at_ms(wall_ms: int, zone: tzinfo, minute: int, weekday: int | None = None) -> int:
    """The next time after `wall_ms` that the local clock first shows `minute`, on `weekday` where given."""
    day = local(wall_ms, zone).date()
    for ahead in range(9):
        on = day + timedelta(days=ahead)
        at_ms = at_minute_ms(on, minute, zone)
        if at_ms > wall_ms and weekday in (None, on.weekday()):
            return at_ms
    raise AssertionError(f"no day of nine is weekday {weekday}")


def _begin_day(turn: Turn) -> None:
    calls = turn.calls
    calls.lines, calls.more, calls.readings, calls.away_ms = {}, 0, 0, 0
    oldest = day_key(turn.now_ms - KEPT_DAYS * DAY_MS, turn.zone)
    calls.announced = {day: counts for day, counts in calls.announced.items() if day > oldest}
    for mine in calls.people.values():
        mine.nights = {day: n for day, n in mine.nights.items() if day > oldest}


def _facts(turn: Turn, person: PersonSettings) -> Facts:
    """Figures of a digest: the day, and a week against `TARGETS`."""
    calls, mine = turn.calls, turn.calls.people[person.id]
    oldest = day_key(turn.now_ms - 7 * DAY_MS, turn.zone)
    week = [counts for day, counts in calls.announced.items() if day > oldest]
    nights = [n for day, n in mine.nights.items() if day > oldest]
    figures = {
        "urgent_a_week": sum(counts[0] for counts in week),
        "calls_a_night": max(nights, default=0),
        "night_calls_a_week": sum(nights),
        "alarms_a_day": max((sum(counts) for counts in week), default=0),
    }
    return {
        "readings": calls.readings,
        "up_s": max(0, turn.now_ms - calls.started_ms) // 1000,
        "away_s": calls.away_ms // 1000,
        "more": calls.more,
        **figures,
        "over": ", ".join(name for name, most in TARGETS.items() if figures[name] > most),
    }


def _lines(turn: Turn, person: PersonSettings) -> tuple[Facts, ...]:
    """What happened, gravest first, then what still stands from before."""
    found: list[Facts] = [
        {
            "alarm": alarm, "kind": line.kind, "space": line.space, "priority": line.priority,
            "from_ms": line.from_ms, "to_ms": line.to_ms, "times": line.times, "seen": line.seen,
            "held": line.mode,
        }
        for alarm, line in turn.calls.lines.items()
    ]  # fmt: skip
    found += [
        {
            "alarm": record.alarm, "kind": record.kind, "space": record.space, "priority": record.priority,
            "from_ms": record.since_wall_ms, "to_ms": None, "times": 1, "seen": record.acked,
            "held": ", ".join(record.holds),
        }
        for record in turn.book.records.values()
        if record.active and record.alarm not in turn.calls.lines
    ]  # fmt: skip
    mine = [one for one in found if gets(person, _whole(one["priority"]), _text(one["space"]))]
    return tuple(sorted(mine, key=lambda one: (_whole(one["priority"]), _whole(one["from_ms"]))))


def _whole(value: object) -> int:
    return value if isinstance(value, int) else 0


def _text(value: object) -> str | None:
    return value if isinstance(value, str) else None


# --- channels ------------------------------------------------------------------------------------------


def take_report(calls: CallState, now: Instant, report: ChannelReport) -> None:
    """A channel took a message, or did not."""
    life = calls.channels.setdefault(report.channel, ChannelLife(now.wall_ms))
    if report.ok:
        life.ok_ms, life.failed, life.detail = now.wall_ms, 0, ""
    else:
        life.failed, life.detail = life.failed + 1, report.detail


def channel_conditions(settings: CallSettings, calls: CallState, now_ms: int) -> list[Condition]:
    """Of every channel somebody is reached by: took nothing for too long."""
    named = {reach.channel: None for person in settings.people for reach in person.reach}
    found = []
    for channel in named:
        life = calls.channels.get(channel)
        if life is not None:
            last_ms = max(life.since_ms, life.ok_ms or 0)
            facts: Facts = {"channel": channel, "failed": life.failed, "detail": life.detail}
            dead = now_ms - last_ms > CHANNEL_DEAD_MS
            found.append(Condition("channel-dead", channel, None, dead, facts))
    return found


def channel_deadlines(calls: CallState, now_ms: int) -> list[int]:
    """When a channel will have been silent for too long."""
    ends = [max(life.since_ms, life.ok_ms or 0) + CHANNEL_DEAD_MS + 1 for life in calls.channels.values()]
    return [at for at in ends if at > now_ms]
