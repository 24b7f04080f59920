"""`gillhouse measure`: a measuring run of a space, watched to its end, and what it tells.

Here: asking the running daemon to begin and end a run, saying how far it is, offering its figures for use.
Not here: the run itself (the daemon's core), the fits (`run_figures`).
"""

import json
import threading
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import click

from gillhouse.audit.evidence import config_at
from gillhouse.clock import Clock, SystemClock
from gillhouse.commands.options import default_state, state_option
from gillhouse.commands.run_figures import RunFigures, last_run, run_figures
from gillhouse.core.snapshot import to_plain
from gillhouse.errors import GillhouseError
from gillhouse.local import ask
from gillhouse.store import JOURNAL
from gillhouse.store.reader import Reader

LOOK_MS = 5_000
JOURNAL_MS = 60_000
"""The journal is written every ten seconds as it comes (`commit_every`)."""
CAUTION = (
    "CAUTION: the fan stands still for up to two hours and CO2 climbs. Nobody may be inside or go in until"
    " the run is over; lock the door or hang a sign on it. Limits for people hold all the while: over 5,000"
    " ppm the run is given up and the fan runs. It ends by itself when a door opens, a person is seen, a"
    " sensor falls silent or a limit of the crop is reached; 'gillhouse measure SPACE --end' ends it at once."
)


@click.command()
@click.argument("space")
@click.option("--nobody-inside", is_flag=True, help="I have looked: nobody is inside, and nobody will go in.")
@click.option("--end", "stop", is_flag=True, help="End the run that is on.")
@click.option("--last", is_flag=True, help="Only tell again what the last run found.")
@click.option("--use", is_flag=True, help="Put the figures to use without asking.")
@click.option("--labels", is_flag=True, help="Go back to what the labels say.")
@click.option("--json", "as_json", is_flag=True, help="The figures as JSON; asks nothing.")
@state_option
def command(  # noqa: PLR0913  one argument an option
    space: str,
    nobody_inside: bool,
    stop: bool,
    last: bool,
    use: bool,
    labels: bool,
    as_json: bool,
    state_dir: Path | None,
) -> None:
    """Measure SPACE: what its fan moves, what leaks, what the batch breathes, what of the mist stays.

    Takes two to five hours: fan off, fan on, mist in pulses, fan off again. People out, door shut.

    Example: gillhouse measure room
    """
    state = default_state() if state_dir is None else state_dir
    if stop:
        ask(state, {"ask": "measure", "space": space, "begin": False})
        click.echo(f"{space}: the run is ended, the fan decides for itself again")
        return
    if labels:
        ask(state, {"ask": "measured", "space": space, "found": None})
        click.echo(f"{space}: the labels count again")
        return
    if not last:
        if not as_json:
            click.echo(CAUTION)
        asked = "Is nobody inside, and is the door shut?"
        if not nobody_inside and (as_json or not click.confirm(asked)):
            raise GillhouseError("not begun: look inside first, then say --nobody-inside")
        _begin(state, space)
        for words in watched(state, space, SystemClock()):
            click.echo(words, err=as_json)
        await_journal(state, space, SystemClock())
    with Reader(state / JOURNAL) as reader:
        now_ms = max(reader.newest_ms() or 0, reader.last_wall_ms() or 0)
        figures = run_figures(reader, space, now_ms)
        rows = list(figures.text(config_at(reader, now_ms)))
    if as_json:
        click.echo(json.dumps(figures.record(), indent=2))
    else:
        click.echo("\n".join([f"{space}:", *rows]))
        click.echo("  A fit interval tells the readings' scatter; flows are as true as the volume you gave.")
    _offer(state, figures, use, as_json)


def _begin(state: Path, space: str) -> None:
    outcome = ask(state, {"ask": "measure", "space": space, "begin": True})
    for event in outcome["events"]:
        if event["kind"] == "refused":
            facts = event["facts"]
            raise GillhouseError(f"{space}: {facts.get('phase', 'there is no such space')}")


def watched(state: Path, space: str, clock: Clock) -> Iterator[str]:
    """How far the run is, whenever that changes, until it ends."""
    said, idle = "", threading.Condition()
    while True:
        status = ask(state, {"ask": "status"})
        run = status["measuring"][space]["run"]
        words = _progress(run, status["spaces"][space])
        if words != said:
            said = words
            yield words
        if not run["running"]:
            return
        with idle:
            clock.wait(idle, clock.now().mono_ms + LOOK_MS)


def await_journal(state: Path, space: str, clock: Clock) -> None:
    """Waits until the run's end is in the journal: it is written some seconds after it was decided.

    Raises:
        GillhouseError: it does not come.
    """
    run = ask(state, {"ask": "status"})["measuring"][space]["run"]
    ended_ms = max(at for name, at in run.items() if name.endswith("_from_ms"))
    until_ms, idle = clock.now().mono_ms + JOURNAL_MS, threading.Condition()
    while not _is_kept(state, space, ended_ms):
        if clock.now().mono_ms >= until_ms:
            raise GillhouseError("the run is over, but its end is not in the journal: try --last in a while")
        with idle:
            clock.wait(idle, clock.now().mono_ms + 500)


def _is_kept(state: Path, space: str, ended_ms: int) -> bool:
    with Reader(state / JOURNAL) as reader:
        try:
            facts = last_run(reader, space, ended_ms)
        except GillhouseError:
            return False
    return ended_ms in facts.values()


def _progress(run: dict[str, Any], shown: dict[str, Any]) -> str:
    co2 = shown["quantities"].get("co2", {}).get("value")
    level = "" if co2 is None or not run["running"] else f" (CO2 {round(co2, -1):.0f} ppm)"
    return f"  {run['words']}{level}"


def _offer(state: Path, figures: RunFigures, use: bool, as_json: bool) -> None:
    found = figures.measurement()
    if found is None:
        if use:
            raise GillhouseError("nothing to put to use: the run carries no figures")
        return
    if use or (not as_json and click.confirm("Use these in place of the labels?", default=False)):
        ask(state, {"ask": "measured", "space": figures.space, "found": to_plain(found)})
        click.echo(f"{figures.space}: in use from now on; --labels goes back to the labels")
