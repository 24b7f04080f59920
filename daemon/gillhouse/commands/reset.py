"""`gillhouse reset`: the cause of an alarm that stays on the list was found and mended."""

from pathlib import Path

import click

from gillhouse.commands.options import default_state, state_option
from gillhouse.commands.people import send
from gillhouse.commands.shelve import say_what_came
from gillhouse.core.inputs import Act
from gillhouse.core.reasons import WORDS, Reason


@click.command()
@click.argument("alarm", metavar="ALARM-OR-THING")
@click.option("--text", default="", help="What you found and did.")
@state_option
def command(alarm: str, text: str, state_dir: Path | None) -> None:
    """Take an alarm off the list that stays there until somebody has looked, once it is over and seen.

    A thing (a relay that stuck, a stop, a leak) is let run again with all its alarms: you have looked.

    Example: gillhouse reset relay-stuck:tent-mist --text "valve changed"
    """
    outcome = send(state_dir or default_state(), Act.RESET, alarm, text=text)
    for event in outcome["events"]:
        if event["kind"] == "refused":
            raise click.ClickException(WORDS[Reason(event["reason"])].format(**event["facts"]))
    say_what_came(
        outcome, f"{alarm} is off the list", "not yet: it must be over, and acknowledged with `gillhouse ack`"
    )
