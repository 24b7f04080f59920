"""What the local clock asks for: day or night, light or dark, how long a programme's run is.

Here: pure functions of (settings, wall time, zone). A missed or doubled due time changes nothing, because
what is wanted at a moment follows from the moment. Not here: when a due time comes (`gillhouse.timers`), and
whether a relay may move (`core.interlock`).

Windows are read off the local clock's face: `from` belongs to the window, `to` does not, and one that ends
before it begins runs over midnight. In a clock-change night a window is therefore shorter or longer, as the
clock on the wall has it. A local day begins at its first moment, also where midnight itself is skipped.
"""

from datetime import UTC, date, datetime, time, timedelta, tzinfo

from gillhouse.core.settings import LightSettings, ProgrammeSettings

EPOCH = datetime(1970, 1, 1, tzinfo=UTC)
MINUTE_MS = 60_000
DAY_MS = 1_440 * MINUTE_MS
DAY_MIN = 1_440

WEEKDAYS = ("sun", "mon", "tue", "wed", "thu", "fri", "sat", "sun")
"""By crontab number; 0 and 7 are both Sunday. Source: crontab(5), Debian's cron."""


def local(wall_ms: int, zone: tzinfo) -> datetime:
    """The local date and time of `wall_ms` (milliseconds since 1970 UTC), to the millisecond."""
    return (EPOCH + timedelta(milliseconds=wall_ms)).astimezone(zone)


def to_wall_ms(moment: datetime) -> int:
    """Milliseconds since 1970 UTC of a time with a zone; rounded down."""
    return (moment - EPOCH) // timedelta(milliseconds=1)


def day_key(wall_ms: int, zone: tzinfo) -> str:
    """The local date, `2026-10-14`; names the day in counters and reports."""
    return local(wall_ms, zone).date().isoformat()


def day_start_ms(wall_ms: int, zone: tzinfo) -> int:
    """When the local day of `wall_ms` began."""
    return _midnight_ms(local(wall_ms, zone).date(), zone)


def next_day_start_ms(wall_ms: int, zone: tzinfo) -> int:
    """When the next local day begins: 23 to 25 hours after the day's start, as the clocks go."""
    return _midnight_ms(local(wall_ms, zone).date() + timedelta(days=1), zone)


def at_minute_ms(day: date, minute: int, zone: tzinfo) -> int:
    """When the clock first shows `minute` (since midnight) of `day`.

    A reading that the spring night skips comes as much later as the clock is put forward.
    """
    midnight = datetime.combine(day, time(), tzinfo=zone)
    face = midnight + timedelta(minutes=minute)  # moves along the clock's face, not real time
    return to_wall_ms(face.astimezone(UTC))


def within(wall_ms: int, zone: tzinfo, from_min: int, to_min: int) -> bool:
    """The local clock shows a time in `from_min` <= t < `to_min` (minutes since midnight).

    Equal ends are the whole day.
    """
    return _inside(_ms_of_day(wall_ms, zone), from_min * MINUTE_MS, to_min * MINUTE_MS)


def leaves_ms(wall_ms: int, zone: tzinfo, from_min: int, to_min: int) -> int | None:
    """The first moment after `wall_ms` at which the local clock is not in the window; None: it never is."""
    edges = (from_min * MINUTE_MS, to_min * MINUTE_MS)
    moments = _candidates(edges, wall_ms, zone)
    return next((one for one in moments if not within(one, zone, from_min, to_min)), None)


def is_night(wall_ms: int, zone: tzinfo, day_from_min: int, day_to_min: int) -> bool:
    """Outside the day's window."""
    return not within(wall_ms, zone, day_from_min, day_to_min)


def wanted(programme: ProgrammeSettings, wall_ms: int, zone: tzinfo) -> int:
    """How long a run of `programme` lasts that begins at `wall_ms`, in milliseconds; 0 is no run."""
    if within(wall_ms, zone, programme.day_from_min, programme.day_to_min):
        return programme.run_ms
    return programme.night_run_ms


def light_wanted(light: LightSettings, wall_ms: int, zone: tzinfo) -> bool:
    """Light is wanted now. 0 hours is never, 24 or more always."""
    if light.hours <= 0 or light.hours * 60 >= DAY_MIN:
        return light.hours > 0
    begin, end = _light_ms(light)
    return _inside(_ms_of_day(wall_ms, zone), begin, end)


