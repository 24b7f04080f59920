"""`gillhouse mode`: what a space is in besides growing: somebody inside, cleaned, picked, aired, out of use.

Here: the words of the command line. Not here: what may begin and what follows (`core.mode_acts`,
`core.keeping`).
"""

from pathlib import Path
from typing import Any

import click

from gillhouse.audit.wording import reason_words
from gillhouse.commands.options import default_state, state_option
from gillhouse.commands.override import span_ms
from gillhouse.commands.people import refusals, send
from gillhouse.core.inputs import Act
from gillhouse.core.reasons import Reason

ACTS = {
    "inside": Act.INSIDE,
    "cleaning": Act.CLEANING,
    "harvest": Act.HARVEST,
    "air": Act.AIRING,
    "empty": Act.EMPTY,
    "over": Act.OVER,
}
"""What a person types, and what it does."""
TOLD = (
    Reason.MODE_BEGUN,
    Reason.MODE_OVER,
    Reason.PERSON_OUT,
    Reason.HARVEST_STANDS,
    Reason.AIRED,
    Reason.AIRING_FAILED,
)
LONGEST_MS = 8 * 3_600_000


@click.command()
@click.argument("space")
@click.argument("what", type=click.Choice([*ACTS]))
@click.option("--for", "span", default=None, help="How long at most, as 30m or 2h; it ends by itself anyway.")
@click.option("--why", default="", help="Written into the night.")
@click.option("--alone", is_flag=True, help="With `inside`: call somebody if you do not say `over` in time.")
@click.option("--changes", type=click.FloatRange(0.5, 20), default=None,
              help="With `air`: how many air changes. Default: 3.")  # fmt: skip
@state_option
def command(  # noqa: PLR0913  one argument an option
    space: str,
    what: str,
    span: str | None,
    why: str,
    alone: bool,
    changes: float | None,
    state_dir: Path | None,
) -> None:
    """Say what goes on in SPACE: somebody inside, cleaning, harvest, airing, empty; `over` ends it.

    \b
    inside    fan on, mist and UV lamp off, for 2 h at most
    cleaning  fan on, mist off, no calls about its air, for 1 h unless you say longer
    harvest   no mist while the door goes; says how long the crop stands it, calls past that
    air       air changes with the fan proved to run, before you go in
    empty     out of use: not while a batch is in it; nights leave that time out

    Example: gillhouse mode room harvest
    """
    more: dict[str, Any] = {}
    if span is not None:
        more["for_ms"] = span_ms(span, LONGEST_MS)
    if alone:
        more["on"] = True
    if changes is not None:
        more["amount"] = changes
    outcome = send(state_dir or default_state(), ACTS[what], space, text=why, **more)
    refused = [words for subject, words in refusals(outcome) if subject == space]
    if refused:
        raise click.ClickException(f"nothing was changed: {refused[0]}")
    for event in outcome["events"]:
        if event["subject"] == space and event["reason"] in TOLD:
            click.echo(reason_words(Reason(event["reason"]), event["facts"]))
