"""`gillhouse ready`: whether this version can run on your config and journal, before it is started on them.

The installer asks it of a new version before the old one is let go of, and of the old one on the way back.
"""

import tempfile
from collections.abc import Iterator
from pathlib import Path

import click

from gillhouse import __version__
from gillhouse.clock import Clock, SystemClock
from gillhouse.commands.options import config_option, default_config, default_state, state_option
from gillhouse.config import Config, load
from gillhouse.payloads.routes import Routes
from gillhouse.record import config_of
from gillhouse.resume import farm_as_left
from gillhouse.store import JOURNAL
from gillhouse.store.copying import known_schema, make_copy, room_for, size_of
from gillhouse.store.reader import Reader
from gillhouse.store.writer import Writer


@click.command()
@config_option
@state_option
def command(config_path: Path | None, state_dir: Path | None) -> None:
    """Say whether this version can run on your config and journal (exit code 2 if not). Changes nothing.

    Opens a copy of the journal as the daemon would: schema, the state it was left in, sensors' last messages.

    Example: gillhouse ready --config /etc/gillhouse/farm.yaml --state /var/lib/gillhouse
    """
    config = load(config_path or default_config())
    click.echo(f"version {__version__}; {config.path}: no mistakes")
    journal = (state_dir or default_state()) / JOURNAL
    if not journal.exists():
        click.echo(f"no journal in {journal.parent} yet; it will be begun")
        return
    adds = known_schema(journal)
    click.echo(
        f"{journal}: " + (f"would get the schema steps {', '.join(adds)}" if adds else "schema as it is")
    )
    clock = SystemClock()
    room_for(size_of(journal), journal.parent)
    with tempfile.TemporaryDirectory(prefix=".ready-", dir=journal.parent) as folder:
        copy = make_copy(journal, Path(folder), clock.now().wall_ms)
        copy = copy.rename(Path(folder) / JOURNAL)
        for line in rehearse(copy, config, clock):
            click.echo(line)


def rehearse(journal: Path, config: Config | None, clock: Clock) -> Iterator[str]:
    """Opens a journal (a copy!) as the daemon would at its start, and closes it again.

    Args:
        config: what it is to run on; None: what the journal says was in force.
    Raises:
        GillhouseError: the daemon could not start on it.
    """
    if config is None:
        with Reader(journal) as reader:
            config = config_of(reader, journal)
    writer = Writer(journal, clock, config.store, lambda _: None, lambda *_: None)
    try:
        routes = Routes(config.routes, config.broker.max_payload)
        with Reader(journal) as reader:
            farm_as_left(reader, config.farm)
            seeds = list(reader.seeds())
        for seed in seeds:
            routes.remember(seed.sensor, seed.ts, seed.board_seq, own_time=seed.own_time, value=seed.value)
    finally:
        writer.close()
    yield f"the daemon could start on it: {len(config.farm.spaces)} spaces, {len(seeds)} sensors known again"
