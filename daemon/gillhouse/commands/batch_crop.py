"""`gillhouse batch pick, lost, look, filled, book`: what a batch gave, lost and showed.

Here: the words of the command line; each entry becomes a note of one fixed sentence with who and when.
Not here: sums (`records.yields`), the sentence (`records.crop_notes`), words for the book (`crop_told`).
"""

from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import click

from gillhouse.clock import SystemClock
from gillhouse.commands import crop_told
from gillhouse.commands.batch_dates import happened, zone_of
from gillhouse.commands.options import default_state, state_option
from gillhouse.commands.people import recorded
from gillhouse.config.nearest import choices
from gillhouse.core.inputs import Act
from gillhouse.errors import GillhouseError
from gillhouse.records.batch_book import Book, books
from gillhouse.records.crop_book import (
    CropLine,
    check_believable,
    covers,
    crop_lines,
    flush_then,
    of,
    pinning_began,
    space_then,
)
from gillhouse.records.crop_notes import (
    CAUSES,
    GRADES,
    MOST_FLUSH,
    SIGNS,
    About,
    CropEntry,
    Filled,
    Looked,
    Lost,
    Picked,
    said,
    written,
)
from gillhouse.records.yields import of_batch
from gillhouse.store import JOURNAL
from gillhouse.store.reader import Reader

Made = Callable[[About], CropEntry]


class Kilograms(click.ParamType[float]):
    """A weight as growers type it, with a point or a comma."""

    name = "kg"

    def convert(self, value: object, param: click.Parameter | None, ctx: click.Context | None) -> float:
        try:
            return round(float(str(value).replace(",", ".")), 3)
        except ValueError:
            self.fail(f"{value!r} is no weight; write kg, as 2.4", param, ctx)


KG = Kilograms()


def told_options(function: Callable[..., None]) -> Callable[..., None]:
    """Options that every entry has."""
    for option in (
        state_option,
        click.option(
            "--corrects", type=int, metavar="NUMBER", help="Puts an earlier entry right. Both stay."
        ),
        click.option("--words", default="", help="Anything to remember with it."),
        click.option("--on", help="When: 2026-11-20, or '2026-11-20 18:30'. Without it: now."),
        click.option(
            "--flush", type=click.IntRange(1, MOST_FLUSH), help="Without it: the one the batch was at."
        ),
    ):
        function = option(function)
    return function


@click.command(context_settings={"ignore_unknown_options": True})
@click.argument("batch")
@click.argument("kg", type=KG)
@click.argument("waste", type=KG, default=0.0)
@click.option("--pieces", type=int, help="How many.")
@click.option("--grade", type=click.Choice(GRADES), help="One entry a grade.")
@told_options
def pick(  # noqa: PLR0913  one argument an option
    batch: str, kg: float, waste: float, pieces: int | None, grade: str | None, flush: int | None,
    on: str | None, words: str, corrects: int | None, state_dir: Path | None,
) -> None:  # fmt: skip
    """You picked: batch, kg kept, kg of waste. Wet weights.

    \b
    Example: gillhouse batch pick 17 2.4 0.3
             gillhouse batch pick 17 2.1 0.3 --corrects 48211
    """
    about = About(batch, flush or 0, 0, words)
    entry = Picked(about, kg, waste, pieces, grade or "")
    _write(state_dir, entry, on, corrects)


@click.command(context_settings={"ignore_unknown_options": True})
@click.argument("batch")
@click.argument("blocks", type=int)
@click.argument("cause", type=click.Choice(CAUSES))
@told_options
def lost(  # noqa: PLR0913  one argument an option
    batch: str, blocks: int, cause: str, flush: int | None, on: str | None, words: str, corrects: int | None,
    state_dir: Path | None,
) -> None:  # fmt: skip
    """Blocks or bags were thrown out, and why.

    Example: gillhouse batch lost LM-12 3 green-mould --words "left rack, buried"
    """
    _write(state_dir, Lost(About(batch, flush or 0, 0, words), blocks, cause), on, corrects)


@click.command()
@click.argument("batch")
@click.argument("signs", nargs=-1, type=click.Choice(SIGNS))
@told_options
def look(  # noqa: PLR0913  one argument an option
    batch: str, signs: tuple[str, ...], flush: int | None, on: str | None, words: str, corrects: int | None,
    state_dir: Path | None,
) -> None:  # fmt: skip
    """You looked at a batch, and saw SIGNS; none named: nothing of these was to be seen.

    Pins seen are where the days to the first pick are counted from.

    Example: gillhouse batch look LM-12 pins wet-caps
    """
    seen = tuple(sign for sign in SIGNS if sign in signs)
    _write(state_dir, Looked(About(batch, flush or 0, 0, words), seen), on, corrects)


