"""All the store says about one night, read once.

Here: the rows of a window as plain values, and the only place of the audit that talks to the store. Not
here: any judgement (`figures` makes the night from this). A little before the window is read too, since
a reading may hold into the night, a relay may be on when it begins, and an alarm may still stand.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import UTC, datetime
from functools import lru_cache
from itertools import islice
from typing import Any

from gillhouse.audit import told
from gillhouse.audit.ahead_log import LOG_ALONE, Outlook, morning
from gillhouse.audit.clock_unset import clock_unset, in_order
from gillhouse.audit.coming import coming_up
from gillhouse.audit.corrections import NONE, Corrections, corrections, last_seq
from gillhouse.audit.night import Ahead, AuditError, Away, ClockUnset, Coming, Window
from gillhouse.audit.out_of_use import out_of_use
from gillhouse.audit.pests_soon import soon
from gillhouse.audit.places import Move, moves
from gillhouse.audit.sensor_findings import FindingNight, standing
from gillhouse.config import Config, load_files
from gillhouse.config.pests_file import load_pests
from gillhouse.core.outputs import EventKind
from gillhouse.core.settings import FarmSettings
from gillhouse.errors import StoreError
from gillhouse.records.batch_book import books
from gillhouse.records.crops_then import HeldFor, held_for
from gillhouse.store.reader import Reader
from gillhouse.store.records import AlarmAt, CommandAt, EventAt, ReadingAt, Segment

RUNS_BEFORE_MS = 6 * 3_600_000
"""Commands this long before the window are read: longer than any lease."""
ALARMS_BEFORE_MS = 14 * 24 * 3_600_000
"""An alarm that stands longer than this is not told again."""
QUIET_MS = 10 * 60_000
"""The log ending this long before the window does is worth a word."""
SIMULATED = "SIMULATED"
"""A trial run's farm has a name that begins so."""
REJECTED = "rejected "
"""Counters of messages that could not be read begin so; the reason follows."""


@dataclass(frozen=True, slots=True)
class Evidence:
    """What the store says. Mappings are by id; rows are ordered by time."""

    window: Window
    asked_to_ms: int
    log_begins_ms: int | None
    log_ends_ms: int | None
    removed_before_ms: int | None
    """Readings of the time asked for were removed up to here, being too old; the window begins here then."""
    configs: Sequence[HeldFor]
    """Not empty, in order, without holes, over the window."""
    readings: Mapping[str, Sequence[ReadingAt]]
    commands: Mapping[str, Sequence[CommandAt]]
    events: Sequence[EventAt]
    alarms: Sequence[AlarmAt]
    stops: Sequence[int]
    """When the daemon stopped or began."""
    away: tuple[Away, ...]
    rejects: Mapping[str, int]
    simulated: bool
    corrections: Corrections = NONE
    """`readings` are corrected by them already; the store's are raw."""
    findings: tuple[FindingNight, ...] = ()
    coming: tuple[Coming, ...] = ()
    ahead: tuple[Ahead, ...] = ()
    moved: Mapping[str, Move] = field(default_factory=dict)
    """Sensors the newest settings tell a dated move of."""
    clock_unset: tuple[ClockUnset, ...] = ()
    out_of_use: Mapping[str, Sequence[tuple[int, int]]] = field(default_factory=dict)
    """By space."""

    @property
    def latest(self) -> HeldFor:
        return self.configs[-1]


