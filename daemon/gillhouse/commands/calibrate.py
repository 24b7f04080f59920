"""`gillhouse calibrate`: a sensor held against something known, guided or with the figures at hand.

Here: the questions, and what is recorded. Not here: salt and fresh air in words (`salt_jar`), the arithmetic
(`core.calibration`). The correction is an input like any other: to the running daemon, or straight into the
store where none runs.
"""

import getpass
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import click

from gillhouse.audit.evidence import config_at
from gillhouse.audit.told import day
from gillhouse.audit.wording import reason_words
from gillhouse.clock import Clock, SystemClock
from gillhouse.commands import salt_jar
from gillhouse.commands.options import default_state, state_option
from gillhouse.config import Config
from gillhouse.core import calibration as cal
from gillhouse.core.greenspan import SALTS
from gillhouse.core.quantities import MEASURES, Quantity
from gillhouse.core.reasons import Reason
from gillhouse.core.settings import SensorSettings
from gillhouse.core.snapshot import from_plain, to_plain
from gillhouse.errors import GillhouseError, LocalError
from gillhouse.local import SOCKET_NAME, ask
from gillhouse.record import record_only, status_as_left
from gillhouse.requests import CHECKS
from gillhouse.store import JOURNAL
from gillhouse.store.reader import Reader

AWAY_MS = 12 * 3_600_000
"""A board in its jar steers nothing for so long, unless it is said to be back before."""

REFUSALS = (Reason.UNKNOWN_SUBJECT, Reason.NOTHING_TO_UNDO)
"""Answers to a request; every other refusal is a relay's, and only happened at the same moment."""

UNIT = salt_jar.UNIT


@dataclass(frozen=True, slots=True)
class Desk:
    """The farm, the sensor on it, and where what is found is recorded."""

    state: Path
    clock: Clock
    config: Config
    sensor: SensorSettings
    yes: bool
    """Nobody is asked anything."""

    @property
    def mates(self) -> tuple[str, ...]:
        """The sensors that go with it into the jar. A door's or tank's switch stays where it is wired."""
        measuring = {one.sensor: one.topic for one in self.config.routes if not MEASURES[one.quantity].on_off}
        return salt_jar.board_mates(measuring, self.sensor.id)

    def sure(self, question: str) -> None:
        if not self.yes:
            click.confirm(question, default=True, abort=True)


@click.command()
@click.argument("sensor", required=False)
@click.option("--salt", "salts", multiple=True, type=click.Choice(list(SALTS)), help="What is in the jar.")
@click.option(
    "--temperature",
    "temperatures",
    multiple=True,
    type=float,
    help="Of the jar, degrees C; one for all or each.",
)
@click.option("--fresh-air", is_flag=True, help="A CO2 sensor in outdoor air.")
@click.option(
    "--ppm",
    type=float,
    default=cal.FRESH_AIR_PPM,
    show_default=True,
    help="CO2 of that air, if you know better.",
)
@click.option("--beside", type=float, help="What a better instrument right beside it says.")
@click.option("--offset", type=float, help="Add so much to every reading, by your own judgement.")
@click.option(
    "--read",
    "reads",
    multiple=True,
    type=float,
    help="What the sensor said there at rest, uncorrected; one for each salt. Without it, it is watched.",
)
@click.option("--waited", type=float, default=0.0, help="It has been there for so many minutes already.")
@click.option("--alone", is_flag=True, help="Do not put it together with a salt jar of the last 30 days.")
@click.option("--undo", is_flag=True, help="Take the last check back; the one before counts again.")
@click.option("--out", "taken_out", is_flag=True, help="Its board is out of its place: it steers nothing.")
@click.option("--back", is_flag=True, help="Its board is back in its place.")
@click.option("--show", is_flag=True, help="How every sensor was checked, and when it is due.")
@click.option("--yes", is_flag=True, help="Ask nothing.")
@state_option
def command(sensor: str | None, state_dir: Path | None, show: bool, yes: bool, **said: Any) -> None:
    """Hold a sensor against salt, fresh air or a better instrument.

    Readings are kept as they came and corrected from then on. Without options it guides you and waits until
    the sensor is at rest.

    Example: gillhouse calibrate tent-rh
    """
    state, clock = state_dir or default_state(), SystemClock()
    if sensor is None or show:
        click.echo("\n".join(_shown(_status(state, clock), sensor, _zone(state, clock))))
        return
    desk = _desk(state, clock, sensor, yes)
    if said["undo"]:
        _say(hand_in(state, {"ask": "calibrate", "sensor": sensor, "calibration": None}, clock))
    elif said["taken_out"] or said["back"]:
        _move(desk, AWAY_MS if said["taken_out"] else 0)
    else:
        _check(desk, said)