@click.command(context_settings={"ignore_unknown_options": True})
@click.argument("batch")
@click.argument("dry_kg", type=KG)
@click.option("--blocks", type=int, help="How many blocks or bags.")
@told_options
def filled(  # noqa: PLR0913  one argument an option
    batch: str, dry_kg: float, blocks: int | None, flush: int | None, on: str | None, words: str,
    corrects: int | None, state_dir: Path | None,
) -> None:  # fmt: skip
    """The dry weight of a batch's substrate, all blocks together, spawn and casing left out.

    Example: gillhouse batch filled LM-12 14 --blocks 20
    """
    _write(state_dir, Filled(About(batch, flush or 0, 0, words), dry_kg, blocks), on, corrects)


@click.command("book")
@click.argument("batch", required=False)
@click.option("--json", "as_json", is_flag=True, help="For another program.")
@click.option("--csv", "csv_file", type=click.Path(dir_okay=False, path_type=Path),
              help="Write the entries here, one a line.")  # fmt: skip
@state_option
def book_(batch: str | None, as_json: bool, csv_file: Path | None, state_dir: Path | None) -> None:
    """What a batch gave, by flush, with every entry. Without BATCH: all of them.

    Example: gillhouse batch book LM-12 --csv lm-12.csv
    """
    state = state_dir or default_state()
    zone = zone_of(state)
    with Reader(state / JOURNAL) as reader:
        known, every = books(reader), crop_lines(reader, zone)
    wanted = [one for one in known if batch in (None, one.batch)]
    if batch is not None and not wanted:
        raise _unknown(batch, known)
    found = [(one, of(one, every)) for one in wanted]
    if csv_file is not None:
        rows = [line for _, lines in found for line in lines]
        try:
            csv_file.write_text(crop_told.as_csv(rows, zone), encoding="utf-8", newline="")
        except OSError as error:
            raise GillhouseError(f"{csv_file} cannot be written ({error.strerror}); name another") from error
        click.echo(f"{len(rows)} entries written to {csv_file}", err=as_json)
    sums = [
        (one, lines, of_batch([each.entry for each in lines], pinning_began(one))) for one, lines in found
    ]
    if as_json:
        click.echo(crop_told.as_json(sums))
    elif csv_file is None:
        click.echo("\n\n".join("\n".join(crop_told.told(*one, zone)) for one in sums) or "no batch yet")


COMMANDS = (pick, lost, look, filled, book_)


def _write(state_dir: Path | None, bare: CropEntry, on: str | None, corrects: int | None) -> None:
    """Completes an entry with its moment and flush, holds it against the batch, and writes it down."""
    state, batch = state_dir or default_state(), bare.about.batch
    given_ms, zone = happened(on, state), zone_of(state)
    now_ms = SystemClock().now().wall_ms
    with Reader(state / JOURNAL) as reader:
        known, every = books(reader), crop_lines(reader, zone)
    at_ms = now_ms if given_ms is None else given_ms
    if corrects is not None:
        old = _corrected(every, batch, bare, corrects)
        every.remove(old)
        at_ms = old.entry.about.at_ms if given_ms is None else given_ms
    if at_ms > now_ms:
        raise click.ClickException(f"{on} is still to come; say when it happened")
    at_ms -= at_ms % 60_000
    book = _book_then(known, batch, at_ms)
    flush = bare.about.flush or flush_then(book, at_ms)
    entry = replace(bare, about=replace(bare.about, flush=flush, at_ms=at_ms))
    try:
        text = written(entry, zone)
    except ValueError as error:
        raise click.ClickException(str(error)) from error
    check_believable(book, entry, of(book, every))
    done = recorded(state, Act.NOTE, space_then(book, at_ms), text, corrects)
    if done.refused:
        raise click.ClickException(f"nothing was written: {done.refused[0]}")
    click.echo(f"{batch}, flush {flush}: {said(entry)} (number {done.number})")


def _corrected(every: list[CropLine], batch: str, new: CropEntry, number: int) -> CropLine:
    for one in every:
        if one.number == number and one.entry.about.batch == batch and type(one.entry) is type(new):
            return one
    raise click.ClickException(
        f"number {number} is no such entry of {batch} that still stands; `gillhouse batch book {batch}`"
        " shows their numbers"
    )


def _book_then(known: list[Book], batch: str, at_ms: int) -> Book:
    named = [one for one in known if one.batch == batch]
    if not named:
        raise _unknown(batch, known)
    for one in reversed(named):
        if covers(one, at_ms):
            return one
    raise click.ClickException(
        f"{batch} was not there then; it came and ended at other times. Give --on a moment when it stood"
    )


def _unknown(batch: str, known: list[Book]) -> click.ClickException:
    nearest = choices(batch, {one.batch for one in known}) if known else "see `gillhouse batch add -h`"
    return click.ClickException(f"the book knows no batch {batch!r}; {nearest}")
