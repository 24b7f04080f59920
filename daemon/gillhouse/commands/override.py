"""`gillhouse override`: a relay by hand, for a while. It always ends by itself, and at a restart."""

import re
from pathlib import Path
from typing import Any

import click

from gillhouse.commands.options import default_state, state_option
from gillhouse.commands.people import refusals, send
from gillhouse.core.by_hand import OVERRIDE_MOST_MS, OVERRIDE_MS
from gillhouse.core.inputs import Act

UNITS_MS = {"s": 1_000, "m": 60_000, "h": 3_600_000}
USUAL = f"{OVERRIDE_MS // 60_000}m"


def span_ms(text: str, most_ms: int = OVERRIDE_MOST_MS) -> int:
    """`20m`, `90s` or `2h` in milliseconds.

    Raises:
        click.BadParameter: anything else, or longer than `most_ms`.
    """
    found = re.fullmatch(r"(\d{1,5})([smh])", text)
    if found is None:
        raise click.BadParameter(f"{text!r} is no span of time; write 90s, 20m or 2h")
    ms = int(found[1]) * UNITS_MS[found[2]]
    if not 0 < ms <= most_ms:
        raise click.BadParameter(f"{text} is not between 1s and {most_ms // 3_600_000}h")
    return ms


@click.command()
@click.argument("relay")
@click.argument("wish", type=click.Choice(["on", "off", "end"]))
@click.option("--for", "span", default=USUAL, show_default=True, help="How long: 90s, 20m, 2h; 4h at most.")
@click.option("--why", default="", help="Must be said, but for `end`. Written into the night.")
@state_option
def command(relay: str, wish: str, span: str, why: str, state_dir: Path | None) -> None:
    """Run or hold a relay by hand for a while; `end` gives it back.

    It ends by itself, and with a restart. What protects people and machines goes before it: an emergency
    stop, door, tank, somebody inside, the longest run.

    Example: gillhouse override tent-fan on --for 20m --why "smells stale"
    """
    state = state_dir or default_state()
    if wish == "end":
        outcome = send(state, Act.RELEASE, relay, text=why)
    elif not why.strip():
        raise click.UsageError('say why, as --why "smells stale": it is written into the night')
    else:
        outcome = send(state, Act.OVERRIDE, relay, text=why, on=wish == "on", for_ms=span_ms(span))
    told = list(_told(outcome, relay, wish, span))
    for line in told:
        click.echo(line)
    if not _taken(outcome, relay):
        raise SystemExit(1)


def _taken(outcome: dict[str, Any], relay: str) -> bool:
    """Whether the override stands (or was given back), even if something holds the relay for now."""
    reasons = ("override", "released")
    return any(event["subject"] == relay and event["reason"] in reasons for event in outcome["events"])


def _told(outcome: dict[str, Any], relay: str, wish: str, span: str) -> list[str]:
    refused = [words for subject, words in refusals(outcome) if subject == relay]
    if not _taken(outcome, relay):
        return [f"{relay}: not done, {words}" for words in refused] or [f"{relay}: not done"]
    if wish == "end":
        return [f"{relay} decides for itself again"]
    if refused:
        return [f"{relay}: not {wish} now, {words}; asked for {span}" for words in refused]
    moved = [one for one in outcome["commands"] if one["relay"] == relay]
    if any(one["advise"] for one in moved):
        return [f"{relay} is advice only: written down for {span}, nothing is switched"]
    return [f"{relay} {wish} for {span}"]
