"""`gillhouse note`: something to remember, written into the night; and what was done about water."""

from pathlib import Path

import click

from gillhouse.audit.wording import correction_words
from gillhouse.commands.options import default_state, since, state_option
from gillhouse.commands.people import recorded
from gillhouse.core.inputs import Act, OperatorAction
from gillhouse.core.outputs import EventKind
from gillhouse.log_lines import one_line
from gillhouse.store import JOURNAL
from gillhouse.store.reader import Reader
from gillhouse.store.records import EventAt

MOST_LISTED = 30
FOREVER_MS = 1 << 48

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
@click.argument("subject", default="")
@click.argument("text", default="")
@click.option("--hosed", "act", flag_value=Act.HOSED.value, help="An open space was watered by hand.")
@click.option("--dry", "act", flag_value=Act.DRY.value, help="Its first caps were seen to have just dried.")
@click.option("--cleaned", "act", flag_value=Act.CLEANED.value,
              help="A mist relay's nozzles, or a fan's filter, were cleaned.")  # fmt: skip
@click.option("--flushed", "act", flag_value=Act.FLUSHED.value,
              help="Fresh water was run through a mist relay's line.")  # fmt: skip
@click.option("--drained", "act", flag_value=Act.DRAINED.value, help="A mist relay's line was emptied.")
@click.option("--corrects", type=int, default=None, metavar="NUMBER",
              help="This note puts an earlier one right, by its number. Both stay.")  # fmt: skip
@click.option("--list", "listed", is_flag=True, help="Show the last notes with their numbers.")
@state_option
def command(  # one argument an option
    subject: str, text: str, act: str | None, corrects: int | None, listed: bool, state_dir: Path | None
) -> None:
    """Write something down: hosed, door, anything. SUBJECT is a space, or a relay where its water is meant.

    A note cannot be changed or taken back once it is written. To put one right, write another that names it.

    A note on an open space that begins with the word "hosed" counts as --hosed.

    \b
    Example: gillhouse note barn "hosed the west edge, two cans"
             gillhouse note barn --dry
             gillhouse note room-mist --cleaned "vinegar, rinsed"
             gillhouse note barn "it was the east edge" --corrects 48211
    """
    if listed:
        click.echo("\n".join(_last_notes(state_dir)) or "no note yet")
        return
    if not subject:
        raise click.UsageError("name the space (or relay) it is about")
    done = Act(act) if act else Act.NOTE
    if corrects is not None:
        _check_corrected(state_dir, done, corrects)
    if done is Act.NOTE and not text:
        raise click.UsageError("write what is to be noted, or say what was done, as --hosed")
    what = recorded(state_dir, done, subject, text, corrects)
    if what.refused:
        raise click.ClickException(f"nothing was changed: {what.refused[0]}")
    said = DONE[done].format(subject=subject)
    click.echo(said if what.number is None else f"{said} (number {what.number})")


def _check_corrected(state_dir: Path | None, done: Act, number: int) -> None:
    """Only a note corrects, and only a note is corrected.

    Raises:
        click.ClickException: it is not so.
    """
    if done is not Act.NOTE:
        raise click.UsageError("only a note in words can correct another; leave the other option out")
    with Reader((state_dir or default_state()) / JOURNAL) as reader:
        found = reader.input(number)
    item = None if found is None else found[2]
    if not isinstance(item, OperatorAction) or item.act not in DONE:
        raise click.ClickException(f"number {number} is no note; `gillhouse note --list` shows their numbers")


def _last_notes(state_dir: Path | None) -> list[str]:
    """The last notes in order, each with what it corrects or is corrected by."""
    with Reader((state_dir or default_state()) / JOURNAL) as reader:
        notes = [at for at in reader.events(0, FOREVER_MS, EventKind.NOTE) if at.seq][-MOST_LISTED:]
    later = {at.event.facts["corrects"]: at.seq for at in notes if "corrects" in at.event.facts}
    return [_listed(at, later.get(at.seq)) for at in notes]


def _listed(at: EventAt, corrected_by: object) -> str:
    facts = at.event.facts
    said = one_line(f"{facts.get('who')}: {facts.get('text')}")
    more = correction_words(facts.get("corrects"), corrected_by)
    return f"{at.seq:>8}  {since(at.ts)}  {at.event.subject}  {said}{more}"
