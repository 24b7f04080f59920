"""`gillhouse size`: what a space needs in air, water and heat, with every equation in sight.

Here: what a config says of a space, put into `core.sizing`'s question, and the wording of its working. Not
here: any equation. `--from-log` looks for quiet stretches in the journal and tells the air changes they show.
"""

import json
from collections.abc import Iterator
from math import isfinite
from pathlib import Path
from typing import Any

import click

from gillhouse.commands.options import config_option, default_config, default_state, state_option
from gillhouse.commands.quiet import from_log
from gillhouse.config import Config, load
from gillhouse.core import safe_air
from gillhouse.core.breath import breath, given
from gillhouse.core.crops import Band
from gillhouse.core.quantities import Quantity
from gillhouse.core.settings import Role, SpaceKind, SpaceSettings
from gillhouse.core.sizing import Air, Line, Question, warnings, working
from gillhouse.errors import GillhouseError

CEILING_PPM = 1000.0
"""Where neither crop nor option names one: oyster caps roll up above some 1,500 ppm (Jang et al., J. Bio-Env.
Control 18:208, 2009, abstract); 1,000 is common practice."""
SHELL_W_M2K = {SpaceKind.ROOM: 0.5, SpaceKind.TENT: 2.5}
"""Heat through walls: insulated panels, tent cloth. Common practice, no source."""
OUTSIDE = Air(10.0, 70.0)
"""Where neither option nor config says more. An example, no climate."""
CAUTION = (
    "CAUTION: mains, water and heat belong to a licensed electrician and to your local code. High CO2 harms"
    " people: no crop's ceiling replaces the limits for people."
)


class Pair(click.ParamType[Air]):
    """`10,70`: a temperature and a humidity."""

    name = "C,%"

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> Air:
        if isinstance(value, Air):
            return value
        try:
            celsius, percent = (float(part) for part in str(value).split(","))
        except ValueError:
            self.fail(f"{value!r} is not a temperature and a humidity: write it like 10,70", param, ctx)
        if not (-40.0 <= celsius <= 60.0 and 0.0 < percent <= 100.0):
            self.fail(f"{value!r}: degrees from -40 to 60, humidity over 0 and up to 100", param, ctx)
        return Air(celsius, percent)


@click.command()
@click.argument("space")
@click.option("--outside", type=Pair(), default=None, help="The air outside: 10,70 is 10 degrees C, 70 %.")
@click.option("--inside", type=Pair(), default=None, help="What the space shall be. Default: its crop's.")
@click.option("--ceiling", type=click.FloatRange(500, 5000), default=None, help="CO2 to stay under, ppm.")
@click.option(
    "--breath",
    "grams",
    type=click.FloatRange(0.01, 1e5),
    default=None,
    help="CO2 the batch gives off, g/h, where you measured it.",
)
@click.option(
    "--nozzle",
    "nozzle",
    type=click.FloatRange(0.1, 1000),
    default=4.0,
    show_default=True,
    help="Litres an hour of one nozzle, for counting nozzles.",
)
@click.option("--from-log", is_flag=True, help="Air changes from quiet stretches in the journal instead.")
@click.option("--json", "as_json", is_flag=True, help="The working as JSON.")
@config_option
@state_option
def command(  # noqa: PLR0913  one argument an option
    space: str,
    outside: Air | None,
    inside: Air | None,
    ceiling: float | None,
    grams: float | None,
    nozzle: float,
    from_log: bool,
    as_json: bool,
    config_path: Path | None,
    state_dir: Path | None,
) -> None:
    """Work out fresh air, water, nozzles and heat for SPACE, with the equations.

    Example: gillhouse size room --outside 2,85
    """
    if from_log:
        _tell_log(state_dir or default_state(), space, as_json)
        return
    config = load(config_path or default_config())
    wanted = {"outside": outside, "inside": inside, "ceiling": ceiling, "grams": grams, "nozzle": nozzle}
    asked = question(config, space, wanted)
    lines, told = working(asked), warnings(asked)
    dead = safe_air.line(asked)
    lines += [] if dead is None else [dead]
    if as_json:
        click.echo(json.dumps(record(space, lines, told), indent=2))
        return
    for row in text(config.farm.spaces[space], lines, told):
        click.echo(row)


