"""Which night, and its figures: what commands and the morning report ask for.

Here: from a date, or from nothing, to the window of a night; from a window to a `Night`. Not here: formats
(`text`, `html`, `record`).
"""

from collections.abc import Sequence
from dataclasses import replace
from datetime import date, timedelta

from gillhouse.audit.ahead_log import LOG_ALONE, Outlook
from gillhouse.audit.alarm_log import figures_between
from gillhouse.audit.evidence import config_at, gather
from gillhouse.audit.figures import figures
from gillhouse.audit.night import Night, Window
from gillhouse.config import Config
from gillhouse.core.schedule import DAY_MIN, at_minute_ms, local
from gillhouse.store.reader import Reader


def night_of(
    reader: Reader, window: Window, now_ms: int, only: Sequence[str] = (), outlook: Outlook = LOG_ALONE
) -> Night:
    """The figures of a window.

    Args:
        now_ms: wall time; nothing after it is told.
        only: ids of the spaces wanted; empty for all.
        outlook: what is known of the days to come beyond the log.
    Raises:
        AuditError: nothing is known of that time, or there is no such space.
    """
    night = figures(gather(reader, window, now_ms, outlook), only)
    own = night.window
    return replace(night, alarm_system=figures_between(reader, own.from_ms, own.to_ms, now_ms, own.zone))


def window_of(config: Config, evening: date) -> Window:
    """The night that begins in the evening of a date, as the clock on the wall has it."""
    zone, report = config.farm.zone, config.report
    over_midnight = report.night_to_min <= report.night_from_min
    morning = evening + timedelta(days=1) if over_midnight else evening
    return Window(
        at_minute_ms(evening, report.night_from_min, zone),
        at_minute_ms(morning, report.night_to_min % DAY_MIN, zone),
        zone,
    )


def last_window(reader: Reader, now_ms: int) -> Window:
    """The last night that is over, or the one under way where the log is younger than that.

    Where the log's newest reading is older than last night, or newer than now (a trial's), the last night
    with readings is meant.

    Raises:
        AuditError: an empty store.
    """
    config = config_at(reader, max(now_ms, reader.newest_ms() or 0))
    first = next(iter(reader.segments()))
    newest_ms = reader.newest_ms() or first.now.wall_ms
    today = local(newest_ms, config.farm.zone).date()
    windows = [window_of(config, today - timedelta(days=back)) for back in (0, 1, 2)]
    begun = [window for window in windows if window.from_ms <= newest_ms and window.to_ms > first.now.wall_ms]
    over = [window for window in begun if window.to_ms <= now_ms or window.to_ms <= newest_ms]
    for window in (*over[:1], *begun[:1]):
        return window
    return windows[0]
