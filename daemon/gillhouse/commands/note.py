"""`gillhouse note`: something to remember, written into the night; and what was done about water."""

from pathlib import Path

import click

from gillhouse.commands.options import state_option
from gillhouse.commands.people import record
from gillhouse.core.inputs import Act

DONE = {
    # what was done: what is said of it
    Act.NOTE: "noted for {subject}",
    Act.HOSED: "{subject} was hosed: its caps count as wet from now on",
    Act.DRY: "{subject}: its caps have just dried; how it dries is learnt from that",
    Act.CLEANED: "{subject} was cleaned: litres count anew, and what it gives settles anew",
    Act.FLUSHED: "{subject} was flushed: its water counts as fresh",
    Act.DRAINED: "{subject} was drained: frost and standing water are no matter until it sprays again",
}


@click.command()
@click.argument("subject")
@click.argument("text", default="")
@click.option("--hosed", "act", flag_value=Act.HOSED.value, help="An open space was watered by hand.")
@click.option("--dry", "act", flag_value=Act.DRY.value, help="Its first caps were seen to have just dried.")
@click.option("--cleaned", "act", flag_value=Act.CLEANED.value,
              help="A mist relay's nozzles, or a fan's filter, were cleaned.")  # fmt: skip
@click.option("--flushed", "act", flag_value=Act.FLUSHED.value,
              help="Fresh water was run through a mist relay's line.")  # fmt: skip
@click.option("--drained", "act", flag_value=Act.DRAINED.value, help="A mist relay's line was emptied.")
@state_option
def command(subject: str, text: str, act: str | None, state_dir: Path | None) -> None:
    """Write something down: hosed, door, anything. SUBJECT is a space, or a relay where its water is meant.

    A note on an open space that begins with the word "hosed" counts as --hosed.

    \b
    Example: gillhouse note barn "hosed the west edge, two cans"
             gillhouse note barn --dry
             gillhouse note room-mist --cleaned "vinegar, rinsed"
    """
    done = Act(act) if act else Act.NOTE
    if done is Act.NOTE and not text:
        raise click.UsageError("write what is to be noted, or say what was done, as --hosed")
    refused = record(state_dir, done, subject, text)
    if refused:
        raise click.ClickException(f"nothing was changed: {refused[0]}")
    click.echo(DONE[done].format(subject=subject))
