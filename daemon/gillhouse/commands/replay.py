"""`gillhouse replay`: decide a night again from what was heard, and compare."""

import sys
from datetime import datetime
from pathlib import Path

import click

from gillhouse.audit.evidence import config_at
from gillhouse.audit.report import last_window, window_of
from gillhouse.clock import SystemClock
from gillhouse.commands.options import default_state, state_option
from gillhouse.config import load
from gillhouse.replay import Difference, replay
from gillhouse.store import JOURNAL
from gillhouse.store.reader import Reader


@click.command()
@click.option("--date", "evening", type=click.DateTime(["%Y-%m-%d"]), default=None,
              help="The night that begins on this date. Default: the last night.")
@click.option("--with", "other", type=click.Path(path_type=Path, exists=True, dir_okay=False), default=None,
              help="Another farm.yaml: which decision would differ first?")
@click.option("--out", type=click.Path(path_type=Path, dir_okay=False), default=None,
              help="Write every decision, one a line, in canonical form.")
@state_option
def command(
    evening: datetime | None, other: Path | None, out: Path | None, state_dir: Path | None
) -> None:
    """Decide a night again from what was heard, and compare.

    Example: gillhouse replay --date 2026-11-24 --with drier.yaml
    """
    now_ms = SystemClock().now().wall_ms
    with Reader((state_dir or default_state()) / JOURNAL) as reader:
        window = last_window(reader, now_ms)
        if evening is not None:
            window = window_of(config_at(reader, now_ms), evening.date())
        settings = load(other).farm if other else None
        found = replay(reader, window.from_ms, window.to_ms, settings)
    if out is not None:
        out.write_text("".join(f"{line}\n" for line in found.lines), encoding="utf-8")
    if found.first is None:
        click.echo(f"the same: {found.inputs} inputs, {found.decisions} decisions, byte for byte")
        return
    click.echo(_told(found.first, other is not None))
    sys.exit(0 if other else 1)


def _told(first: Difference, under_other: bool) -> str:
    when = datetime.fromtimestamp(first.wall_ms / 1000).astimezone().isoformat(" ", "seconds")
    then = "\n".join(f"  then: {line}" for line in first.then) or "  then: nothing"
    now = "\n".join(f"  now:  {line}" for line in first.now) or "  now:  nothing"
    end = (
        "From here on the air would have answered differently, so nothing later is compared."
        if under_other
        else "Under the same config this should not be. Please report it."
    )
    return f"first difference at input {first.seq}, {when}:\n{then}\n{now}\n{end}"
