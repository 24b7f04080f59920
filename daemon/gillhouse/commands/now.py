"""`gillhouse now`: what each space is doing, and why. From the running daemon, or the store's last word."""

import json
from pathlib import Path
from typing import Any

import click

from gillhouse.alerts.wording import plain
from gillhouse.audit.corrections import Corrections, corrections
from gillhouse.audit.evidence import config_at
from gillhouse.audit.wording import DOUBT_WORD, capital, reason_words
from gillhouse.clock import SystemClock
from gillhouse.commands import mode_told, water_told
from gillhouse.commands.batch_told import brief
from gillhouse.commands.options import default_state, since, state_option
from gillhouse.core import crop_status
from gillhouse.core.alarm_kinds import KINDS
from gillhouse.core.in_force import in_force
from gillhouse.core.quantities import Quantity
from gillhouse.core.reasons import WORDS, Reason
from gillhouse.core.settings import FarmSettings, SpaceSettings
from gillhouse.core.truth import AT_LEAST_PCT
from gillhouse.errors import LocalError
from gillhouse.local import ask
from gillhouse.records.crops_then import crops_at
from gillhouse.store import JOURNAL
from gillhouse.store.reader import Reader

LAST = 1 << 62
"""No input has a greater number."""

SHOWN = {
    # quantity: (heading, unit, decimals)
    "humidity": ("humidity", "%", 1),
    "temperature": ("temperature", "C", 1),
    "co2": ("CO2", "ppm", 0),
}


SWITCHED = {
    Quantity.DOOR.value: ("closed", "open"),
    Quantity.PEOPLE.value: ("nobody inside", "somebody inside"),
    Quantity.TANK.value: ("empty", "has water"),
}
"""What a switch's two values mean."""


@click.command()
@click.option("--json", "as_json", is_flag=True, help="For another program.")
@state_option
def command(as_json: bool, state_dir: Path | None) -> None:
    """What each space is doing, and why.

    Example: gillhouse now
    """
    state = state_dir or default_state()
    try:
        status = ask(state, {"ask": "status"})
    except LocalError as error:
        click.echo(f"{error}\nThe last words in the journal:\n", err=True)
        status = _from_store(state)
    click.echo(json.dumps(status, indent=1, sort_keys=True) if as_json else "\n".join(_lines(status)))


def _from_store(state: Path) -> dict[str, Any]:
    """The newest reading of every sensor, in the shape of a status; nothing is known of relays."""
    clock_ms = SystemClock().now().wall_ms
    with Reader(state / JOURNAL) as reader:
        config = config_at(reader, clock_ms).farm
        segment = reader.newest_segment()
        crops = crops_at(reader, [segment] if segment else [], clock_ms, lambda _: config)
        farm = in_force(config, crops)
        truth = corrections(reader, clock_ms, LAST)
        spaces: dict[str, Any] = {}
        for space in farm.spaces.values():
            spaces[space.id] = {
                "name": space.name,
                "stage": space.stage.value,
                "species": space.species,
                "batches": crop_status.batches(config, crops, space.id, clock_ms),
                "bands_moving_h": crop_status.moving_h(config, crops, space.id, clock_ms),
                "quantities": _newest((reader, truth), farm, space, clock_ms),
                "relays": {},
                "alarms": [],
                "next_action_s": None,
            }
    return {"spaces": spaces, "links": {}, "alarms": [], "findings": []}


def _newest(
    kept: tuple[Reader, Corrections], farm: FarmSettings, space: SpaceSettings, clock_ms: int
) -> dict[str, Any]:
    quantities: dict[str, Any] = {}
    reader, truth = kept
    for sensor in farm.sensors.values():
        last = reader.last(sensor.id) if sensor.space == space.id else None
        if last is None or sensor.quantity.value in quantities:
            continue
        band = space.bands.get(sensor.quantity)
        (last,) = truth.corrected(sensor, [last])
        quantities[sensor.quantity.value] = {
            "value": last.value,
            "quality": last.quality.name,
            "mark": last.mark.value,
            "age_s": (clock_ms - last.ts) / 1000,
            "sensor": sensor.id,
            "held": False,
            "low": band.low if band else None,
            "high": band.high if band else None,
        }
    return quantities