def _desk(state: Path, clock: Clock, sensor: str, yes: bool) -> Desk:
    with Reader(state / JOURNAL) as reader:
        config = config_at(reader, clock.now().wall_ms)
    settings = config.farm.sensors.get(sensor)
    able = [one.id for one in config.farm.sensors.values() if one.quantity in cal.DUE_AFTER_MS]
    if settings is None or settings.id not in able:
        raise click.ClickException(
            f"no sensor {sensor!r} that can be calibrated; there are: {', '.join(able)}"
        )
    return Desk(state, clock, config, settings, yes)


# --- points --------------------------------------------------------------------------------------------


def _check(desk: Desk, said: dict[str, Any]) -> None:
    """From what was said, or from watching, to a correction in force."""
    try:
        points = list(_given(desk, said))
    except ValueError as error:
        raise click.ClickException(str(error)) from error
    guided = not points
    if guided:
        points = _watched(desk, said)
    if len(points) == 1 and not said["alone"]:
        points = list(cal.with_earlier(_last(desk), points[0]))
        if len(points) == 2:
            click.echo("Put together with the salt jar of the last 30 days (--alone to leave that out).")
    _record(desk, points)
    if guided:
        click.echo("Wipe nothing, let it dry if it is damp, and hang it back in its place.")
        desk.sure("Is it back in its place?")
        _move(desk, 0)


def _given(desk: Desk, said: dict[str, Any]) -> Iterator[cal.Point]:
    """The points that need no watching."""
    quantity, now_ms = desk.sensor.quantity, desk.clock.now().wall_ms
    reads: Sequence[float] = said["reads"]
    _fitting(quantity, said)
    if said["offset"] is not None:
        read = cal.WORKING[quantity]
        error = 2 * cal.READ_ERROR[quantity]
        yield cal.Point(read + said["offset"], read, error, "an offset given by hand", now_ms)
        return
    if not reads:
        return
    if said["salts"]:
        warm = said["temperatures"] if len(said["temperatures"]) > 1 else said["temperatures"] * len(reads)
        if not len(said["salts"]) == len(reads) == len(warm):
            raise ValueError("give one --read for each --salt, and one --temperature for all or for each")
        for salt, temperature, read in zip(said["salts"], warm, reads, strict=True):
            yield cal.salt_point(salt, temperature, read, now_ms)
        return
    if len(reads) != 1:
        raise ValueError("one --read is enough where there is no salt")
    if said["fresh_air"]:
        yield cal.fresh_air_point(reads[0], now_ms, said["ppm"])
    elif said["beside"] is not None:
        yield cal.beside_point(quantity, said["beside"], reads[0], now_ms)
    else:
        raise ValueError("say what it was held against: --salt, --fresh-air or --beside")


def _fitting(quantity: Quantity, said: dict[str, Any]) -> None:
    """Refuses what this quantity cannot be held against."""
    ways = {"salts": Quantity.HUMIDITY, "fresh_air": Quantity.CO2}
    for way, meant in ways.items():
        if said[way] and quantity is not meant:
            raise ValueError(
                f"--{way.removesuffix('s').replace('_', '-')} is for {meant}, this sensor is {quantity}"
            )
    chosen = [name for name in ("salts", "fresh_air") if said[name]]
    chosen += [name for name in ("beside", "offset") if said[name] is not None]
    if len(chosen) > 1:
        raise ValueError("hold it against one thing at a time: --salt, --fresh-air, --beside or --offset")


