"""`gillhouse note`: something to remember, written into the night."""

from pathlib import Path

import click

from gillhouse.commands.options import state_option
from gillhouse.commands.people import record
from gillhouse.core.inputs import Act


@click.command()
@click.argument("space")
@click.argument("text")
@state_option
def command(space: str, text: str, state_dir: Path | None) -> None:
    """Write something down: hosed, door, anything.

    Example: gillhouse note barn "hosed the west edge, two cans"
    """
    record(state_dir, Act.NOTE, space, text)
    click.echo(f"noted for {space}")
