"""`gillhouse check`: every mistake in the config at once, or what was understood of it.

Here: the wording of a config for a person to compare with what they meant. Not here: any judgement
(`gillhouse.config`).
"""

from collections.abc import Iterator
from pathlib import Path

import click

from gillhouse.clock import SystemClock
from gillhouse.commands.alerts_told import people_told
from gillhouse.commands.floor_told import cost
from gillhouse.config import Config, load, shipped_dir
from gillhouse.core.bands_meet import explain
from gillhouse.core.crops import Band, LightWish, Species
from gillhouse.core.demand import UNCALIBRATED_AIM_PCT
from gillhouse.core.fresh_air import floor_flow
from gillhouse.core.kind_limits import limit_words
from gillhouse.core.quantities import MEASURES, Quantity
from gillhouse.core.reasons import WORDS
from gillhouse.core.reminders import due
from gillhouse.core.safe_air import minutes_for
from gillhouse.core.settings import (
    ProgrammeSettings,
    RelaySettings,
    SafeAirBy,
    SensorSettings,
    SpaceKind,
    SpaceSettings,
    When,
)
from gillhouse.core.statements import STATEMENTS
from gillhouse.core.truth_status import wished_pct
from gillhouse.errors import ConfigError

UNITS = {Quantity.HUMIDITY: "%", Quantity.TEMPERATURE: "C", Quantity.CO2: "ppm"}


@click.command(name="check")
@click.option(
    "--config",
    "path",
    type=click.Path(path_type=Path),
    default=None,
    help="The farm file; the shipped example if none is given.",
)
def command(path: Path | None) -> None:
    """Say every mistake in the config (exit code 2), or what was understood of it."""
    try:
        config = load(path if path is not None else shipped_dir() / "farm.yaml")
    except ConfigError as error:
        for mistake in error.mistakes:
            click.echo(mistake, err=True)
        click.echo(f"{_many(len(error.mistakes), 'mistake')}; nothing was changed.", err=True)
        raise SystemExit(2) from error
    for line in understood(config):
        click.echo(line)


def understood(config: Config) -> Iterator[str]:
    """The config in a grower's words, line by line."""
    farm = config.farm
    yield f"{config.path}: no mistakes (digest {config.digest[:12]})"
    yield f"Farm: {farm.name}, local time {farm.zone}"
    yield from _broker(config)
    for space in farm.spaces.values():
        yield ""
        yield from _space(config, space)
    shared = [
        *(_sensor(config, sensor) for sensor in farm.sensors.values() if sensor.space is None),
        *(line for relay in farm.relays.values() if relay.space is None for line in _relay(config, relay)),
        *(
            f"  supply {supply.id}: pump {supply.pump} feeds {', '.join(supply.valves)},"
            f" {supply.most_at_once} at once"
            for supply in farm.supplies.values()
        ),
        *(
            f"  shared air {air.id}: fan {air.fan} through {', '.join(air.dampers.values())}"
            for air in farm.shared_air.values()
        ),
    ]
    if shared:
        yield ""
        yield "Shared by all"
        yield from shared
    yield ""
    yield from people_told(config)
    yield from _hardware(config)
    yield from (f"Warning: {warning}" for warning in config.warnings)


def _hardware(config: Config) -> Iterator[str]:
    """What the grower states to have, and what of it is to be tested."""
    stated = config.farm.statements
    for one in stated.values():
        yield f"Stated: {STATEMENTS[one.id].title}, tested {one.tested}; test: {STATEMENTS[one.id].test}"
    missing = [name for name in STATEMENTS if name not in stated]
    if missing and any(not relay.advise_only for relay in config.farm.relays.values()):
        yield f"Not stated: {', '.join(missing)} (statements: in the farm file, with the date of a test)"
    for line in due(config.farm, None, SystemClock().now()):
        yield f"Reminder: {WORDS[line.reason].format(**line.facts)}"


def _broker(config: Config) -> Iterator[str]:
    broker = config.broker
    secured = "TLS" if broker.tls else "no TLS"
    yield (
        f"Broker: {broker.host}:{broker.port}, MQTT {broker.protocol}, {secured}, ours under"
        f" {broker.base_topic}/"
    )
    if config.mirror:
        yield f"Mirror: {config.mirror.url}"


