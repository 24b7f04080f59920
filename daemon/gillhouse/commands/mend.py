"""`gillhouse mend`: what an alarm watches is being mended; nobody is called for it until the time given."""

from pathlib import Path

import click

from gillhouse.commands.options import default_state, state_option
from gillhouse.commands.people import send
from gillhouse.commands.shelve import say_what_came
from gillhouse.commands.spans import longer_span_ms
from gillhouse.core.inputs import Act


@click.command()
@click.argument("alarm")
@click.option("--for", "span", default=None, help="When it is expected back: 4h, 3d; 30d at most.")
@click.option("--why", default="", help="What is being mended. Needed.")
@click.option("--back", is_flag=True, help="It works again: watch it as before.")
@state_option
def command(alarm: str, span: str | None, why: str, back: bool, state_dir: Path | None) -> None:
    """Take an alarm out of service while what it watches is being mended, or put it back.

    Example: gillhouse mend sensor-silent:tent-rh --for 3d --why "board sent in"
    """
    state = state_dir or default_state()
    if back:
        outcome = send(state, Act.IN_SERVICE, alarm, text=why)
        say_what_came(outcome, f"{alarm} is watched again", "it was not out of service")
        return
    if span is None or not why:
        raise click.UsageError("say until when (--for 3d) and what is being mended (--why ...)")
    outcome = send(state, Act.OUT_OF_SERVICE, alarm, text=why, for_ms=longer_span_ms(span))
    say_what_came(outcome, f"{alarm} is out of service for {span}", "not for so long: {hours} h at most")
