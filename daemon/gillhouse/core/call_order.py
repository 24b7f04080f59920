"""Who is asked first, who sleeps, and what may wake them.

Here: pure questions about people, local time and one alarm. Not here: what was said already (`calling`).
The rows of `ESCALATION`, the night's budget and the hold times are our own choice; that an incident of an
IT service is called out again until somebody takes it, and that more than two a shift wear people out, is
usual there (B. Beyer et al., Site Reliability Engineering, 2016, chapter 11, through readers' notes).
"""

from collections.abc import Callable, Sequence
from datetime import date, timedelta, tzinfo
from enum import StrEnum
from typing import Final

from gillhouse.core.alarm_kinds import KINDS
from gillhouse.core.edges import PersonSettings, RotaSettings
from gillhouse.core.outputs import AlarmNotice
from gillhouse.core.schedule import MINUTE_MS, leaves_ms, local, within
from gillhouse.core.settings import CallSettings


class Ask(StrEnum):
    """Whom a row of the escalation calls, in the order of the day."""

    FIRST = "first"
    SECOND = "second"
    EVERYONE = "everyone"


ESCALATION: Final[dict[int, tuple[tuple[int, Ask], ...]]] = {
    # priority: (minutes after the start, whom)
    1: ((0, Ask.FIRST), (5, Ask.FIRST), (15, Ask.SECOND), (30, Ask.EVERYONE)),
    2: ((0, Ask.FIRST), (20, Ask.FIRST), (60, Ask.SECOND)),
    3: ((0, Ask.FIRST),),
}
AFTER: Final[dict[int, tuple[int, Ask] | None]] = {
    # priority: after the last row, so many minutes apart until somebody has seen it
    1: (30, Ask.EVERYONE),
    2: (240, Ask.FIRST),
    3: None,
}


def step_at(priority: int, step: int) -> tuple[int, Ask] | None:
    """Row `step` of the escalation: minutes after the start, and whom; None: there is none any more."""
    rows, after = ESCALATION[priority], AFTER[priority]
    if step < len(rows):
        return rows[step]
    if after is None:
        return None
    every, ask = after
    return rows[-1][0] + every * (step - len(rows) + 1), ask


def gets(person: PersonSettings, priority: int, space: str | None) -> bool:
    """Alarms of this priority and space are for this person."""
    here = person.spaces is None or space is None or space in person.spaces
    return here and priority in person.priorities


def order(settings: CallSettings, wall_ms: int, zone: tzinfo) -> list[PersonSettings]:
    """Everybody, in the order they are called at a moment: the rota's, then the file's."""
    known = {person.id: person for person in settings.people}
    turn = next((one for one in settings.rota if _holds(one, wall_ms, zone)), None)
    first = [known[name] for name in (turn.first if turn else ()) if name in known]
    return first + [person for person in settings.people if person not in first]


def _holds(turn: RotaSettings, wall_ms: int, zone: tzinfo) -> bool:
    """A day of the rota runs from the hand-over to the next, so that a night has one first."""
    now = local(wall_ms, zone)
    day: date = now.date()
    if now.hour * 60 + now.minute < turn.hands_over_min:
        day -= timedelta(days=1)
    if turn.weekdays and day.weekday() not in turn.weekdays:
        return False
    return (turn.start is None or turn.start <= day) and (turn.end is None or day <= turn.end)


def hours_of(settings: CallSettings, person: PersonSettings) -> tuple[int, int]:
    """A person's night in local minutes: their quiet hours, else the farm's night."""
    if person.quiet_from_min is None or person.quiet_to_min is None:
        return settings.night_from_min, settings.night_to_min
    return person.quiet_from_min, person.quiet_to_min


def is_night(settings: CallSettings, person: PersonSettings, wall_ms: int, zone: tzinfo) -> bool:
    begin, end = hours_of(settings, person)
    return begin != end and within(wall_ms, zone, begin, end)


def night_ends_ms(settings: CallSettings, person: PersonSettings, wall_ms: int, zone: tzinfo) -> int:
    """When the night that `wall_ms` lies in is over for the person, as the clock on the wall has it.

    In a clock-change night that is an hour sooner or later; an end that the spring night skips comes when
    the clock is put forward.
    """
    begin, end = hours_of(settings, person)
    return leaves_ms(wall_ms, zone, begin, end) or wall_ms


def night_key(settings: CallSettings, person: PersonSettings, wall_ms: int, zone: tzinfo) -> str:
    """The local date on which the night that `wall_ms` lies in began."""
    begin, end = hours_of(settings, person)
    now = local(wall_ms, zone)
    before_its_end = begin > end and now.hour * 60 + now.minute < end
    return (now.date() - timedelta(days=1) if before_its_end else now.date()).isoformat()


def loss_ms(notice: AlarmNotice) -> int | None:
    """When crop or house will be harmed if nobody acts, wall ms; None: nothing of the kind is foretold.

    Foretold by the core itself where it can reckon (`by_ms`), else by the time allowed of kinds that lose
    the crop, from when it began to be wrong.
    """
    foretold = notice.facts.get("by_ms")
    if isinstance(foretold, int) and foretold > 0:
        return foretold
    kind = KINDS[notice.kind]
    if not kind.loses_crop or notice.facts.get("can_wait"):
        return None
    begun = notice.facts.get("from_ms") or notice.facts.get("since_ms")
    if not isinstance(begun, int) or begun <= 0:
        return None
    return begun + kind.time_allowed_min * MINUTE_MS


def grave(notice: AlarmNotice, by_ms: int) -> bool:
    """May wake a sleeper and pass the night's budget: priority 1, or a loss foretold for before `by_ms`."""
    if notice.priority == 1:
        return True
    lost = loss_ms(notice)
    return notice.priority == 2 and lost is not None and lost < by_ms


def chosen(
    ask: Ask, people: Sequence[PersonSettings], asleep: Callable[[PersonSettings], bool]
) -> list[PersonSettings]:
    """Whom a row calls, of those the alarm is for: somebody awake before somebody who would have to wait."""
    if ask is Ask.EVERYONE or not people:
        return list(people)
    ordered = [one for one in people if not asleep(one)] + [one for one in people if asleep(one)]
    return [ordered[1 if ask is Ask.SECOND and len(ordered) > 1 else 0]]
