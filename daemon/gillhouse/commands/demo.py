"""`gillhouse demo`: a trial night on simulated boards, with the very daemon that `run` uses.

It starts a broker in this process, gives the daemon a virtual clock and an empty directory, and lets the
boards of `gillhouse.sim` talk to it over MQTT. Then it tells the night. Nothing real is reached: every topic
stands under `trial/`, messages to people stay in memory, and all that is left behind says SIMULATED.
"""

import logging
import sqlite3
from collections.abc import Callable
from contextlib import closing
from functools import partial
from http.server import SimpleHTTPRequestHandler, ThreadingHTTPServer
from pathlib import Path
from typing import Any

import click

from gillhouse.audit.html import as_html
from gillhouse.audit.night import Window
from gillhouse.audit.record import as_json
from gillhouse.audit.report import night_of
from gillhouse.audit.text import as_text
from gillhouse.clock import SystemClock
from gillhouse.commands import demo_season
from gillhouse.commands.options import config_option
from gillhouse.config import load, shipped_dir
from gillhouse.service import Service
from gillhouse.sim.barn_season import DAYS as BARN_DAYS
from gillhouse.sim.broker import HOST, TrialBroker
from gillhouse.sim.farm_copy import FARM_FILE, HEAD, trial_config
from gillhouse.sim.link import BoardLink, TrialError
from gillhouse.sim.trial import SIMULATED_KEY, Length, Trial, night_from_ms
from gillhouse.sim.weather import SEASONS
from gillhouse.store import JOURNAL
from gillhouse.store.reader import Reader
from gillhouse.store.rows import MetaRow

LEFT = ("night.html", "night.json", "night.txt", FARM_FILE, JOURNAL, "truth.json")
"""What a trial leaves in its directory."""
RUBBISH = (*LEFT, f"{JOURNAL}-wal", f"{JOURNAL}-shm")
MINUTE_MS = 60_000
BARN = "barn"
Told = Callable[[int], None]
"""Hears how far the trial has come, in trial milliseconds."""


