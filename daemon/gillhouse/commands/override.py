"""`gillhouse override`: a relay by hand, for a while. It always ends by itself, and at a restart."""

import re
from pathlib import Path

import click

from gillhouse.commands.options import default_state, state_option
from gillhouse.commands.people import send
from gillhouse.core.inputs import Act

LONGEST_MS = 4 * 3_600_000
"""Four hours: what needs longer belongs into the config. Our own choice."""
UNITS_MS = {"s": 1_000, "m": 60_000, "h": 3_600_000}


def span_ms(text: str) -> int:
    """`20m`, `90s` or `2h` in milliseconds.

    Raises:
        click.BadParameter: anything else, or longer than four hours.
    """
    found = re.fullmatch(r"(\d{1,5})([smh])", text)
    if found is None:
        raise click.BadParameter(f"{text!r} is no span of time; write 90s, 20m or 2h")
    ms = int(found[1]) * UNITS_MS[found[2]]
    if not 0 < ms <= LONGEST_MS:
        raise click.BadParameter(f"{text} is not between 1s and 4h")
    return ms


@click.command()
@click.argument("relay")
@click.argument("wish", type=click.Choice(["on", "off", "end"]))
@click.option("--for", "span", default="20m", show_default=True, help="How long: 90s, 20m, 2h; 4h at most.")
@click.option("--why", default="", help="Written into the night.")
@state_option
def command(relay: str, wish: str, span: str, why: str, state_dir: Path | None) -> None:
    """Run or hold a relay by hand for a while; `end` gives it back.

    What protects people and machines (door, tank, somebody inside, longest run) still holds.

    Example: gillhouse override tent-fan on --for 20m --why "smells stale"
    """
    state = state_dir or default_state()
    if wish == "end":
        send(state, Act.RELEASE, relay, text=why)
        click.echo(f"{relay} decides for itself again")
        return
    outcome = send(state, Act.OVERRIDE, relay, text=why, on=wish == "on", for_ms=span_ms(span))
    refused = [event for event in outcome["events"] if event["kind"] == "refused"]
    for event in refused:
        click.echo(f"{relay}: not done, {event['reason']}")
    if not refused:
        click.echo(f"{relay} {wish} for {span}")
