"""`gillhouse more-water`: half of a mist relay's daily litres again, for today, once."""

from pathlib import Path

import click

from gillhouse.commands.options import default_state, state_option
from gillhouse.commands.people import send
from gillhouse.core.inputs import Act
from gillhouse.core.reasons import WORDS, Reason


@click.command()
@click.argument("relay")
@click.option("--why", default="", help="Written into the night.")
@state_option
def command(relay: str, why: str, state_dir: Path | None) -> None:
    """Let a mist relay use half of its day's water again, today. Look for a leak first; it goes once a day.

    Example: gillhouse more-water tent-mist --why "dry wind all day"
    """
    for event in send(state_dir or default_state(), Act.MORE_WATER, relay, text=why)["events"]:
        words = WORDS[Reason(event["reason"])].format(**event["facts"])
        if event["kind"] == "refused":
            raise click.ClickException(words)
        click.echo(words)
