"""The five fields of a programme's `at`, checked before anything is timed by them.

Read by `core.schedule.cron_fields`, as the timers do, so that what passes here is what will be timed.
Stricter in one thing only: numbers for weekdays are refused.
"""

import re
from datetime import UTC, datetime

from gillhouse.core.schedule import cron_fields

_SOME_LEAP_YEAR = datetime(2024, 1, 1, tzinfo=UTC)


def cron_trouble(text: str) -> str | None:
    """What is wrong with `text` and what to do, or None.

    Weekdays must be names: 0 means Sunday to some programs and Monday to others. A step (`*/2`) is a count
    and stays; it goes from Sunday, as crontab(5) has it.
    """
    from apscheduler.triggers.cron import CronTrigger  # 7 MB with what it draws in: only where one is used

    fields = text.split()
    if len(fields) != 5:
        return "should be five fields: minute hour day month weekday; write as '*/15 6-22 * * *'"
    if re.search(r"(?<![\d/])\d", fields[4]):  # a step is a count, not a day
        return (
            "weekday should be a name, since numbers count from Sunday or from Monday; write mon, tue ... or"
            " mon-fri"
        )
    try:
        trigger = CronTrigger(**cron_fields(text), timezone=UTC)
        first = trigger.get_next_fire_time(None, _SOME_LEAP_YEAR)
    except (ValueError, TypeError, KeyError, OverflowError) as error:
        return f"is no time pattern: {error}; write as '*/15 6-22 * * *'"
    return None if first else "never comes (no such day); correct the day or the month"