def next_light_change_ms(light: LightSettings, wall_ms: int, zone: tzinfo) -> int | None:
    """The first wall time after `wall_ms` at which `light_wanted` changes; None: it never does."""
    if light.hours <= 0 or light.hours * 60 >= DAY_MIN:
        return None
    now = light_wanted(light, wall_ms, zone)
    for moment in _candidates(_light_ms(light), wall_ms, zone):
        if light_wanted(light, moment, zone) != now:
            return moment
    return None


def offset_change_ms(low_ms: int, high_ms: int, zone: tzinfo) -> int:
    """A moment in (`low_ms`, `high_ms`] at which the zone leaves its offset; `high_ms` if it never does."""
    before = local(low_ms, zone).utcoffset()
    if local(high_ms, zone).utcoffset() == before:
        return high_ms
    while high_ms - low_ms > 1:
        middle = (low_ms + high_ms) // 2
        if local(middle, zone).utcoffset() == before:
            low_ms = middle
        else:
            high_ms = middle
    return high_ms


def cron_fields(text: str) -> dict[str, str]:
    """The five fields of a crontab line by name, weekday numbers as names (0 and 7 are Sunday).

    Raises:
        ValueError: not five fields, or a weekday that is none.
    Source: crontab(5), Debian's cron. Unlike there, day of month and weekday must both match.
    """
    fields = text.split()
    if len(fields) != 5:
        raise ValueError(
            f"{text!r} has {len(fields)} fields; write five: minute hour day month weekday, as '30 6 * * *'"
        )
    names = ("minute", "hour", "day", "month", "day_of_week")
    found = dict(zip(names, fields, strict=True))
    found["day_of_week"] = ",".join(_weekdays(part) for part in fields[4].lower().split(","))
    return found


def _weekdays(part: str) -> str:
    """One item of the weekday field, as names."""
    span, _, step = part.partition("/")
    first, dash, last = span.partition("-")
    if span == "*":
        if not step:
            return "*"
        first, last, dash = "0", "6", "-"
    begin = _weekday(first)
    end = _weekday(last) if dash else begin
    if end < begin and WEEKDAYS[end] == "sun":
        end = 7
    if end < begin:
        raise ValueError(f"weekdays {part!r} run backwards; write the earlier day first")
    if step and not (step.isdigit() and int(step)):
        raise ValueError(f"weekday step {step!r} is no whole number over 0")
    return ",".join(WEEKDAYS[day] for day in range(begin, end + 1, int(step or 1)))


def _weekday(word: str) -> int:
    if word.isdigit() and int(word) < len(WEEKDAYS):
        return int(word)
    if word in WEEKDAYS:
        return WEEKDAYS.index(word)
    raise ValueError(f"{word!r} is no weekday; write sun to sat, or 0 to 7 (0 and 7 are Sunday)")


def _midnight_ms(day: date, zone: tzinfo) -> int:
    # fold 0 takes the first of two midnights, and the moment of the jump where there is none.
    return to_wall_ms(datetime.combine(day, time(), tzinfo=zone).astimezone(UTC))


def _ms_of_day(wall_ms: int, zone: tzinfo) -> int:
    """What the local clock's face shows, as milliseconds since midnight."""
    face = local(wall_ms, zone)
    return (face.hour * 60 + face.minute) * MINUTE_MS + face.second * 1_000 + face.microsecond // 1_000


def _inside(at_ms: int, begin_ms: int, end_ms: int) -> bool:
    if begin_ms == end_ms:
        return True
    if begin_ms < end_ms:
        return begin_ms <= at_ms < end_ms
    return at_ms >= begin_ms or at_ms < end_ms


def _light_ms(light: LightSettings) -> tuple[int, int]:
    """Begin and end of the light, milliseconds on the clock's face."""
    begin = light.from_min * MINUTE_MS
    return begin, (begin + round(light.hours * 60 * MINUTE_MS)) % DAY_MS


def _candidates(edges_ms: tuple[int, int], wall_ms: int, zone: tzinfo) -> list[int]:
    """Every moment of the next two days at which the clock's face can cross one of `edges_ms`, in order."""
    day = local(wall_ms, zone).date()
    found = {offset_change_ms(wall_ms, wall_ms + 2 * DAY_MS, zone)}
    for ahead in range(3):
        midnight = datetime.combine(day + timedelta(days=ahead), time(), tzinfo=zone)
        for edge in edges_ms:
            face = midnight + timedelta(milliseconds=edge)  # moves along the clock's face, not real time
            found.update(to_wall_ms(face.replace(fold=fold).astimezone(UTC)) for fold in (0, 1))
    return sorted(moment for moment in found if moment > wall_ms)
