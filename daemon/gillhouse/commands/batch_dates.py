"""Days as a grower writes them at the command line, in the farm's own time."""

from datetime import tzinfo
from pathlib import Path

import click

from gillhouse.audit.evidence import config_at
from gillhouse.clock import SystemClock
from gillhouse.core import local_moment
from gillhouse.store import JOURNAL
from gillhouse.store.reader import Reader

NOON = "12:00"
"""A day without a time means its noon."""


def happened(text: str | None, state: Path) -> int | None:
    """The wall ms of a moment gone by; today without a time is now. None for None: now."""
    if text is None:
        return None
    at_ms, now_ms = _moment(text, zone_of(state)), SystemClock().now().wall_ms
    today = " " not in text.strip() and at_ms - now_ms < 12 * 3_600_000
    return min(at_ms, now_ms) if today else at_ms


def to_come(text: str | None, state: Path) -> int | None:
    """The wall ms of a moment, gone by or to come. None for None: now."""
    return None if text is None else _moment(text, zone_of(state))


def zone_of(state: Path) -> tzinfo:
    """The farm's time zone, from the config the store was last used with."""
    with Reader(state / JOURNAL) as reader:
        return config_at(reader, SystemClock().now().wall_ms).farm.zone


def _moment(text: str, zone: tzinfo) -> int:
    words = text.strip() if " " in text.strip() else f"{text.strip()} {NOON}"
    at_ms = local_moment.read(words, zone)
    if at_ms is None:
        raise click.BadParameter(f"{text!r} is no day; write 2026-11-20, or '2026-11-20 18:30'")
    return at_ms
