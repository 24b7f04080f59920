"""`gillhouse backup`: a verified copy of the journal, made beside the running daemon; the oldest go."""

import sqlite3
from pathlib import Path

import click

from gillhouse.clock import SystemClock
from gillhouse.commands.copy_told import told
from gillhouse.commands.options import default_state, state_option
from gillhouse.commands.people import record
from gillhouse.core.inputs import Act
from gillhouse.errors import GillhouseError
from gillhouse.store import JOURNAL
from gillhouse.store.copying import as_made, copies_in, make_copy, sound, thin_out

DEFAULT_TO = Path("/var/backups/gillhouse")


@click.command()
@state_option
@click.option(
    "--to",
    "folder",
    type=click.Path(path_type=Path, file_okay=False),
    default=DEFAULT_TO,
    show_default=True,
    help="Where copies go. Best on another medium than the journal.",
)
@click.option(
    "--keep",
    type=click.IntRange(1, 1000),
    default=14,
    show_default=True,
    help="So many copies stay; older ones go once the new one is verified.",
)
@click.option(
    "--list", "listing", is_flag=True, help="Only say which copies there are, and whether they are sound."
)
def command(state_dir: Path | None, folder: Path, keep: int, listing: bool) -> None:
    """A verified copy of the journal: recorded nights, settings, people's notes. Needs no stop.

    Passwords are not in it. Put it back with `gillhouse restore`.

    Example: gillhouse backup --to /media/stick/gillhouse --keep 30
    """
    clock = SystemClock()
    if listing:
        _list(folder)
        return
    state = state_dir or default_state()
    try:
        copy = make_copy(state / JOURNAL, folder, clock.now().wall_ms)
        words = list(told(copy, clock.now().wall_ms))
    except GillhouseError as error:
        _note(state, f"backup failed: {error}")
        raise
    click.echo(f"{copy} ({copy.stat().st_size / 1e6:.1f} MB): every page sound")
    for line in words:
        click.echo(line)
    for gone in thin_out(folder, keep):
        click.echo(f"older than the newest {keep}, deleted: {gone.name}")


def _note(state: Path, text: str) -> None:
    """A copy that failed at night stands in the morning's report, if the journal can still be written."""
    try:
        record(state, Act.NOTE, "farm", text)
    except (GillhouseError, sqlite3.Error) as error:  # the journal itself may be what is damaged
        click.echo(f"(not noted in the journal: {error})", err=True)


def _list(folder: Path) -> None:
    copies = copies_in(folder)
    if not copies:
        raise GillhouseError(
            f"no copies in {folder}: make one with `gillhouse backup`, or name the folder with --to"
        )
    for copy in copies:
        try:
            as_made(copy)
            sound(copy)
            said = "sound"
        except GillhouseError as error:
            said = f"DO NOT USE: {error}"
        click.echo(f"{copy.name}  {copy.stat().st_size / 1e6:.1f} MB  {said}")
