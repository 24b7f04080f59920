"""`gillhouse ahead`: what is coming up in each space: hose, dry wind, slugs, first picks, and what is
missing.

Here: opening the forecast and telling. Not here: any model (`ahead.coming_up`), the log (`ahead_log`).
"""

import json
from collections.abc import Mapping
from datetime import datetime
from pathlib import Path
from typing import Any

import click

from gillhouse.ahead.coming_up import Ahead, Line, lines, missing
from gillhouse.ahead.slugs import PARTS
from gillhouse.audit.ahead_log import Asked, aheads, from_now
from gillhouse.audit.evidence import config_at
from gillhouse.audit.weather_file import weather_from
from gillhouse.clock import SystemClock
from gillhouse.commands.options import default_state, state_option
from gillhouse.errors import GillhouseError, LocalError
from gillhouse.local import ask
from gillhouse.store import JOURNAL
from gillhouse.store.reader import Reader


@click.command()
@click.argument("space", required=False)
@click.option(
    "--forecast",
    "forecast_path",
    type=click.Path(path_type=Path, dir_okay=False),
    default=None,
    help="A short forecast as CSV: time,temp_c,humidity_pct,wind_m_s,rain_mm. No service is asked.",
)
@click.option(
    "--latitude",
    type=click.FloatRange(-90, 90),
    default=None,
    help="Where you are, degrees north. Default: the forecast's, else your farm file's.",
)
@click.option("--json", "as_json", is_flag=True, help="All of it as JSON.")
@state_option
def command(
    space: str | None,
    forecast_path: Path | None,
    latitude: float | None,
    as_json: bool,
    state_dir: Path | None,
) -> None:
    """What is coming up in SPACE, or in all: hosing, dry wind, slugs, first picks.

    Slugs you counted: gillhouse note barn "slugs: 14 found". Count on quiet nights too, then it learns
    whether its score is worth anything.

    Example: gillhouse ahead barn --forecast tomorrow.csv --latitude 52.3
    """
    state = state_dir or default_state()
    now_ms = SystemClock().now().wall_ms
    with Reader(state / JOURNAL) as reader:
        config = config_at(reader, now_ms)
        if space is not None and space not in config.farm.spaces:
            raise GillhouseError(f"there is no space {space!r}; there are {', '.join(config.farm.spaces)}")
        hours = []
        if forecast_path is not None:
            forecast = weather_from(forecast_path)
            latitude = forecast.latitude_deg if latitude is None else latitude
            hours = from_now(
                forecast, forecast_path.name, datetime.fromtimestamp(now_ms / 1000, config.farm.zone)
            )
        latitude = config.farm.latitude_deg if latitude is None else latitude
        found = aheads(reader, config, Asked(now_ms, hours, latitude, caps_of(state)))
    shown = [one for one in found if space is None or one.space == space]
    if as_json:
        click.echo(json.dumps(record(shown), indent=2))
        return
    for row in text(shown):
        click.echo(row)


def caps_of(state: Path) -> dict[str, Mapping[str, Any]]:
    """The running daemon's account of each open space; nothing where it does not run."""
    try:
        status = ask(state, {"ask": "status"})
    except LocalError:
        return {}
    return {space: told["caps"] for space, told in status["spaces"].items() if told.get("caps")}


def text(shown: list[Ahead]) -> list[str]:
    """Line by line; what is missing once, at the end."""
    rows: list[str] = []
    for one in shown:
        for line in lines(one):
            rows.append(f"{line.space}: {line.text}")
            rows += [
                f"    {word}: {said}"
                for word, said in (("how sure", line.sure), ("source", line.source))
                if said
            ]
    absent = list(dict.fromkeys(line.text for one in shown for line in missing(one)))
    rows = rows or ["nothing is coming up that can be told"]
    return rows + [f"not known here: {what}" for what in absent]


def record(shown: list[Ahead]) -> dict[str, object]:
    def plain(line: Line) -> dict[str, str]:
        return {
            "space": line.space,
            "kind": line.kind.value,
            "text": line.text,
            "how_sure": line.sure,
            "source": line.source,
        }

    return {
        "lines": [plain(line) for one in shown for line in lines(one)],
        "not_known": list(dict.fromkeys(line.text for one in shown for line in missing(one))),
        "slug_score": [{"text": part.text, "source": part.source, "assumed": part.assumed} for part in PARTS],
    }