def _watched(desk: Desk, said: dict[str, Any]) -> list[cal.Point]:
    """The points that come of guiding a person and watching the sensor."""
    if desk.sensor.quantity is Quantity.HUMIDITY and said["beside"] is None:
        return _jars(desk, said)
    return [_one_place(desk, said)]


def _jars(desk: Desk, said: dict[str, Any]) -> list[cal.Point]:
    salts = list(said["salts"]) or ["sodium-chloride", "potassium-sulfate"]
    points = []
    for place, salt in enumerate(salts):
        if (
            place
            and not said["salts"]
            and not click.confirm(
                f"A second jar with {SALTS[salt].name} makes it right near 90 % too. Go on with it now?"
            )
        ):
            break
        _tell(salt_jar.jar_steps(salt))
        desk.sure("Is the sensor in its closed jar?")
        _move(desk, AWAY_MS)
        least_min = max(SALTS[salt].least_wait_min - said["waited"], 0.0)
        read = _settled(desk, least_min)
        temperature = _temperature(desk, said["temperatures"], place)
        points.append(cal.salt_point(salt, temperature, read, desk.clock.now().wall_ms))
    return points


def _temperature(desk: Desk, given: Sequence[float], place: int) -> float:
    """Of the jar: as told, or by the thermometer on the same board if the person agrees."""
    if given:
        return given[min(place, len(given) - 1)]
    for name in desk.mates:
        settings = desk.config.farm.sensors[name]
        if settings.quantity is Quantity.TEMPERATURE:
            found = salt_jar.newest(desk.state / JOURNAL, settings, desk.clock.now().wall_ms)
            if found is not None:
                shown = round(found, 1)
                return shown if desk.yes else click.prompt("Temperature of the jar, C", shown, type=float)
    if desk.yes:
        raise click.ClickException("no thermometer on its board: give --temperature")
    told: float = click.prompt("Temperature of the jar, C", type=float)
    return told


def _one_place(desk: Desk, said: dict[str, Any]) -> cal.Point:
    quantity = desk.sensor.quantity
    if quantity is Quantity.CO2 and said["beside"] is None:
        steps, least_min = salt_jar.fresh_air_steps(desk.sensor.self_calibrating), salt_jar.FRESH_AIR_WAIT_MIN
    else:
        steps, least_min = salt_jar.beside_steps(), salt_jar.BESIDE_WAIT_MIN
    _tell(steps)
    desk.sure("Is it there?")
    _move(desk, AWAY_MS)
    read, now_ms = _settled(desk, max(least_min - said["waited"], 0.0)), desk.clock.now().wall_ms
    if quantity is Quantity.CO2 and said["beside"] is None:
        return cal.fresh_air_point(read, now_ms, said["ppm"])
    true = said["beside"]
    if true is None:
        true = click.prompt(f"What does the better instrument say now, {UNIT[quantity]}", type=float)
    return cal.beside_point(quantity, true, read, now_ms)


def _settled(desk: Desk, least_min: float) -> float:
    click.echo("Watching it until it is at rest. Ctrl-C leaves; nothing is lost but the wait.")
    return salt_jar.watch(desk.state / JOURNAL, desk.sensor, desk.clock, least_min, click.echo)


def _tell(steps: Iterator[str]) -> None:
    for line in steps:
        click.echo(line)


# --- recording -----------------------------------------------------------------------------------------


def _record(desk: Desk, points: Sequence[cal.Point]) -> None:
    quantity, unit = desk.sensor.quantity, UNIT[desk.sensor.quantity]
    known = cal.calibration(quantity, points, desk.clock.now().wall_ms)
    for point in points:
        click.echo(f"{point.against} is {point.reference:.1f} {unit}; {desk.sensor.id} said {point.read:.1f}")
    at = cal.WORKING[quantity]
    click.echo(f"{at:g} {unit} becomes {cal.correct(known, at):.1f}; left about +/- {known.error:.1f} {unit}")
    if quantity is Quantity.HUMIDITY and len(points) == 1:
        click.echo("One jar shifts the whole scale; a second one makes it right at both ends.")
    desk.sure("Correct its readings by that from now on?")
    request = {"ask": "calibrate", "sensor": desk.sensor.id, "calibration": to_plain(known)}
    _say(hand_in(desk.state, request, desk.clock))
    click.echo(f"due again {day(known.due_ms, desk.config.farm.zone)}")


