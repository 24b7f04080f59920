"""`gillhouse batch`: what stands where, at which stage, and what comes next.

To the running daemon, or straight into the store where none runs (through the same core). A stage never
begins without somebody's yes.
"""

import getpass
import json
from pathlib import Path
from typing import Any

import click

from gillhouse.alerts.wording import plain
from gillhouse.audit.evidence import config_at
from gillhouse.audit.exposure import exposure
from gillhouse.audit.wording import reason_words
from gillhouse.clock import SystemClock
from gillhouse.commands.batch_crop import COMMANDS as CROP_COMMANDS
from gillhouse.commands.batch_dates import happened, to_come, zone_of
from gillhouse.commands.batch_told import listed, shown
from gillhouse.commands.options import default_state, state_option
from gillhouse.core.crops import Stage
from gillhouse.core.inputs import BatchAct
from gillhouse.core.reasons import Reason
from gillhouse.core.snapshot import to_plain
from gillhouse.errors import LocalError, StoreError
from gillhouse.local import SOCKET_NAME, ask
from gillhouse.record import record_only, status_as_left
from gillhouse.records.batch_book import book, books
from gillhouse.requests import batch_action
from gillhouse.store import JOURNAL
from gillhouse.store.reader import Reader

STAGES = click.Choice([stage.value for stage in Stage])

on_option = click.option("--on", help="When: 2026-11-20, or '2026-11-20 18:30'. Without it: now.")
why_option = click.option("--why", "text", default="", help="Written into the book.")
blocks_option = click.option(
    "--blocks", "blocks_c", type=float, help="Blocks come in at so many degrees C: dew is watched for."
)
block_kg_option = click.option("--block-kg", type=float, help="Of one block (3 if not given).")


# Options that are told on as they stand carry the names of `BatchAction`'s fields.


@click.group()
def command() -> None:
    """Batches: what stands where, at which stage, and what comes next.

    A space with batches is kept for what stands in it; the crop in its config counts only while none does.
    """


@command.command()
@click.argument("batch")
@click.option("--space", required=True)
@click.option("--species", required=True, help="As in `gillhouse check`: lions-mane, grey-oyster ...")
@click.option("--stage", type=STAGES, required=True)
@click.option("--kg", type=float, required=True, help="Of wet blocks, all together.")
@click.option("--rack", default="", help="Where in the space, in your words.")
@click.option("--since", "on", help="When the stage began: 2026-11-20. Without it: now.")
@click.option("--priority", is_flag=True, help="It wins where two crops want what cannot be had together.")
@blocks_option
@block_kg_option
@why_option
@state_option
def add(batch: str, on: str | None, state_dir: Path | None, **said: Any) -> None:
    """A batch comes into a space.

    Example: gillhouse batch add LM-12 --space tent --species lions-mane --stage pinning --kg 40
    """
    state = state_dir or default_state()
    _do(state, BatchAct.ADD, batch, at_ms=happened(on, state), **said)


@command.command()
@click.argument("batch")
@click.argument("stage", type=STAGES, required=False)
@click.option("--accept", is_flag=True, help="Yes to the stage that `batch list` proposes.")
@on_option
@why_option
@state_option
def stage(  # one argument an option
    batch: str, stage: str | None, accept: bool, on: str | None, text: str, state_dir: Path | None
) -> None:
    """A stage begins: now, on a day gone by, or on a day to come.

    The air goes over to what the new stage wants within a day.

    Example: gillhouse batch stage LM-12 fruiting
    """
    if accept is (stage is not None):
        raise click.UsageError("name the stage that begins, or say --accept to the one proposed")
    state = state_dir or default_state()
    at_ms = to_come(on, state)
    if accept:
        _do(state, BatchAct.ACCEPT, batch, at_ms=at_ms, text=text)
    else:
        _do(state, BatchAct.STAGE, batch, stage=stage, at_ms=at_ms, text=text)


@command.command()
@click.argument("batch")
@click.option("--days", type=click.FloatRange(0.1, 365), default=3.0, show_default=True)
@why_option
@state_option
def later(batch: str, days: float, text: str, state_dir: Path | None) -> None:
    """Not yet: the proposed stage is asked about again some days from now.

    Example: gillhouse batch later LM-12 --days 4
    """
    at_ms = SystemClock().now().wall_ms + round(days * 86_400_000)
    _do(state_dir or default_state(), BatchAct.LATER, batch, at_ms=at_ms, text=text)


