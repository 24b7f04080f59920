"""`gillhouse ack`: I have seen this alarm. Seeing is not mending; the alarm stays until its cause is gone."""

from pathlib import Path

import click

from gillhouse.commands.options import default_state, since, state_option
from gillhouse.commands.people import send
from gillhouse.core.alarm_kinds import KINDS
from gillhouse.core.inputs import Act
from gillhouse.local import ask


@click.command()
@click.argument("alarm", required=False)
@click.option("--text", default="", help="What you found or did.")
@state_option
def command(alarm: str | None, text: str, state_dir: Path | None) -> None:
    """Say that you have seen an alarm; without a name, list what waits.

    Example: gillhouse ack humidity-low:tent --text "filter rinsed"
    """
    state = state_dir or default_state()
    waiting = list(ask(state, {"ask": "status"})["alarms"])
    if alarm is None:
        for row in waiting:
            click.echo(f"{row['alarm']}  {KINDS[row['kind']].title}, since {since(row['since_ms'])}")
        if not waiting:
            click.echo("no alarm waits")
        return
    meant = next((row for row in waiting if row["alarm"] == alarm), None)
    if meant is None:
        raise click.ClickException(f"no alarm {alarm!r} stands; `gillhouse ack` lists what does")
    send(state, Act.ACK, alarm, text=text, occurrence=meant["occurrence"])
    click.echo(f"seen: {alarm}")
