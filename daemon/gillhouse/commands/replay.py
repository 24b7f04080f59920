"""`gillhouse replay`: decide a night again from what was heard, and compare."""

import sys
from collections.abc import Sequence
from datetime import datetime, tzinfo
from pathlib import Path

import click

from gillhouse.audit import told
from gillhouse.audit.decided_told import decided
from gillhouse.audit.evidence import config_at
from gillhouse.audit.report import last_window, window_of
from gillhouse.clock import SystemClock
from gillhouse.commands.options import default_state, state_option
from gillhouse.config import load
from gillhouse.core.settings import FarmSettings
from gillhouse.replay import Difference, replay
from gillhouse.store import JOURNAL
from gillhouse.store.reader import Reader


@click.command()
@click.option(
    "--date",
    "evening",
    type=click.DateTime(["%Y-%m-%d"]),
    default=None,
    help="The night that begins on this date. Default: the last night.",
)
@click.option(
    "--with",
    "other",
    type=click.Path(path_type=Path, exists=True, dir_okay=False),
    default=None,
    help="Another farm.yaml: which decision would differ first?",
)
@click.option(
    "--out",
    type=click.Path(path_type=Path, dir_okay=False),
    default=None,
    help="Write every decision, one a line, in canonical form.",
)
@state_option
def command(evening: datetime | None, other: Path | None, out: Path | None, state_dir: Path | None) -> None:
    """Decide a night again from what was heard, and compare.

    Example: gillhouse replay --date 2026-11-24 --with drier.yaml
    """
    now_ms = SystemClock().now().wall_ms
    with Reader((state_dir or default_state()) / JOURNAL) as reader:
        window = last_window(reader, now_ms)
        if evening is not None:
            window = window_of(config_at(reader, now_ms), evening.date())
        settings = load(other).farm if other else None
        found = replay(reader, window.from_ms, window.to_ms, settings)
        first = found.first
        farm = config_at(reader, first.wall_ms).farm if first else None
    if out is not None:
        out.write_text("".join(f"{line}\n" for line in found.lines), encoding="utf-8")
    if first is None or farm is None:
        click.echo(f"the same: {found.inputs} inputs, {found.decisions} decisions, byte for byte")
        return
    if other is None or settings is None:
        click.echo(_ours_to_mend(first, window.zone))
        sys.exit(1)
    click.echo(_told(first, farm, settings, other.name))


def _told(first: Difference, farm: FarmSettings, other: FarmSettings, name: str) -> str:
    """The first difference as a grower reads it."""
    then = [decided(line, farm) for line in first.then if line not in first.now]
    now = [decided(line, other) for line in first.now if line not in first.then]
    if then == now:  # it lies in what the words do not show
        then, now = [line for line in first.then if line not in first.now], [*first.now]
    return "\n".join(
        (
            f"{_when(first, farm.zone)} the first decision would have been another.",
            *_lines("That night", then),
            *_lines(f"With {name}", now),
            "From then on the air would have answered differently, so nothing later is compared.",
        )
    )


def _lines(head: str, decisions: Sequence[str]) -> list[str]:
    return [f"  {head}:", *(f"    {one}." for one in decisions or ["Nothing"])]


def _when(first: Difference, zone: tzinfo) -> str:
    return f"On {told.day(first.wall_ms, zone)} at {told.local(first.wall_ms, zone):%H:%M:%S}"


def _ours_to_mend(first: Difference, zone: tzinfo) -> str:
    """The same config and another decision: shown byte for byte, to be reported."""
    return "\n".join(
        (
            f"{_when(first, zone)}, input {first.seq}, the decision comes out differently:",
            *(f"  then: {line}" for line in first.then or ("nothing",)),
            *(f"  now:  {line}" for line in first.now or ("nothing",)),
            "Under the same config this should not be. Please report it with these lines.",
        )
    )
