"""`gillhouse season`: what a year outdoors is for each crop, from a weather file or the farm's own log.

Here: opening files and asking the store. Not here: any figure (`ahead.season`), the words (`season_told`).
"""

import json
from pathlib import Path

import click

from gillhouse.ahead.evaporation import Cover
from gillhouse.ahead.season import Crop, crop_of, plan
from gillhouse.ahead.this_year import beside
from gillhouse.ahead.weather import Weather, looked_through
from gillhouse.audit.ahead_log import YEAR_MS, outdoor_sensors, outdoor_weather
from gillhouse.audit.weather_file import weather_from
from gillhouse.clock import SystemClock
from gillhouse.commands import season_told
from gillhouse.commands.options import config_option, default_config, default_state, state_option
from gillhouse.config import Config, load
from gillhouse.core.quantities import Quantity
from gillhouse.core.settings import HoseSettings, SpaceKind
from gillhouse.drawing.calendar import draw
from gillhouse.errors import GillhouseError
from gillhouse.store import JOURNAL
from gillhouse.store.reader import Reader


@click.command()
@click.option(
    "--weather",
    "weather_path",
    type=click.Path(path_type=Path, dir_okay=False),
    default=None,
    help="An EPW, TMY3, TMY2 or plain CSV file. Default: the last year of your own outdoor sensor.",
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
@click.option("--this-year", is_flag=True, help="Also your own outdoor sensor's weeks beside the file's.")
@click.option(
    "--svg",
    "svg_path",
    type=click.Path(path_type=Path, dir_okay=False),
    default=None,
    help="Leave the calendar as a picture here.",
)
@click.option("--json", "as_json", is_flag=True, help="All of it as JSON.")
@config_option
@state_option
def command(  # noqa: PLR0913  one argument an option
    weather_path: Path | None,
    wanted: tuple[str, ...],
    cover: str,
    this_year: bool,
    svg_path: Path | None,
    as_json: bool,
    config_path: Path | None,
    state_dir: Path | None,
) -> None:
    """What a year outdoors is for each crop: open weeks, frost, heat, drying, waterings, slugs, flies.

    Example: gillhouse season --weather year.epw --crop grey-oyster --svg season.svg
    """
    config = load(config_path or default_config())
    crops = crops_from(config, wanted)
    own = own_log(config, state_dir or default_state()) if this_year or weather_path is None else None
    if weather_path is not None:
        weather = weather_from(weather_path)
    else:
        assert own is not None  # was read just above
        weather = from_january(own)
    season = plan(weather, crops, Cover(cover), hose_of(config))
    weeks = beside(own.hours, weather, crops) if own is not None and weather_path is not None else None
    if svg_path is not None:
        _leave(svg_path, draw(season_told.chart(season)))
    if as_json:
        click.echo(json.dumps(season_told.record(season, weeks), indent=2))
        return
    for line in season_told.text(season, weeks):
        click.echo(line)
    if svg_path is not None:
        click.echo(f"picture: {svg_path}")


def own_log(config: Config, state: Path) -> Weather:
    """The last year of the farm's own outdoor sensor.

    Raises:
        GillhouseError: there is none, or its log holds no hour yet.
    """
    if not all(outdoor_sensors(config, one) for one in (Quantity.TEMPERATURE, Quantity.HUMIDITY)):
        raise GillhouseError(
            "no outdoor sensor: give --weather FILE, or put a temperature and a humidity sensor outdoors"
            " (zone: outdoor)"
        )
    now_ms = SystemClock().now().wall_ms
    with Reader(state / JOURNAL) as reader:
        found = outdoor_weather(reader, config, (now_ms - YEAR_MS, now_ms))
    if not found.hours:
        raise GillhouseError("the outdoor sensor's log holds no whole hour yet; let it listen for a while")
    return found


def from_january(log: Weather) -> Weather:
    """A log's last year put together as a calendar year, the way typical years are, with what is missing
    said.
    """
    hours = sorted(log.hours, key=lambda hour: (hour.month, hour.day, hour.hour))
    notes = (
        "put together from January on out of the last twelve months",
        *looked_through(log.place, hours, 0),
    )
    return Weather(log.place, log.latitude_deg, log.kind, hours, notes)


def _leave(path: Path, text: str) -> None:
    try:
        path.write_text(text, encoding="utf-8")
    except OSError as error:
        raise GillhouseError(f"{path}: cannot be written ({error.strerror}); name another place") from error


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