def _move(desk: Desk, for_ms: int) -> None:
    request = {"ask": "away", "sensors": list(desk.mates), "for_ms": for_ms}
    hand_in(desk.state, request, desk.clock)
    names = ", ".join(desk.mates)
    sensors = desk.config.farm.sensors
    if for_ms and any(sensors[name].quantity is Quantity.CO2 for name in desk.mates):
        click.echo(
            "CAUTION: it also measures CO2, and warns of nothing meanwhile: air the space before you go in."
        )
    click.echo(
        f"{names}: out of place, steering nothing for {for_ms // 3_600_000} h or until `--back`"
        if for_ms
        else f"{names}: back in place"
    )


def hand_in(state: Path, request: dict[str, Any], clock: Clock) -> dict[str, Any]:
    """Gives a request of `requests.CHECKS` to the running daemon or, where none runs, records it directly.

    Returns: what came of it, as plain JSON values.
    Raises:
        ClickException: it was refused.
    """
    if (state / SOCKET_NAME).exists():
        outcome = ask(state, request)
    elif not state.exists():
        raise LocalError(f"no journal in {state}: give --state, or start `gillhouse run` once")
    else:
        item = CHECKS[request["ask"]](request, getpass.getuser())
        outcome = to_plain(record_only(state / JOURNAL, item, clock))
    for event in outcome["events"]:
        if event["kind"] == "refused" and Reason(event["reason"]) in REFUSALS:
            raise click.ClickException(reason_words(Reason(event["reason"]), event["facts"]))
    return outcome


def _say(outcome: dict[str, Any]) -> None:
    for event in outcome["events"]:
        if event["reason"] in (Reason.CALIBRATED.value, Reason.CALIBRATION_UNDONE.value):
            click.echo(reason_words(Reason(event["reason"]), event["facts"]))


# --- showing -------------------------------------------------------------------------------------------


def _status(state: Path, clock: Clock) -> dict[str, Any]:
    try:
        return ask(state, {"ask": "status"})
    except LocalError:
        return status_as_left(state / JOURNAL, clock)


def _zone(state: Path, clock: Clock) -> Any:
    with Reader(state / JOURNAL) as reader:
        return config_at(reader, clock.now().wall_ms).farm.zone


def _last(desk: Desk) -> cal.Calibration | None:
    plain = _status(desk.state, desk.clock)["sensors"][desk.sensor.id]["calibration"]
    return None if plain is None else from_plain(cal.Calibration, plain)


def _shown(status: dict[str, Any], only: str | None, zone: Any) -> Iterator[str]:
    if only is not None and only not in status["sensors"]:
        raise GillhouseError(f"no sensor {only!r}; there are: {', '.join(status['sensors'])}")
    for name, one in status["sensors"].items():
        if Quantity(one["quantity"]) not in cal.DUE_AFTER_MS or only not in (None, name):
            continue
        unit = UNIT[Quantity(one["quantity"])]
        sure = f"+/- {one['error']:.1f} {unit}" if one["error"] else "no error stated"
        book = "in date" if one["calibrated"] else "NOT CALIBRATED"
        away = ", OUT OF ITS PLACE" if one["away_until_ms"] else ""
        plain = one["calibration"]
        if plain is None:
            yield f"{name:<16} {book}{' by the config' if one['calibrated'] else ''}, {sure}{away}"
            continue
        known = from_plain(cal.Calibration, plain)
        against = " and ".join(point.against for point in known.points)
        made, due = (day(ms, zone) for ms in (known.made_ms, known.due_ms))
        book = book if one["calibrated"] else "OVERDUE"
        line = f"reading x {known.slope:.3f} {known.offset:+.2f} {unit}"
        yield f"{name:<16} {book}, {sure}{away}: {line}"
        yield f"{'':<16} by {known.who or 'somebody'}, {made}, against {against}; due {due}"
