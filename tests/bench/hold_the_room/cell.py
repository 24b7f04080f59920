"""One cell: a space, a season, a rule; from six in the evening for six hours and the scored days."""

from collections.abc import Callable
from dataclasses import dataclass

from tests.bench.hold_the_room.limit import Limit
from tests.bench.hold_the_room.plant import (
    CALIBRATED,
    DAY_MS,
    NONE,
    RAW,
    UNSCORED_MS,
    Errors,
    Plant,
)
from tests.bench.hold_the_room.rules import OnOff, Ours, Rule, Timer
from tests.bench.hold_the_room.seasons import Season
from tests.bench.hold_the_room.spaces import SETS, settings

SEEDS = {"main": 11, "held-back": 77}


@dataclass(frozen=True, slots=True)
class Cell:
    """What is run."""

    season: str
    space: str
    rule: str
    days: float = 14.0
    set: str = "main"
    seed: int | None = None


def _ours(calibrated: bool, right_labels: bool) -> Callable[[Plant], Rule]:
    return lambda plant: Ours(plant, settings(plant.site, calibrated, right_labels))


def _limit(inside: bool, vapour: bool) -> Callable[[Plant], Rule]:
    def make(plant: Plant) -> Rule:
        limit = Limit(plant, 3.0 if inside else 0.0, 50.0 if inside else 0.0, vapour)
        plant.continuous = limit.drive
        return limit

    return make


RULES: dict[str, tuple[Errors, Callable[[Plant], Rule]]] = {
    "timer": (CALIBRATED, Timer),
    "onoff": (CALIBRATED, OnOff),
    "ours": (CALIBRATED, _ours(True, False)),
    "ours-raw": (RAW, _ours(False, False)),
    "ours-true": (NONE, _ours(True, True)),
    "limit": (NONE, _limit(False, False)),
    "limit-inside": (NONE, _limit(True, False)),
    "limit-vapour": (NONE, _limit(False, True)),
    "limit-vapour-inside": (NONE, _limit(True, True)),
}
"""By name: how far its sensors are off, and what it is."""
WORDS = {
    "timer": "mist every 15 min and fan every hour by the clock",
    "onoff": "on and off at two values, calibrated sensors",
    "ours": "ours: calibrated sensors, labels wrong by up to 40 %",
    "ours-raw": "ours: sensors as bought (3 %RH, 50 ppm, 0.5 K off), labels wrong",
    "ours-true": "ours: perfect sensors, right labels",
    "limit": "limit, through the same nozzle, at the edge",
    "limit-inside": "limit, same nozzle, 3 %RH and 50 ppm inside the edge",
    "limit-vapour": "limit, pure vapour, at the edge",
    "limit-vapour-inside": "limit, pure vapour, 3 %RH and 50 ppm inside",
}


def plant_of(cell: Cell) -> Plant:
    seed = SEEDS[cell.set] if cell.seed is None else cell.seed
    season = Season(cell.season, cell.days + 1, seed, cell.set)
    return Plant(SETS[cell.set][cell.space], season, seed, RULES[cell.rule][0], cell.days)


def drive(plant: Plant, rule: Rule, end_ms: int) -> None:
    """Runs the plant under the rule: sensors report, the rule is woken when it wants to be."""
    if plant.continuous is not None:
        plant.advance(end_ms)  # perfect knowledge asks no sensor
        return
    while True:
        sensor, report_ms = plant.next_report()
        due = rule.due_ms()
        soonest = report_ms if due is None else min(report_ms, max(due, plant.at_ms))
        if soonest >= end_ms:
            break
        plant.advance(soonest)
        if due is not None and due <= soonest:
            rule.wake(soonest)
            continue
        value = plant.report(sensor)
        if value is not None:
            rule.read(soonest, sensor, value)
    plant.advance(end_ms)


def run(cell: Cell) -> dict[str, float]:
    """The cell's figures of merit."""
    plant = plant_of(cell)
    rule = RULES[cell.rule][1](plant)
    drive(plant, rule, UNSCORED_MS + int(cell.days * DAY_MS))
    return plant.merits.figures()