def _space(config: Config, space: SpaceSettings) -> Iterator[str]:
    people = "people walk in" if space.walk_in else "nobody walks in"
    yield f"{space.name} ({space.id}): {space.kind}, {space.volume_m3:g} m3, {people}"
    yield from _crops(config, space)
    yield from _safe_air(config, space)
    for sensor in config.farm.sensors.values():
        if sensor.space == space.id:
            yield _sensor(config, sensor)
    for relay in config.farm.relays.values():
        if relay.space == space.id:
            yield from _relay(config, relay)
    for programme in config.farm.programmes.values():
        if programme.space == space.id:
            yield _programme(programme)


def _safe_air(config: Config, space: SpaceSettings) -> Iterator[str]:
    """How its fan runs while this box is dead, as it is declared and as it is worked out."""
    wanted, told = minutes_for(config.farm, space), space.safe_air
    worked_out = "" if wanted is None else f" (worked out: {wanted} min)"
    if told is not None and told.min_per_h == 0:
        yield "  while this box is dead: its fan stands still, nobody can be inside"
    elif told is not None:
        by = {SafeAirBy.TIMER: "a repeat timer of its own", SafeAirBy.BOARD: "its board's own programme"}
        seen = f", seen to run on {told.tested}" if told.tested else ""
        yield (
            f"  while this box is dead: fan {told.min_per_h:g} min an hour by {by[told.by]}{worked_out}{seen}"
        )


def _crops(config: Config, space: SpaceSettings) -> Iterator[str]:
    """What grows there, and what all of it together should have."""
    for crop in space.crops:
        species = config.species[crop.species]
        first = ", has priority" if crop.priority else ""
        yield f"  crop: {crop.kg:g} kg {species.name} ({species.latin}), {crop.stage}{first}"
        yield from _usual(species)
    names = {ident: species.name for ident, species in config.species.items()}
    yield from (f"  CLASH: {explain(clash, names)}" for clash in space.clashes)
    for quantity, band in space.bands.items():
        if space.crops or band.low is not None:
            yield f"  {quantity}: {_band(band, UNITS[quantity])}"
            yield f"    source: {band.source}"
        if quantity is Quantity.HUMIDITY:
            yield from _wished(config, space, band)
    yield from (f"  {line}" for line in limit_words(space))
    if space.crops and space.kind is not SpaceKind.OPEN:
        floor = floor_flow(space.fresh_air_ach, space.volume_m3, space.crop_kg, space.fresh_air_m3_per_h)
        yield (
            f"  least fresh air: {floor:g} m3/h for the weight of the crop while CO2 is measured, else"
            f" {space.fresh_air_ach:g} air changes an hour"
        )
        told = cost(space, floor)
        if told is not None and floor > 0.0:
            yield told
    if space.light:
        wish = space.light.wish
        yield f"  light: {space.light.hours:g} h from {_clock(space.light.from_min)}{_lux(wish)}"


def _wished(config: Config, space: SpaceSettings, band: Band) -> Iterator[str]:
    """What cannot be steered to before a sensor is checked."""
    own = [one for one in config.farm.sensors.values() if one.space == space.id and one.calibrated]
    if any(one.quantity is Quantity.HUMIDITY for one in own) or space.kind is SpaceKind.OPEN:
        return
    wished = wished_pct(band)
    if wished is not None:
        yield (
            f"    {wished:g} % is only wished for: kept near {UNCALIBRATED_AIM_PCT:g} % until gillhouse"
            " calibrate has checked a sensor"
        )


def _from_to(least: float, most: float) -> str:
    return f"{least:g}" if least == most else f"{least:g} to {most:g}"


def _usual(species: Species) -> Iterator[str]:
    told = [
        f"{name} {_from_to(usual.least, usual.most)}{unit}"
        for name, usual, unit in (
            ("flushes", species.flushes, ""),
            ("days between them", species.days_between_flushes, ""),
            ("biological efficiency", species.biological_efficiency_pct, " %"),
        )
        if usual is not None
    ]
    if told:
        yield f"    usually: {', '.join(told)}"