@command.command()
@click.argument("batch")
@click.argument("space")
@click.option("--rack", help="Where in the space, in your words.")
@on_option
@blocks_option
@block_kg_option
@why_option
@state_option
def move(batch: str, on: str | None, state_dir: Path | None, **said: Any) -> None:
    """A batch goes to another space, or to another rack of the same.

    What it stood in until now stays in its book; what the old space was like stays with the space.

    Example: gillhouse batch move LM-12 tent --rack "rack 2" --blocks 5
    """
    state = state_dir or default_state()
    _do(state, BatchAct.MOVE, batch, at_ms=happened(on, state), **said)


@command.command()
@click.argument("batch")
@on_option
@why_option
@state_option
def end(batch: str, on: str | None, text: str, state_dir: Path | None) -> None:
    """A batch is finished, or thrown out.

    Example: gillhouse batch end LM-12 --why "spent, third flush picked"
    """
    state = state_dir or default_state()
    _do(state, BatchAct.END, batch, at_ms=happened(on, state), text=text)


@command.command("list")
@click.option("--json", "as_json", is_flag=True, help="For another program.")
@state_option
def list_(as_json: bool, state_dir: Path | None) -> None:
    """What stands where, at which day of which stage, and which stage is proposed next.

    Example: gillhouse batch list
    """
    state = state_dir or default_state()
    spaces = _status(state)["spaces"]
    found = {space: one["batches"] for space, one in spaces.items() if one["batches"]}
    if as_json:
        click.echo(json.dumps(found, indent=1))
        return
    if not found:
        click.echo("no batches: each space is kept for the crop in its config. See `gillhouse batch add -h`")
        return
    zone = zone_of(state)
    for space, batches in found.items():
        moving = spaces[space]["bands_moving_h"]
        going = f"; the air is on its way, there in {moving:g} h" if moving is not None else ""
        click.echo(f"{plain(spaces[space]['name']).upper()}  ({space}){going}")
        for one in batches:
            click.echo("\n".join(f"  {words}" for words in listed(one, zone)))


@command.command()
@click.argument("batch")
@state_option
def show(batch: str, state_dir: Path | None) -> None:
    """The book of a batch: where it stood, what the air was like meanwhile, who did what.

    Hours are counted by what its own stage wants, whatever the space was kept for.

    Example: gillhouse batch show LM-12
    """
    state, now_ms = state_dir or default_state(), SystemClock().now().wall_ms
    with Reader(state / JOURNAL) as reader:
        found = book(reader, batch)
        if found is None:
            names = ", ".join(dict.fromkeys(one.batch for one in books(reader))) or "none"
            raise StoreError(f"there is no batch {batch!r} in this journal; there are: {names}")
        zone = config_at(reader, now_ms).farm.zone
        click.echo("\n".join(shown(found, exposure(reader, found, now_ms), zone)))


for _one in CROP_COMMANDS:
    command.add_command(_one)


def _status(state: Path) -> dict[str, Any]:
    """From the running daemon, or as the store was left."""
    if (state / SOCKET_NAME).exists():
        try:
            return ask(state, {"ask": "status"})
        except LocalError as error:
            click.echo(f"{error}\nThe last words in the journal:\n", err=True)
    return status_as_left(state / JOURNAL, SystemClock())


def _do(state: Path, what: BatchAct, batch: str, **more: Any) -> None:
    """Has it done by whoever may: the daemon, or this process on the store. Says what came of it."""
    given = {name: value for name, value in more.items() if value is not None}
    request = {"act": what.value, "batch": batch, **given}
    try:
        action = batch_action(request, getpass.getuser())
    except ValueError as error:
        raise click.UsageError(str(error)) from error
    if (state / SOCKET_NAME).exists():
        outcome = ask(state, {"ask": "batch", **request})
    elif state.exists():
        outcome = to_plain(record_only(state / JOURNAL, action, SystemClock()))
    else:
        raise LocalError(f"no journal in {state}: give --state, or start `gillhouse run` once")
    own = [
        event
        for event in outcome["events"]
        if event["subject"] == batch or event["reason"] == Reason.BANDS_MOVING.value
    ]
    lines = [reason_words(Reason(event["reason"]), event["facts"]) for event in own]
    if any(event["kind"] == "refused" for event in own):
        raise LocalError("not done: " + "; ".join(lines))
    click.echo("\n".join(lines))