def gather(  # over 40 lines: one literal and what it is made of
    reader: Reader, window: Window, now_ms: int, outlook: Outlook = LOG_ALONE
) -> Evidence:
    """Everything about a window.

    Args:
        now_ms: wall time; the window ends here where it would reach into the future.
        outlook: what is known of the days to come beyond the log.
    Raises:
        AuditError: the store holds nothing of that time.
    """
    with reader.snapshot():
        segments = _segments(reader, window)
        cut, removed_ms = _cut(reader, window, now_ms)
        if not segments or cut.lasts_ms <= 0:
            raise AuditError(_nothing(reader, window, reader.newest_ms() or 0))
        configs = _configs(reader, segments, cut)
        raw = _readings(reader, cut, configs[-1].farm)
        begin_ms = min([rows[0].ts for rows in raw.values()], default=cut.from_ms)
        truth = corrections(reader, begin_ms, last_seq(raw.values()))
        readings = _corrected(raw, truth, configs[-1].farm)
        events = list(reader.events(cut.from_ms - RUNS_BEFORE_MS, cut.to_ms))
        commands = _commands(reader, cut)
        alarms = list(reader.alarms(cut.from_ms - ALARMS_BEFORE_MS, cut.to_ms))
        rejects = _rejects(reader, cut)
        findings = standing(reader, segments[-1], events)
        unset = clock_unset(reader.segments(segments[0].first_seq), cut)
        moved = moves(_config(reader, (reader.newest_segment() or segments[-1]).digest).farm)
        unused = out_of_use(_modes_at(reader, segments[0]), events, cut)
        coming = coming_up(reader, segments, cut, lambda digest: _config(reader, digest).farm)
        ahead = _ahead(reader, segments[-1], cut, outlook)
    begins = segments[0].now.wall_ms
    return Evidence(
        window=cut,
        asked_to_ms=window.to_ms,
        log_begins_ms=begins if cut.from_ms < begins < cut.to_ms else None,
        removed_before_ms=removed_ms,
        log_ends_ms=_end(readings, events, cut),
        configs=configs,
        readings=readings,
        commands=commands,
        events=events,
        alarms=alarms,
        stops=[one.ts for one in events if one.event.kind in {EventKind.STOPPED, EventKind.STARTED}],
        away=_away(events, cut),
        rejects=rejects,
        simulated=configs[-1].farm.name.startswith(SIMULATED),
        corrections=truth,
        findings=findings,
        coming=coming,
        ahead=ahead,
        moved=moved,
        clock_unset=unset,
        out_of_use=unused,
    )


def _ahead(reader: Reader, segment: Segment, cut: Window, outlook: Outlook) -> tuple[Ahead, ...]:
    """What is reckoned to come up: flies by the shipped pest files, then slugs, weighed logs, picks."""
    config = _config(reader, segment.digest)
    flies = soon(reader, config, load_pests(), books(reader), cut.to_ms)
    found = [Ahead(one.space, one.words, one.source) for one in flies]
    found += [Ahead(one.space, one.text, one.source) for one in morning(reader, config, cut.to_ms, outlook)]
    return tuple(found)


def _modes_at(reader: Reader, segment: Segment) -> Mapping[str, Any]:
    """What spaces were in where a stretch of the journal began."""
    try:
        kept = reader.state_at(segment).get("modes")
    except StoreError:  # too old to be kept
        kept = None
    return kept if isinstance(kept, dict) else {}


def _cut(reader: Reader, window: Window, now_ms: int) -> tuple[Window, int | None]:
    """The part of a window that has been and whose readings are still kept, and up to where they are not.

    Raises:
        AuditError: none of them is kept.
    """
    to_ms = min(window.to_ms, max(now_ms, reader.newest_ms() or 0))
    removed_ms = reader.removed_before_ms(window.from_ms, to_ms)
    if removed_ms is not None and removed_ms >= to_ms:
        raise AuditError(_removed(reader, window))
    return Window(window.from_ms if removed_ms is None else removed_ms, to_ms, window.zone), removed_ms


def _corrected(
    raw: Mapping[str, Sequence[ReadingAt]], truth: Corrections, farm: FarmSettings
) -> dict[str, Sequence[ReadingAt]]:
    return {
        name: truth.corrected(farm.sensors[name], rows) if name in farm.sensors else rows
        for name, rows in raw.items()
    }


def _commands(reader: Reader, window: Window) -> dict[str, list[CommandAt]]:
    """By relay."""
    found: dict[str, list[CommandAt]] = {}
    for one in reader.commands(window.from_ms - RUNS_BEFORE_MS, window.to_ms):
        found.setdefault(one.command.relay, []).append(one)
    return found


def config_at(reader: Reader, wall_ms: int) -> Config:
    """The config in force at a wall time, or the first one where the log begins later.

    Raises:
        AuditError: an empty store.
    """
    segment = reader.segment_before(wall_ms) or next(iter(reader.segments()), None)
    if segment is None:
        raise AuditError("the log is empty: start `gillhouse run` and let it listen for a while")
    return _config(reader, segment.digest)


def _config(reader: Reader, digest: str) -> Config:
    files = reader.config(digest)
    if files is None:
        raise AuditError(f"the settings {digest[:8]} that were in force are not in the store: it is damaged")
    return _load(tuple(sorted(files.items())))


@lru_cache(maxsize=8)
def _load(files: tuple[tuple[str, str], ...]) -> Config:
    return load_files(dict(files))


