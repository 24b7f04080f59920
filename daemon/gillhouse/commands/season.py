"""`gillhouse season`: what a year outdoors is for each crop, from a weather file or the farm's own log.

Here: opening files and asking the store. Not here: any figure (`ahead.season`), the words (`season_told`).
"""

import json
from pathlib import Path

import click

from gillhouse.ahead.evaporation import Cover
from gillhouse.ahead.season import Crop, crop_of, plan
from gillhouse.ahead.weather import Weather, WeatherError
from gillhouse.ahead.weather_files import read
from gillhouse.commands import season_told
from gillhouse.commands.options import config_option, default_config
from gillhouse.config import Config, load
from gillhouse.core.settings import HoseSettings, SpaceKind
from gillhouse.drawing.calendar import draw
from gillhouse.errors import GillhouseError

BIGGEST_BYTES = 20_000_000
"""Ten times a year's EPW; what is bigger is no weather file."""


@click.command()
@click.option(
    "--weather",
    "weather_path",
    type=click.Path(path_type=Path, dir_okay=False),
    required=True,
    help="An EPW, TMY3, TMY2 or plain CSV file.",
)
@click.option("--crop", "wanted", multiple=True, help="A species by its id; again for more. Default: all.")
@click.option(
    "--space-kind",
    "cover",
    type=click.Choice([one.value for one in Cover]),
    default=Cover.SHADED.value,
    show_default=True,
    help="What stands between the crop and the weather.",
)
@click.option(
    "--svg",
    "svg_path",
    type=click.Path(path_type=Path, dir_okay=False),
    default=None,
    help="Leave the calendar as a picture here.",
)
@click.option("--json", "as_json", is_flag=True, help="All of it as JSON.")
@config_option
def command(  # six arguments: one an option
    weather_path: Path,
    wanted: tuple[str, ...],
    cover: str,
    svg_path: Path | None,
    as_json: bool,
    config_path: Path | None,
) -> None:
    """What a year outdoors is for each crop: open weeks, frost, heat, drying, waterings, slugs, flies.

    Example: gillhouse season --weather year.epw --crop grey-oyster --svg season.svg
    """
    config = load(config_path or default_config())
    season = plan(weather_from(weather_path), crops_from(config, wanted), Cover(cover), hose_of(config))
    if svg_path is not None:
        try:
            svg_path.write_text(draw(season_told.chart(season)), encoding="utf-8")
        except OSError as error:
            raise GillhouseError(
                f"{svg_path}: cannot be written ({error.strerror}); name another place"
            ) from error
    if as_json:
        click.echo(json.dumps(season_told.record(season), indent=2))
        return
    for line in season_told.text(season):
        click.echo(line)
    if svg_path is not None:
        click.echo(f"picture: {svg_path}")


def weather_from(path: Path) -> Weather:
    """A weather file read.

    Raises:
        WeatherError: it is not there, too big, or cannot be read; the message says what to do.
    """
    try:
        if path.stat().st_size > BIGGEST_BYTES:
            raise WeatherError(
                f"{path}: over {BIGGEST_BYTES // 1_000_000} MB; a year of weather has two or three"
            )
        # Old files carry place names in the code page of their time; the figures are ASCII in all of them.
        return read(path.read_bytes().decode("latin-1").removeprefix("\xef\xbb\xbf"), path.name)
    except OSError as error:
        raise WeatherError(f"{path}: cannot be opened ({error.strerror}); check the name") from error


def crops_from(config: Config, wanted: tuple[str, ...]) -> list[Crop]:
    """The species asked for, or all.

    Raises:
        GillhouseError: one is not known, or has no fruiting temperature in its file.
    """
    found = []
    for ident in wanted or tuple(config.species):
        if ident not in config.species:
            raise GillhouseError(f"there is no species {ident!r}; there are {', '.join(config.species)}")
        crop = crop_of(config.species[ident])
        if crop is None:
            raise GillhouseError(
                f"{ident}: its file gives no fruiting temperature from and to; add both edges"
            )
        found.append(crop)
    return found


def hose_of(config: Config) -> HoseSettings:
    """What a watering is by the farm file: of the first open space, else the starting values."""
    for space in config.farm.spaces.values():
        if space.kind is SpaceKind.OPEN:
            return space.hose
    return HoseSettings()
