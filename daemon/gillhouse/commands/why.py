"""`gillhouse why`: why a relay was on, or was not, at a moment."""

import json
import re
from datetime import UTC, date, datetime, time, timedelta, tzinfo
from pathlib import Path

import click

from gillhouse.audit.evidence import config_at
from gillhouse.audit.why import why
from gillhouse.audit.why_told import as_text, record
from gillhouse.clock import SystemClock
from gillhouse.commands.night import moment_ms
from gillhouse.commands.options import default_state, state_option
from gillhouse.store import JOURNAL
from gillhouse.store.reader import Reader

CLOCK_TIME = re.compile(r"\d{1,2}:\d{2}(:\d{2})?")


@click.command()
@click.argument("relay")
@click.argument("moment", metavar="TIME")
@click.option(
    "--date",
    "day",
    type=click.DateTime(["%Y-%m-%d"]),
    default=None,
    help="The day of TIME. Default: the last time the clock showed it.",
)
@click.option("--format", "form", type=click.Choice(["text", "json"]), default="text", show_default=True)
@state_option
def command(relay: str, moment: str, day: datetime | None, form: str, state_dir: Path | None) -> None:
    """Tell why a relay stood as it did at TIME, such as 02:14, 02:14:30 or 2026-10-14T02:14.

    Example: gillhouse why tent-mist 02:14
    """
    now_ms = SystemClock().now().wall_ms
    with Reader((state_dir or default_state()) / JOURNAL) as reader:
        end_ms = max(reader.newest_ms() or now_ms, reader.last_wall_ms() or 0)
        zone = config_at(reader, end_ms).farm.zone
        from_ms = _begin(moment, None if day is None else day.date(), zone, end_ms)
        chain = why(reader, relay, from_ms, from_ms + (60_000 if moment.count(":") == 1 else 1000))
    click.echo(
        json.dumps(record(chain), indent=2, ensure_ascii=False) if form == "json" else as_text(chain).rstrip()
    )


def _begin(text: str, day: date | None, zone: tzinfo, end_ms: int) -> int:
    """The begin of the minute or second a person typed."""
    if not CLOCK_TIME.fullmatch(text):
        if day is not None:
            raise click.UsageError("--date goes with a time such as 02:14; this one names its day itself")
        return moment_ms(text, zone, "TIME")
    try:
        face = time.fromisoformat(text.zfill(5) if text.count(":") == 1 else text.zfill(8))
    except ValueError as error:
        raise click.BadParameter(
            f"{text!r} is not a time of day: write it like 02:14", param_hint="TIME"
        ) from error
    last = datetime.fromtimestamp(end_ms / 1000, UTC).astimezone(zone).date()
    for back in (0, 1):
        at = datetime.combine(day or last - timedelta(days=back), face, tzinfo=zone)
        ms = int(at.timestamp() * 1000)
        if day is not None or ms <= end_ms:
            break
    return ms
