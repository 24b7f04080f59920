"""One cell, ten minutes a line: the true air, what ran, and what the farm's rules said. To look into."""

from collections.abc import Iterator

from tests.bench.hold_the_room.cell import RULES, Cell, drive, plant_of
from tests.bench.hold_the_room.plant import DAY_MS, UNSCORED_MS
from tests.bench.hold_the_room.rules import Ours, Rule

EVERY_MS = 600_000


def lines(cell: Cell) -> Iterator[str]:
    """What to print, line by line, as the cell runs."""
    plant = plant_of(cell)
    rule = RULES[cell.rule][1](plant)
    before = dict.fromkeys(plant.on, 0.0)
    end_ms = UNSCORED_MS + int(cell.days * DAY_MS)
    for at_ms in range(EVERY_MS, end_ms + 1, EVERY_MS):
        drive(plant, rule, at_ms)
        room, out = plant.room, plant.room.outside
        ran = {relay: (plant.ran_s[relay] - before[relay]) * 1e5 / EVERY_MS for relay in plant.on}
        before = dict(plant.ran_s)
        yield (
            f"{at_ms / 3_600_000:7.2f} h  {room.humidity_pct:5.1f} %  {room.temperature_c:5.1f} C "
            f"{room.co2_ppm:5.0f} ppm  film {room.crop_film_g_m2:5.1f}  out {out.temperature_c:5.1f} C "
            f"{1000 * out.ratio:5.1f} in {1000 * room.ratio:5.1f} g/kg  "
            + "  ".join(f"{relay} {share:5.1f} %" for relay, share in ran.items())
            + _said(rule, cell.space)
        )


def _said(rule: Rule, space: str) -> str:
    if not isinstance(rule, Ours):
        return ""
    known = rule.farm._state.spaces[space]
    modes = f"{known.mist.mode} / {known.air.mode}"
    names = ("trim_kg_h", "owed_ms", "film_g_m2", "unseen_kg")
    kept = {name: getattr(known.mist, name) for name in names if hasattr(known.mist, name)}
    return f"  {modes} {kept}"