def question(config: Config, space_id: str, wanted: dict[str, Any]) -> Question:
    """What the config says of a space, with `wanted` laid over it.

    Raises:
        GillhouseError: there is no such space, or it is open to the wind.
    """
    farm = config.farm
    if space_id not in farm.spaces:
        raise GillhouseError(f"there is no space {space_id!r}; there are {', '.join(farm.spaces)}")
    space = farm.spaces[space_id]
    if space.kind is SpaceKind.OPEN:
        raise GillhouseError(
            f"{space_id} is open: the wind moves more air than any fan, so there is nothing to size"
        )
    inside = wanted["inside"] or Air(
        middle(space.bands.get(Quantity.TEMPERATURE), 18.0), middle(space.bands.get(Quantity.HUMIDITY), 90.0)
    )
    band = space.bands.get(Quantity.CO2)
    ceiling = wanted["ceiling"] or (band.high if band and band.high else CEILING_PPM)
    own = [relay for relay in farm.relays.values() if relay.space == space_id]
    figures = breath(space.species, space.stage)
    if wanted["grams"]:
        figures = given(wanted["grams"], space.crop_kg or 1.0, inside.temperature_c, "given by --breath")
    told = space.intake
    outside = wanted["outside"] or Air(
        OUTSIDE.temperature_c if told.temperature_c is None else told.temperature_c,
        OUTSIDE.humidity_pct if told.humidity_pct is None else told.humidity_pct,
    )
    return Question(
        volume_m3=space.volume_m3,
        kg=space.crop_kg or 1.0,
        breath=figures,
        inside=inside,
        ceiling_ppm=ceiling,
        outside=outside,
        intake_ppm=told.co2_ppm,
        leak_m3_per_h=space.leak_ach * space.volume_m3,
        fan_m3_per_h=sum(relay.air_m3_per_h for relay in own if relay.role is Role.FAN),
        litres_per_h=sum(relay.litres_per_h for relay in own if relay.role is Role.MIST),
        nozzles_litres_per_h=wanted["nozzle"],
        heater_w=sum(relay.watts for relay in own if relay.role is Role.HEATER),
        shell_w_m2k=SHELL_W_M2K.get(space.kind, 0.5),
    )


def middle(band: Band | None, otherwise: float) -> float:
    """A band's target, else its middle, else its one edge."""
    if band is None:
        return otherwise
    edges = [edge for edge in (band.low, band.high) if edge is not None]
    if band.target is not None:
        return band.target
    return sum(edges) / len(edges) if edges else otherwise


def text(space: SpaceSettings, lines: list[Line], told: list[str]) -> Iterator[str]:
    """The working for a person: equation, numbers, result, source, how sure."""
    crop = f"{space.crop_kg:g} kg {space.species}, {space.stage}"
    yield f"{space.name} ({space.id}): {space.volume_m3:g} m3, {crop}"
    for line in lines:
        yield ""
        yield f"{line.name}: {_amount(line.result, line.unit)}{_range(line)}"
        yield f"    {line.equation}"
        yield f"    = {line.numbers}"
        yield f"    source: {line.source}; how sure: {line.sure}"
    yield ""
    for warning in told:
        yield f"NOTE: {warning}"
    yield CAUTION


def _amount(value: float, unit: str) -> str:
    return f"{value:.4g} {unit}".rstrip() if isfinite(value) else "never"


def _range(line: Line) -> str:
    if line.high - line.low <= 1e-6 * abs(line.high):
        return ""
    ends = [f"{end:.3g}" if isfinite(end) else "never" for end in (line.low, line.high)]
    return f"  ({ends[0]} to {ends[1]})"


def record(space: str, lines: list[Line], told: list[str]) -> dict[str, Any]:
    """The working as plain JSON; what is never reached is null."""

    def plain(value: float) -> float | None:
        return value if isfinite(value) else None

    return {
        "space": space,
        "lines": [
            {
                "name": line.name,
                "equation": line.equation,
                "numbers": line.numbers,
                "result": plain(line.result),
                "low": plain(line.low),
                "high": plain(line.high),
                "unit": line.unit,
                "source": line.source,
                "how_sure": line.sure,
            }
            for line in lines
        ],
        "notes": told,
    }


def _tell_log(state: Path, space: str, as_json: bool) -> None:
    found = from_log(state, space)
    if as_json:
        click.echo(json.dumps(found.record(), indent=2))
        return
    for row in found.text():
        click.echo(row)