def _lux(wish: LightWish | None) -> str:
    if wish is None or wish.lux is None:
        return ""
    return f", {wish.lux:g} lux" if wish.most_lux is None else f", {wish.lux:g} to {wish.most_lux:g} lux"


def _band(band: Band, unit: str) -> str:
    """`keep 85 to 90 %, call under 80 or over 95`."""
    if band.low is not None and band.high is not None:
        keep = f"keep {band.low:g} to {band.high:g} {unit}"
    elif band.high is not None:
        keep = f"keep under {band.high:g} {unit}"
    else:
        keep = f"keep over {band.low:g} {unit}" if band.low is not None else "no band"
    if band.target is not None:
        keep += f", aim at {band.target:g}"
    sides = [("under", band.alarm_low), ("over", band.alarm_high)]
    calls = " or ".join(f"{side} {limit:g}" for side, limit in sides if limit is not None)
    return f"{keep}, call somebody {calls}" if calls else f"{keep}, call nobody"


def _sensor(config: Config, sensor: SensorSettings) -> str:
    route = next(route for route in config.routes if route.sensor == sensor.id)
    place = route.path or route.senml_name or "the whole message"
    measure = MEASURES[sensor.quantity]
    unit = f"words {' / '.join(route.words)}" if route.words else route.unit
    calibrated = "calibrated" if sensor.calibrated else "not calibrated"
    trust = "" if measure.on_off else f", +/- {sensor.error:g}, {calibrated}"
    where = f"{sensor.zone}, " if not measure.on_off else ""
    return (
        f"  sensor {sensor.id}: {sensor.quantity}, {where}{route.topic} {route.format} {place} ({unit}), "
        f"every {_span(sensor.every_ms)}, silent after {_span(sensor.silent_after_ms)}{trust}"
    )


def _relay(config: Config, relay: RelaySettings) -> Iterator[str]:
    wire = config.relay_wires[relay.id]
    driven = "ADVISE ONLY, nothing is switched" if relay.advise_only else "SWITCHED"
    own = "lets go by itself" if relay.own_timer else "DOES NOT LET GO BY ITSELF"
    place = wire.command_topic or wire.driver
    if wire.gpio or wire.modbus:
        own = "let go by this program alone"
        place = f"pin {wire.gpio.pin}" if wire.gpio else str(wire.modbus)
    yield f"  relay {relay.id}: {relay.role}, {driven}, {own}, {place}"
    limits = [
        ("at least on", relay.least_on_ms and _span(relay.least_on_ms)),
        ("at least off", relay.least_off_ms and _span(relay.least_off_ms)),
        ("at most on", relay.longest_run_ms and _span(relay.longest_run_ms)),
        ("starts an hour", relay.starts_per_h),
        ("litres a day", relay.daily_litres and f"{relay.daily_litres:g}"),
        ("never with", ", ".join(relay.never_with)),
        ("needs water in", relay.tank),
        ("not with the door open", " " if relay.only_door_closed else ""),
        ("not with people inside", " " if relay.not_with_people else ""),
    ]
    said = "; ".join(f"{name} {value}".strip() for name, value in limits if value)
    if said:
        yield f"    limits: {said}"


def _programme(programme: ProgrammeSettings) -> str:
    when = f"each {programme.every_min} min" if programme.every_min else f"at '{programme.cron}'"
    same = programme.night_run_ms == programme.run_ms
    night = "" if same else f", by night {_span(programme.night_run_ms)}"
    only = ", only while no sensor can be trusted" if programme.when is When.FALLBACK else ""
    return f"  programme {programme.id}: {programme.role} {_span(programme.run_ms)}{night}, {when}{only}"


def _span(ms: int) -> str:
    for unit_ms, unit in ((3_600_000, "h"), (60_000, "min"), (1_000, "s")):
        if ms >= unit_ms and ms % unit_ms == 0:
            return f"{ms // unit_ms} {unit}"
    return f"{ms / 1000:g} s"


def _clock(minutes: int) -> str:
    return f"{minutes // 60:02}:{minutes % 60:02}"


def _many(count: int, noun: str) -> str:
    return f"{count} {noun}{'' if count == 1 else 's'}"
