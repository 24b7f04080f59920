"""`gillhouse alarms`: how well the alarms serve, over a month: too many, unseen, or not getting out."""

import json
from pathlib import Path

import click

from gillhouse.audit.alarm_log import figures_between
from gillhouse.audit.alarm_words import as_plain, as_text
from gillhouse.audit.evidence import config_at
from gillhouse.clock import SystemClock
from gillhouse.commands.options import default_state, state_option
from gillhouse.store import JOURNAL
from gillhouse.store.reader import Reader

DAY_MS = 86_400_000


@click.command()
@click.option("--days", type=click.IntRange(1, 400), default=30, show_default=True, help="How far back.")
@click.option("--json", "as_json", is_flag=True, help="As JSON.")
@state_option
def command(days: int, as_json: bool, state_dir: Path | None) -> None:
    """Tell how many alarms there were, how fast they were seen, and which ones only tire people.

    Example: gillhouse alarms --days 30
    """
    with Reader((state_dir or default_state()) / JOURNAL) as reader:
        now_ms = SystemClock().now().wall_ms
        newest_ms = reader.newest_ms() or now_ms
        end_ms = newest_ms if newest_ms > now_ms or now_ms - newest_ms > days * DAY_MS else now_ms
        zone = config_at(reader, end_ms).farm.zone
        found = figures_between(reader, end_ms - days * DAY_MS, end_ms, end_ms, zone)
    if as_json:
        click.echo(json.dumps(as_plain(found), indent=2))
    else:
        click.echo(as_text(found, zone), nl=False)
