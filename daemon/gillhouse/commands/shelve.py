"""`gillhouse shelve`: no messages about one alarm for a while. It is still watched and written down."""

from pathlib import Path
from typing import Any

import click

from gillhouse.commands.options import default_state, state_option
from gillhouse.commands.people import send
from gillhouse.commands.spans import longer_span_ms
from gillhouse.core.inputs import Act


def say_what_came(outcome: dict[str, Any], done: str, why_not: str) -> None:
    """Prints `done`, or fails with `why_not` where the alarm book refused.

    Raises:
        click.ClickException: it was refused; the words say what is allowed.
    """
    refused = [one for one in outcome["notices"] if one["transition"] == "REFUSED"]
    if not refused:
        click.echo(done)
        return
    facts = refused[0]["facts"]
    if facts.get("unknown"):
        raise click.ClickException("there is no such alarm; `gillhouse ack` lists what stands")
    if facts.get("most_s") == 0:
        raise click.ClickException("it protects people: nobody can keep it quiet")
    raise click.ClickException(why_not.format(hours=round(facts.get("most_s", 0) / 3600)))


@click.command()
@click.argument("alarm")
@click.option("--for", "span", default="1h", show_default=True, help="How long: 30m, 2h, 1d.")
@click.option("--once", is_flag=True, help="Only until it is over, if that is sooner.")
@click.option("--why", default="", help="Written down with it.")
@click.option("--end", is_flag=True, help="Let it be told again now.")
@state_option
def command(  # 6 arguments: one an option
    alarm: str, span: str, once: bool, why: str, end: bool, state_dir: Path | None
) -> None:
    """Keep one alarm quiet for a while, or end that. Limits that protect people stay loud.

    Example: gillhouse shelve door-open:tent --for 2h --why "carrying blocks"
    """
    state = state_dir or default_state()
    if end:
        outcome = send(state, Act.UNSHELVE, alarm, text=why)
        say_what_came(outcome, f"{alarm} is told again", "it was not kept quiet by a person")
        return
    act = Act.SHELVE_ONCE if once else Act.SHELVE
    outcome = send(state, act, alarm, text=why, for_ms=longer_span_ms(span))
    say_what_came(
        outcome,
        f"{alarm} is quiet for {span}",
        "not for so long: this one can be quiet for {hours} h at most",
    )