def _lines(status: dict[str, Any]) -> list[str]:
    lines = []
    now_ms = SystemClock().now().wall_ms
    for ident, space in status["spaces"].items():
        name = plain(space["name"])
        lines.append(f"{name.upper()}  ({ident})  {space['species']}, {space['stage']}")
        lines += [f"  {words}" for one in space["batches"] for words in brief(one)]
        lines += [f"  {words}" for words in mode_told.modes(space.get("modes", []))]
        lines += [f"  {words}" for words in mode_told.breathed(space.get("air_breathed"))]
        if space["bands_moving_h"] is not None:
            lines.append(f"  wished air on its way, there in {space['bands_moving_h']:g} h")
        lines += [f"  {words}" for words in _air(space["quantities"])]
        lines += [f"  {words}" for words in water_told.caps(space.get("caps"), now_ms)]
        lines += [f"  {_relay(relay, one)}" for relay, one in space["relays"].items()]
        lines += [f"  {words}" for words in water_told.lines(space.get("lines", {}))]
        lines.append("")
    if not status.get("clock_set", True):
        lines.append("The clock of this box is not set: light, timed programmes and dates go by a wrong time")
    for link, one in status["links"].items():
        if not one["up"]:
            lines.append(f"{link}: gone ({plain(one['detail'])})")
    lines += [
        f"! {KINDS[alarm['kind']].title}, since {since(alarm['since_ms'])}  ({alarm['alarm']})"
        for alarm in status["alarms"]
    ]
    for one in status.get("held", []):
        still = "" if one["still"] else f"; over: gillhouse reset {one['subject']}"
        lines.append(f"! {one['subject']} is kept off: {one['words']}{still}")
    lines += [f"- {words}" for words in status.get("reminders", [])]
    for one in status["findings"]:
        words = reason_words(Reason(one["reason"]), one["facts"])
        lines.append(f"? {capital(words)}, since {since(one['since_ms'])}")
    return lines or ["nothing is known yet"]


def _air(quantities: dict[str, Any]) -> list[str]:
    words = []
    for key, one in quantities.items():
        heading, unit, decimals = SHOWN.get(key, (key, "", 1))
        if one["value"] is None:
            words.append(f"{heading:<12} not known (last heard {_age(one['age_s'])} ago)")
            continue
        wanted = _wanted(one["low"], one["high"])
        doubt = "" if one["quality"] == "GOOD" else f"  doubtful: {DOUBT_WORD.get(one['mark'], one['mark'])}"
        value = (
            SWITCHED[key][one["value"] >= 0.5] if key in SWITCHED else f"{one['value']:.{decimals}f} {unit}"
        )
        if one.get("at_least"):
            value = f"{AT_LEAST_PCT:g} {unit} or more (reads {one['value']:.{decimals}f})"
        words.append(f"{heading:<12} {value}{wanted}{doubt}  {_age(one['age_s'])} ago")
        if one.get("wished") is not None:
            words.append(
                f"{'':<12} kept near {one['held_at']:g} {unit}; {one['wished']:g} is only wished for until"
                " `gillhouse calibrate` has checked a sensor"
            )
    return words


def _wanted(low: float | None, high: float | None) -> str:
    if low is not None and high is not None:
        return f"  wanted {low:g}-{high:g}"
    if high is not None:
        return f"  wanted under {high:g}"
    return "" if low is None else f"  wanted over {low:g}"


def _relay(relay: str, one: dict[str, Any]) -> str:
    state = "ON " if one["on"] else "off"
    until = f", {_age(one['until_s'])} more" if one["until_s"] is not None else ""
    advice = " (advice only)" if one["advise"] else ""
    return f"{relay:<20} {state}{until}{advice}  {_why(one)}"


def _why(one: dict[str, Any]) -> str:
    try:
        return WORDS[Reason(one["why"])].format(**one["facts"])
    except (KeyError, ValueError, TypeError):
        return str(one["why"])


def _age(seconds: float) -> str:
    for length, unit in ((86_400, "d"), (3_600, "h"), (60, "min")):
        if seconds >= 2 * length:
            return f"{seconds / length:.0f} {unit}"
    return f"{seconds:.0f} s"
