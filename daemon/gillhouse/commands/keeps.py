"""`gillhouse keeps`: how long picked mushrooms keep, from the hours since the pick.

Here: the hours, from the log of the space they stand in or as given. Not here: the clock
(`ahead.cold_chain`).
"""

import json
from dataclasses import asdict
from pathlib import Path

import click

from gillhouse.ahead.cold_chain import KEEPING, Clock, Kept, clock
from gillhouse.audit.evidence import config_at
from gillhouse.audit.journal_series import sensors_of
from gillhouse.audit.pests_log import logged_hours
from gillhouse.clock import SystemClock
from gillhouse.commands.batch_dates import happened
from gillhouse.commands.options import default_state, state_option
from gillhouse.core.quantities import Quantity
from gillhouse.errors import GillhouseError
from gillhouse.store import JOURNAL
from gillhouse.store.reader import Reader

HOUR_MS = 3_600_000


@click.command()
@click.argument("species")
@click.option("--picked", required=True, help="When: 2026-11-24, or '2026-11-24 08:00'.")
@click.option(
    "--in", "space", default=None, help="The space they stand in since: its logged temperature counts."
)
@click.option(
    "--at", "celsius", type=click.FloatRange(-10, 50), default=None, help="Or the temperature, degrees C."
)
@click.option("--json", "as_json", is_flag=True, help="The clock as JSON.")
@state_option
def command(  # six arguments: one an option
    species: str, picked: str, space: str | None, celsius: float | None, as_json: bool, state_dir: Path | None
) -> None:
    """How long picked mushrooms of SPECIES keep: weight lost, days left, hours too warm.

    Example: gillhouse keeps button --picked "2026-11-24 08:00" --in cold
    """
    state = state_dir or default_state()
    picked_ms, now_ms = happened(picked, state) or 0, SystemClock().now().wall_ms
    if picked_ms > now_ms:
        raise GillhouseError(f"picked {picked!r} is still to come; the clock runs from the pick")
    if (space is None) == (celsius is None):
        raise GillhouseError("say either --in SPACE, whose log counts, or --at DEGREES")
    if celsius is not None:
        kept, missing_h = [Kept((now_ms - picked_ms) / HOUR_MS, celsius)], 0
    else:
        kept, missing_h = logged(state, space or "", (picked_ms, now_ms))
    found = clock(species, kept)
    if as_json:
        click.echo(json.dumps({"species": species, "missing_hours": missing_h, **asdict(found)}, indent=2))
        return
    for row in text(species, found, missing_h):
        click.echo(row)


def logged(state: Path, space: str, span: tuple[int, int]) -> tuple[list[Kept], int]:
    """The hours since the pick, and how many of them the log does not know; those take the hour before.

    Raises:
        GillhouseError: no such space, or none of the hours is logged.
    """
    with Reader(state / JOURNAL) as reader:
        config = config_at(reader, span[1])
        if space not in config.farm.spaces:
            raise GillhouseError(f"there is no space {space!r}; there are {', '.join(config.farm.spaces)}")
        sensors = sensors_of(config, space, Quantity.TEMPERATURE)
        begin = span[0] - span[0] % HOUR_MS
        hours = logged_hours(reader, sensors, begin, span[1])
    if not hours:
        raise GillhouseError(f"{space}: no temperature is logged since the pick; give --at DEGREES")
    kept, missing_h, temp_c = [], 0, next(iter(hours.values()))
    for at in range(begin, span[1], HOUR_MS):
        missing_h += at not in hours
        temp_c = hours.get(at, temp_c)
        share = (min(at + HOUR_MS, span[1]) - max(at, span[0])) / HOUR_MS
        kept.append(Kept(share, temp_c))
    return kept, missing_h


def text(species: str, found: Clock, missing_h: int) -> list[str]:
    rows = [f"{species}: {found.hours:.0f} h since the pick, {found.warm_h:.0f} of them over 5 C"]
    if missing_h:
        rows.append(f"    {missing_h} hours are not in the log: they count as the hour before")
    if found.lost_pct is not None and found.hours_to_wilted is not None:
        rows.append(
            f"    weight: about {found.lost_pct:.1f} % lost by now; 5 %, where they look wilted, in"
            f" {found.hours_to_wilted:.0f} h at the last temperature"
        )
    if found.days_left is not None:
        most = "at the most " if found.is_upper_limit else ""
        least, longest = found.days_left
        span = f"{least:.1f}" if longest - least < 0.05 else f"{least:.1f} to {longest:.1f}"
        rows.append(f"    keeps {most}{span} more days at the last temperature")
        if found.is_upper_limit:
            rows.append(
                "    some hours were warmer than any that were tried: less, by how much no source tells"
            )
    rows += [f"    source: {source}" for source in found.sources]
    if species not in KEEPING:
        rows.append(f"    store days are known here for {', '.join(KEEPING)}")
    return rows
