"""`gillhouse restore`: puts a copy of the journal back, or only rehearses that it could be."""

import tempfile
from pathlib import Path

import click

from gillhouse.clock import SystemClock
from gillhouse.commands.copy_told import told
from gillhouse.commands.options import default_state, state_option
from gillhouse.commands.ready import rehearse
from gillhouse.store import JOURNAL
from gillhouse.store.copying import put_back


@click.command()
@click.argument("copy", type=click.Path(path_type=Path, dir_okay=False))
@state_option
@click.option(
    "--drill", is_flag=True, help="Only a rehearsal in a folder of its own, beside a running daemon."
)
def command(copy: Path, state_dir: Path | None, drill: bool) -> None:
    """Put a copy of the journal back. Refused while the daemon runs on it.

    What is there now is not deleted but kept beside, in `before-restore-...`. Do the drill once a season:
    a copy nobody ever put back is a hope.

    Example: gillhouse restore --drill /var/backups/gillhouse/journal-20261014T024000Z.db
    """
    clock = SystemClock()
    if drill:
        _drill(copy, clock)
        return
    state = state_dir or default_state()
    aside = put_back(copy, state / JOURNAL, clock.now().wall_ms)
    click.echo(f"{state / JOURNAL} is {copy.name} now")
    for line in told(state / JOURNAL, clock.now().wall_ms):
        click.echo(line)
    if aside:
        click.echo(f"what was there before is kept in {aside}; delete it once all is well")


def _drill(copy: Path, clock: SystemClock) -> None:
    """All that a restore and the daemon's start would do, in a folder that is gone afterwards."""
    with tempfile.TemporaryDirectory(prefix="gillhouse-drill-") as folder:
        journal = Path(folder) / JOURNAL
        put_back(copy, journal, clock.now().wall_ms)
        lines = [*told(journal, clock.now().wall_ms), *rehearse(journal, None, clock)]
    for line in lines:
        click.echo(line)
    click.echo(f"{copy.name} can be put back; nothing of yours was touched")