def _segments(reader: Reader, window: Window) -> list[Segment]:
    """The one that holds the window's begin, and those begun within it.

    Where the log begins after the window, yet readings of that time came late: the first one.
    """
    first = reader.segment_before(window.from_ms)
    later = reader.segments(first.first_seq if first else 0)
    found = in_order([one for one in later if one.now.wall_ms < window.to_ms])
    if not found and next(reader.all_readings(window.from_ms, window.to_ms), None) is not None:
        found = list(islice(reader.segments(), 1))
    return found


def _configs(reader: Reader, segments: Sequence[Segment], window: Window) -> list[HeldFor]:
    """The settings in force with what the batches of then made of them, without holes."""
    span = (window.from_ms, window.to_ms)
    return held_for(reader, segments, span, lambda digest: _config(reader, digest).farm)


def _readings(reader: Reader, window: Window, farm: FarmSettings) -> dict[str, list[ReadingAt]]:
    """By sensor; from as long before the window as a reading may hold."""
    before = max((sensor.silent_after_ms for sensor in farm.sensors.values()), default=0)
    found: dict[str, list[ReadingAt]] = {}
    for sensor, reading in reader.all_readings(window.from_ms - before, window.to_ms):
        found.setdefault(sensor, []).append(reading)
    return found


def _end(
    readings: Mapping[str, Sequence[ReadingAt]], events: Sequence[EventAt], window: Window
) -> int | None:
    last = max(
        [rows[-1].ts for rows in readings.values()] + [event.ts for event in events], default=window.from_ms
    )
    return last if window.to_ms - last > QUIET_MS else None


def _away(events: Sequence[EventAt], window: Window) -> tuple[Away, ...]:
    """Times the daemon was not there (told at its next start), and rows the store lost."""
    found = []
    for one in events:
        facts = one.event.facts
        if one.event.kind is EventKind.STARTED and isinstance(away_s := facts.get("away_s"), int | float):
            found.append(Away(one.ts - int(away_s * 1000), one.ts, 0, bool(facts.get("clean"))))
        elif one.event.kind is EventKind.GAP and isinstance(lost := facts.get("lost"), int):
            begin, end = facts.get("from_ms"), facts.get("to_ms")
            if isinstance(begin, int) and isinstance(end, int):
                found.append(Away(begin, end, lost, False))
    found.sort(key=lambda away: (away.from_ms, away.to_ms))
    return tuple(
        Away(max(away.from_ms, window.from_ms), min(away.to_ms, window.to_ms), away.lost, away.clean)
        for away in found
        if away.from_ms < window.to_ms and away.to_ms > window.from_ms
    )


def _rejects(reader: Reader, window: Window) -> dict[str, int]:
    """By reason, over the UTC days the window touches (counters are kept by day)."""
    days = [
        datetime.fromtimestamp(ms / 1000, UTC).date().isoformat() for ms in (window.from_ms, window.to_ms)
    ]
    found: dict[str, int] = {}
    for (_, name, _), count in reader.counters(days[0], days[1]).items():
        if name.startswith(REJECTED):
            reason = name.removeprefix(REJECTED)
            found[reason] = found.get(reason, 0) + count
    return found


def _asked(window: Window) -> str:
    return " to ".join(
        f"{told.day(ms, window.zone)} {told.clock(ms, window.zone)}" for ms in (window.from_ms, window.to_ms)
    )


def _removed(reader: Reader, window: Window) -> str:
    oldest_ms = reader.oldest_ms()
    since = "" if oldest_ms is None else f"; they go back to {told.local(oldest_ms, window.zone):%Y-%m-%d}"
    return (
        f"the readings of {_asked(window)} are no longer kept{since}. The sums of its hours are: ask "
        "the store for them, as docs/reference/store.md shows. How long readings are kept is `keep` under "
        "`store` in the farm file"
    )


def _nothing(reader: Reader, window: Window, newest_ms: int) -> str:
    zone, asked = window.zone, _asked(window)
    first = next(iter(reader.segments()), None)
    if first is None:
        return f"nothing is known of {asked}: the log is empty"
    begin = first.now.wall_ms
    held = " to ".join(
        f"{told.local(ms, zone):%Y-%m-%d} {told.clock(ms, zone)}" for ms in (begin, max(begin, newest_ms))
    )
    return (
        f"nothing is known of {asked}: the log holds {held}. Name a time within with --date or --from, --to"
    )