@click.command()
@click.option(
    "--hours",
    type=click.FloatRange(0.05, 72.0),
    default=12.0,
    show_default=True,
    help="How much of the night, from 20:00 on.",
)
@click.option(
    "--seed",
    type=int,
    default=1,
    show_default=True,
    help="Which night: weather, sensors' errors and labels come from it.",
)
@click.option(
    "--season",
    type=click.Choice([*SEASONS, BARN]),
    default="autumn",
    show_default=True,
    help=f"What the invented weather is like. {BARN}: instead of a night twelve weeks of an open barn.",
)
@click.option(
    "--out",
    type=click.Path(path_type=Path, file_okay=False),
    default=Path("trial-night"),
    show_default=True,
    help="Where the night is left.",
)
@click.option("--serve", is_flag=True, help="Show the night in a browser on this machine until Ctrl-C.")
@click.option(
    "--speed",
    type=click.Choice(["full", "real"]),
    default="full",
    show_default=True,
    help="real: a minute takes a minute.",
)
@config_option
def command(  # noqa: PLR0913 - each is an option
    hours: float, seed: int, season: str, out: Path, serve: bool, speed: str, config_path: Path | None
) -> None:
    """Live through a night on simulated boards.

    Example: gillhouse demo --out trial-night --serve
    """
    logging.basicConfig(level=logging.ERROR, format="%(message)s")
    if season == BARN:
        _barn(seed)
        return
    make_room(out)
    length = Length(seed, hours, SEASONS[season])
    farm = config_path or shipped_dir() / "farm.yaml"
    click.echo(f"A SIMULATED night: invented farm, weather and people; no real relay moves. Seed {seed}.")
    with click.progressbar(length=length.end_ms // MINUTE_MS, label="20:00 to morning", width=40) as bar:
        trial = run_trial(farm, out, length, speed == "real", _by_the_minute(bar.update))
    click.echo("")
    click.echo(tell(out, trial))
    click.echo(_truth(trial.truth()))
    click.echo(f"Left in {out}: {', '.join(name for name in LEFT if (out / name).exists())}")
    if serve:
        _serve(out)


def _barn(seed: int) -> None:
    """Twelve weeks of a made-up barn; nothing is left behind."""
    click.echo(f"A SIMULATED season: invented barn, weather, slugs and flies. Seed {seed}.")
    with click.progressbar(length=BARN_DAYS, label="84 days", width=40) as bar:
        lived = demo_season.live(seed, lambda _day: bar.update(1))
    for row in demo_season.text(lived):
        click.echo(row)


def make_room(out: Path) -> None:
    """Empties `out` of an earlier trial, and of nothing else.

    Raises:
        TrialError: something stands there that no trial left.
    """
    if out.exists() and any(out.iterdir()) and not _is_trial(out):
        raise TrialError(f"{out} is not empty and no trial's, it stays as it is: give another --out")
    out.mkdir(parents=True, exist_ok=True)
    for name in RUBBISH:
        (out / name).unlink(missing_ok=True)
    for species in (out / "species").glob("*.yaml"):
        species.unlink()


def _is_trial(out: Path) -> bool:
    """The farm file is the first thing a trial writes, so an interrupted one is known too."""
    farm, journal = out / FARM_FILE, out / JOURNAL
    begun = farm.exists() and farm.read_bytes().startswith(HEAD[: HEAD.index(".")].encode())
    return begun and (not journal.exists() or _is_marked(journal))


def _is_marked(journal: Path) -> bool:
    """Marked as simulated, or empty still."""
    try:
        with closing(sqlite3.connect(f"file:{journal}?mode=ro", uri=True)) as store:
            marked = store.execute("SELECT 1 FROM meta WHERE key = ?", (SIMULATED_KEY,)).fetchone()
            return marked is not None or store.execute("SELECT 1 FROM readings").fetchone() is None
    except sqlite3.DatabaseError:
        return False


def tell(out: Path, trial: Trial) -> str:
    """Writes the night's page, figures and text into `out`. Returns the text."""
    begin_ms = night_from_ms(trial.config)
    window = Window(begin_ms, begin_ms + trial.length.ms, trial.config.farm.zone)
    with Reader(out / JOURNAL) as reader:
        night = night_of(reader, window, window.to_ms)
    text = as_text(night)
    forms = {"night.html": as_html(night), "night.json": as_json(night), "night.txt": text}
    for name, content in forms.items():
        (out / name).write_text(content, encoding="utf-8")
    return text


def _silent(_at_ms: int) -> None:
    """Tells nobody."""


def _by_the_minute(update: Callable[[int], None]) -> Told:
    """Moves a progress bar on by whole minutes, the warm-up's too."""
    done = 0

    def told(at_ms: int) -> None:
        nonlocal done
        minute = at_ms // MINUTE_MS
        if minute > done:
            update(minute - done)
            done = minute

    return told


def run_trial(farm: Path, out: Path, length: Length, real_pace: bool = False, told: Told = _silent) -> Trial:
    """Lives through the night in `out`.

    Args:
        farm: the farm file the trial's is made from; it is only read.
        told: called with the trial milliseconds reached, after each move.
    Raises:
        TrialError: no broker, or something hangs.
        ConfigError: the farm file's mistakes.
    """
    with TrialBroker() as broker:
        config = trial_config(load(farm).files, out, broker.port)
        trial = Trial(config, length)
        link = BoardLink(HOST, broker.port, "trial-boards")
        try:
            _live(trial, out, link, real_pace, told)
        finally:
            link.close()
    trial.write_truth(out)
    return trial


def _live(trial: Trial, out: Path, link: BoardLink, real_pace: bool, told: Told) -> None:
    service = Service(trial.config, out, trial.clock)
    service.writer.put(MetaRow(SIMULATED_KEY, True))
    lockstep = trial.meet(service, SystemClock(), link)
    lockstep.quiet.broken = lambda: "its control thread died" if service.failed.is_set() else None
    service.start()
    try:
        lockstep.begin()
        lockstep.run(trial.length.end_ms, real_pace, told)
    finally:
        service.stop()


def _truth(truth: dict[str, Any]) -> str:
    """What the night was in truth: the simulator knows."""
    rows = [
        f"  {space['space']}: humidity and CO2 both in band {space['joint_in_band_pct']} % of the time, "
        f"caps wet {space['wet_cap_h']} h, water {space['water_kg']} l"
        for space in truth["spaces"]
    ]
    return "\n".join(["What the simulator knows (outside the faults put in on purpose):", *rows])


class _Quietly(SimpleHTTPRequestHandler):
    def log_message(self, *_: Any) -> None:
        """Nothing: the terminal is the grower's."""


def _serve(out: Path) -> None:
    with ThreadingHTTPServer((HOST, 0), partial(_Quietly, directory=str(out))) as server:
        click.echo(f"The SIMULATED night: http://{HOST}:{server.server_port}/night.html (Ctrl-C ends)")
        try:
            server.serve_forever()
        except KeyboardInterrupt:
            click.echo("")
