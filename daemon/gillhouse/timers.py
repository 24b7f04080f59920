"""When programmes and daily chores are due: one heap of due times, in wall time.

Here: due times only. A due time becomes a `Due` in the control thread's hands and nothing else; whether
anything runs, and for how long, is decided by the core. APScheduler's triggers do the arithmetic and its
scheduler is not used: it reads the machine's clock itself and stands still, or runs riot, when that is set.
A trigger is always asked in UTC and never told of earlier due times. Asked in local time it loses which of
two 02:30s it is, and in spring it leaves out the next day's 00:30. So a crontab line is read on the clock's
face as if that were UTC, and what it finds is brought to real time here.

The rules, through clock changes and clock steps:
- `every_min` counts real minutes from each local midnight (a 23 h day has fewer runs, a 25 h day more).
- `cron` with its hours as plain numbers (`30 2,14 * * *`) names readings of the local clock, and each comes
  once a day: the first time where autumn shows it twice, later by the jump where spring skips it.
- any other `cron` (`*/20 6-21 * * *`) comes whenever the local clock shows it: twice, or not at all.
- A clock step drops what lay between; due times go on from the new time. A step back of less than
  `REPEAT_MS` does not bring a due time again.
- A late reader gets one due time per programme, however many have passed.
Not safe to share: the control thread owns it.
"""

import heapq
import re
from collections.abc import Callable, Iterable, Mapping
from datetime import UTC, datetime, timedelta, tzinfo
from types import MappingProxyType

from gillhouse.ahead.dusk import sunset_min
from gillhouse.ahead.weather import YEAR_DAYS, day_of_year
from gillhouse.core.inputs import Due
from gillhouse.core.instant import Instant
from gillhouse.core.schedule import (
    DAY_MS,
    at_minute_ms,
    cron_fields,
    day_start_ms,
    local,
    next_day_start_ms,
    offset_change_ms,
    to_wall_ms,
)
from gillhouse.core.settings import ProgrammeSettings

REPEAT_MS = 120_000
"""A due time that came is not repeated when the clock is then set back by less than this."""

Next = Callable[[int], int | None]
"""The first due time at or after a wall time, both in milliseconds; None: it never comes again."""


def every_minutes(every_min: int, zone: tzinfo) -> Next:
    """Due times every so many real minutes from each local midnight."""
    from apscheduler.triggers.interval import IntervalTrigger  # 7 MB with what it draws in: only where used

    def following(wall_ms: int) -> int:
        midnight = local(day_start_ms(wall_ms, zone), UTC)
        trigger = IntervalTrigger(minutes=every_min, start_date=midnight, timezone=UTC)
        due_ms = to_wall_ms(trigger.get_next_fire_time(None, local(wall_ms, UTC)))
        return min(due_ms, next_day_start_ms(wall_ms, zone))

    return following


def by_crontab(text: str, zone: tzinfo) -> Next:
    """Due times of a five-field crontab line, read off the local clock; none for a date that is no date.

    Raises:
        ValueError: the line cannot be read.
    """
    from apscheduler.triggers.cron import CronTrigger  # as above

    fields = cron_fields(text)
    trigger = CronTrigger(**fields, timezone=UTC)

    def shown(face: datetime) -> datetime | None:
        """The first matching clock reading at or after `face`; both are written as if in UTC."""
        found: datetime | None = trigger.get_next_fire_time(None, face)
        return found

    if re.fullmatch(r"\d+(,\d+)*", fields["hour"]):
        return _each_reading_once(shown, zone)
    return _each_showing(shown, zone)


def _each_showing(shown: Callable[[datetime], datetime | None], zone: tzinfo) -> Next:
    """Every real moment at which the clock shows a matching reading."""

    def following(wall_ms: int) -> int | None:
        while True:
            face = shown(_face(wall_ms, zone))
            if face is None:
                return None
            due_ms = wall_ms + to_wall_ms(face) - to_wall_ms(_face(wall_ms, zone))
            if _face(due_ms, zone) == face:
                return due_ms
            # The clocks change in between: look again from the change on.
            wall_ms = offset_change_ms(wall_ms, due_ms, zone)

    return following


