"""The five fields of a programme's `at`, checked before anything is timed by them."""

import re
from datetime import UTC, datetime

_SOME_LEAP_YEAR = datetime(2024, 1, 1, tzinfo=UTC)


def cron_trouble(text: str) -> str | None:
    """What is wrong with `text` and what to do, or None.

    Weekdays must be names: 0 means Sunday to some programs and Monday to others.
    """
    from apscheduler.triggers.cron import CronTrigger  # 7 MB with what it draws in: only where one is used

    fields = text.split()
    if len(fields) != 5:
        return "should be five fields: minute hour day month weekday; write as '*/15 6-22 * * *'"
    if re.search(r"\d", fields[4]) and not re.fullmatch(r"\*/\d+", fields[4]):
        return (
            "weekday should be a name, since numbers count from Sunday or from Monday; write mon, tue ... or"
            " mon-fri"
        )
    try:
        trigger = CronTrigger.from_crontab(text, timezone=UTC)
        first = trigger.get_next_fire_time(None, _SOME_LEAP_YEAR)
    except (ValueError, TypeError, KeyError, OverflowError) as error:
        return f"is no time pattern: {error}; write as '*/15 6-22 * * *'"
    return None if first else "never comes (no such day); correct the day or the month"
