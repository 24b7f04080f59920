"""A moment as a grower writes it: `2026-11-20 18:30`, by the farm's own clock.

For notes that are read back and for days at the command line. To the minute; in the hour that comes twice in
autumn the first is meant.
"""

from datetime import UTC, datetime, tzinfo

FORMAT = "%Y-%m-%d %H:%M"


def written(at_ms: int, zone: tzinfo) -> str:
    """The wall time `at_ms` in the farm's zone."""
    return datetime.fromtimestamp(at_ms / 1000, UTC).astimezone(zone).strftime(FORMAT)


def read(text: str, zone: tzinfo) -> int | None:
    """The wall time in ms; None where the text is no such moment."""
    try:
        naive = datetime.strptime(text, FORMAT)  # noqa: DTZ007  the farm's zone follows
    except ValueError:
        return None
    return round(naive.replace(tzinfo=zone).astimezone(UTC).timestamp() * 1000)
