"""Faults put in on purpose under our rules: what the air and the caps paid, and minutes to the right alert.

A drill begins on the second evening, lasts two hours (a broker outage one) and is counted until two hours
after its end. The same cell without any fault stands beside it, so what the fault cost is a difference.
"""

from collections.abc import Callable
from dataclasses import dataclass

from tests.bench.hold_the_room.cell import RULES, Cell, drive, plant_of
from tests.bench.hold_the_room.merits import Merits
from tests.bench.hold_the_room.plant import HOUR_MS, Plant
from tests.bench.hold_the_room.rules import Ours

from gillhouse.core.inputs import Link, LinkChange
from gillhouse.core.outputs import Transition
from gillhouse.sim.sensors import Health

BEGIN_MS = 25 * HOUR_MS
AFTER_MS = 2 * HOUR_MS
MIST_GONE = ("mist-without-effect", "relay-silent", "tank-empty")
MIST_ON = ("mist-unasked", "relay-stuck")
FAN_GONE = ("fan-without-effect", "relay-silent")
FAN_ON = ("fan-unasked", "relay-stuck")


def _health(sensor: str, health: Health) -> Callable[[Plant, Ours], None]:
    def do(plant: Plant, rule: Ours) -> None:
        plant.sensors[sensor].health = health

    return do


def _stuck(relay: str, closed: bool | None) -> Callable[[Plant, Ours], None]:
    def do(plant: Plant, rule: Ours) -> None:
        if closed is None:
            plant.stuck.pop(relay, None)
        else:
            plant.stuck[relay] = closed

    return do


def _tank(full: bool, told: bool) -> Callable[[Plant, Ours], None]:
    def do(plant: Plant, rule: Ours) -> None:
        plant.tank_full, plant.tank_told = full, told

    return do


def _broker(up: bool) -> Callable[[Plant, Ours], None]:
    def do(plant: Plant, rule: Ours) -> None:
        plant.online = up
        rule.feed(plant.at_ms, LinkChange(Link.BROKER, up, "drill"))

    return do


@dataclass(frozen=True, slots=True)
class Drill:
    begin: Callable[[Plant, Ours], None]
    end: Callable[[Plant, Ours], None]
    right: tuple[str, ...]
    """Kinds of alarm that name the fault."""
    within_min: float | None
    """The goal; None: none is set."""
    hours: float = 2.0


_WELL = Health.WELL
DRILLS = {
    "humidity sensor silent": Drill(_health("rh", Health.DEAD), _health("rh", _WELL), ("sensor-silent",), 3),
    "humidity sensor frozen": Drill(_health("rh", Health.FROZEN), _health("rh", _WELL), ("sensor-flat",), 20),
    "CO2 sensor silent": Drill(_health("co2", Health.DEAD), _health("co2", _WELL), ("sensor-silent",), 3),
    "fan stuck off": Drill(_stuck("fan", False), _stuck("fan", None), FAN_GONE, 10),
    "fan stuck on": Drill(_stuck("fan", True), _stuck("fan", None), FAN_ON, 10),
    "mist stuck on": Drill(_stuck("mist", True), _stuck("mist", None), MIST_ON, 10),
    "mist stuck off": Drill(_stuck("mist", False), _stuck("mist", None), MIST_GONE, 10),
    "tank empty": Drill(_tank(False, False), _tank(True, True), ("tank-empty",), 15),
    "tank empty, its switch stuck": Drill(_tank(False, True), _tank(True, True), MIST_GONE, 15),
    "broker gone for an hour": Drill(_broker(False), _broker(True), ("broker-lost",), None, 1.0),
}


@dataclass(frozen=True, slots=True)
class Told:
    """What a drill cost, from its beginning to two hours after its end, and when somebody was called."""

    told_min: float | None
    figures: dict[str, float]


def run(name: str | None, season: str, space: str, set: str = "main") -> Told:
    """One drill under our rules.

    Args:
        name: a key of `DRILLS`; None: no fault, counted over the time of a two hours' drill.
    """
    cell = Cell(season, space, "ours", 2.0, set)
    plant = plant_of(cell)
    rule = RULES["ours"][1](plant)
    assert isinstance(rule, Ours)
    drill = DRILLS[name] if name else None
    end_ms = BEGIN_MS + int((drill.hours if drill else 2.0) * HOUR_MS)
    plant.merits = Merits(BEGIN_MS, plant.site.low_c, plant.site.high_c)
    if drill:
        plant.at(BEGIN_MS, lambda: drill.begin(plant, rule))
        plant.at(end_ms, lambda: drill.end(plant, rule))
    drive(plant, rule, end_ms + AFTER_MS)
    told = [
        (at_ms - BEGIN_MS) / 60_000.0
        for at_ms, notice in rule.notices
        if drill and at_ms >= BEGIN_MS and notice.kind in drill.right
        and notice.transition is Transition.ACT and notice.announce
    ]  # fmt: skip
    return Told(min(told, default=None), plant.merits.amounts())