def _each_reading_once(shown: Callable[[datetime], datetime | None], zone: tzinfo) -> Next:
    """Every matching reading once: the first time it is shown, or late where it is skipped."""

    def following(wall_ms: int) -> int | None:
        # A reading skipped since yesterday may still be to come: begin as the clock would stand unchanged.
        unchanged = _face(wall_ms - DAY_MS, zone) + timedelta(days=1)
        face = shown(min(_face(wall_ms, zone), unchanged))
        best: int | None = None
        while face is not None and (best is None or face <= _face(best, zone)):
            due_ms = to_wall_ms(face.replace(tzinfo=zone).astimezone(UTC))
            if due_ms >= wall_ms and (best is None or due_ms < best):
                best = due_ms
            face = shown(face + timedelta(minutes=1))
        return best

    return following


def _face(wall_ms: int, zone: tzinfo) -> datetime:
    """What the local clock shows, written as if in UTC: arithmetic on it knows no clock changes."""
    return local(wall_ms, zone).replace(tzinfo=UTC, fold=0)


def next_of(programme: ProgrammeSettings, zone: tzinfo) -> Next:
    """The due times of one programme.

    Raises:
        ValueError: it has neither `every_min` nor `cron`, or its `cron` cannot be read.
    """
    if programme.cron is not None:
        return by_crontab(programme.cron, zone)
    if programme.every_min is None or programme.every_min < 1:
        raise ValueError(
            f"programme {programme.id!r}: every_min is {programme.every_min!r}; "
            "give whole minutes, 1 or more, or a cron line"
        )
    return every_minutes(programme.every_min, zone)


def at_dusk(latitude_deg: float, zone: tzinfo) -> Next:
    """Sunset of each local day; days without one are passed over."""

    def following(wall_ms: int) -> int | None:
        today = local(wall_ms, zone).date()
        for ahead in range(YEAR_DAYS + 1):
            day = today + timedelta(days=ahead)
            noon = datetime(day.year, day.month, day.day, 12, tzinfo=zone)
            summer_min = round((noon.dst() or timedelta()).total_seconds() / 60)
            minute = sunset_min(latitude_deg, day_of_year(day.month, day.day), summer_min)
            due_ms = None if minute is None else at_minute_ms(day, minute, zone)
            if due_ms is not None and due_ms >= wall_ms:
                return due_ms
        return None

    return following


class Timers:
    """All due times of a farm. `rebuild` first; then `next_ms` says when to look and `pop_due` hands over."""

    def __init__(
        self,
        programmes: Iterable[ProgrammeSettings],
        zone: tzinfo,
        daily: Mapping[str, int],
        more: Mapping[str, Next] = MappingProxyType({}),
    ) -> None:
        """Makes the triggers; nothing is due before `rebuild`.

        Args:
            daily: name -> minutes since local midnight, of chores that come once each local day.
            more: name -> due times of chores that come by a rule of their own.
        """
        self._next: dict[str, Next] = {one.id: next_of(one, zone) for one in programmes}
        for name, minute in daily.items():
            self._next[name] = by_crontab(f"{minute % 60} {minute // 60} * * *", zone)
        self._next.update(more)
        self._order = {what: place for place, what in enumerate(self._next)}
        self._heap: list[tuple[int, int, str]] = []
        self._last: dict[str, int] = {}

    def rebuild(self, now: Instant) -> None:
        """Drops every due time and counts anew from `now`: at the start and after each clock step."""
        self._heap.clear()
        for what in self._next:
            last = self._last.get(what)
            from_ms = now.wall_ms
            if last is not None and 0 <= last - from_ms < REPEAT_MS:
                from_ms = last + 1
            self._push(what, from_ms)

    def next_ms(self, now: Instant) -> int | None:
        """The monotonic time of the next due time, if no clock steps before; None: there is none."""
        if not self._heap:
            return None
        return now.mono_ms + max(0, self._heap[0][0] - now.wall_ms)

    def pop_due(self, now: Instant) -> list[Due]:
        """What has become due, in order, each programme once; its next due time then lies after `now`."""
        found: list[Due] = []
        while self._heap and self._heap[0][0] <= now.wall_ms:
            due_ms, _, what = heapq.heappop(self._heap)
            found.append(Due(what, due_ms))
            self._last[what] = due_ms
            self._push(what, max(due_ms, now.wall_ms) + 1)
        return found

    def _push(self, what: str, from_ms: int) -> None:
        due_ms = self._next[what](from_ms)
        if due_ms is not None:
            heapq.heappush(self._heap, (due_ms, self._order[what], what))
