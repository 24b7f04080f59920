"""`gillhouse reset`: the cause of an alarm that stays on the list was found and mended."""

from pathlib import Path

import click

from gillhouse.commands.options import default_state, state_option
from gillhouse.commands.people import send
from gillhouse.commands.shelve import say_what_came
from gillhouse.core.inputs import Act


@click.command()
@click.argument("alarm")
@click.option("--text", default="", help="What you found and did.")
@state_option
def command(alarm: str, text: str, state_dir: Path | None) -> None:
    """Take an alarm off the list that stays there until somebody has looked, once it is over and seen.

    Example: gillhouse reset relay-stuck:tent-mist --text "valve changed"
    """
    outcome = send(state_dir or default_state(), Act.RESET, alarm, text=text)
    say_what_came(
        outcome, f"{alarm} is off the list", "not yet: it must be over, and acknowledged with `gillhouse ack`"
    )
