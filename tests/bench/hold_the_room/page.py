"""Writes docs/reference/hold-the-room.md, all of it: nothing on that page is typed by hand."""

from collections.abc import Mapping, Sequence
from pathlib import Path

from tests.bench.hold_the_room import drills
from tests.bench.hold_the_room.cell import SEEDS, WORDS, Cell
from tests.bench.hold_the_room.goals import by_place, summary
from tests.bench.hold_the_room.table import COLUMNS

DOCUMENT = Path(__file__).resolve().parents[3] / "docs" / "reference" / "hold-the-room.md"
HEAD = """\
# Hold the room: rules beside the limit

Written by `python -m tests.bench.hold_the_room --write`; never edited by hand. {days:g} days in each season
({held_days:g} of set `held-back`), the first six hours not counted, two or three door openings a day, the
flush advancing. Seed {main} for set `main`, {held} for set `held-back`: sizes, drops, weather and labels that
no figure was tuned on; that labels have to be learnt was seen on its tent. All figures come from the true
air of the [simulator](../explanation/trial-run.md), never from a sensor. Rooms and crop are invented; the
weather is the typical year of Greensboro (`main`) and of Sand Point (`held-back`), TMY3 files of the US
National Solar Radiation Data Base.

Band: humidity 85 to 95 %, CO2 at most 1,000 ppm. *Joint*: both at once. A cap is *wet* over 20 g of free
water per square metre. *Limit*: the same plant under perfect knowledge, with a fan of any speed and a nozzle
of any rate.
"""
AIR = ("joint_pct", "humidity_pct", "not_dry_pct", "co2_pct", "temperature_pct", "dry_pct_h_day",
       "wet_pct_h_day", "stale_ppm_h_day", "driest_pct", "longest_dry_min", "wet_cap_h_day",
       "longest_wet_h")  # fmt: skip
PLANT = ("water_kg_day", "drained_kg_day", "fan_h_day", "mist_switchings_h", "fan_switchings_h",
         "heater_switchings_h", "refused_day", "false_alerts_day", "door_median_min",
         "door_p90_min")  # fmt: skip
LONG = {
    "joint_pct": "joint, %", "humidity_pct": "humidity in band, %", "not_dry_pct": "not too dry, %",
    "co2_pct": "CO2 in band, %", "temperature_pct": "temperature in band, %",
    "dry_pct_h_day": "lacking, %RH h a day", "wet_pct_h_day": "over, %RH h a day",
    "stale_ppm_h_day": "CO2 over, ppm h a day", "driest_pct": "driest, %",
    "longest_dry_min": "longest too dry, min", "wet_cap_h_day": "wet caps, h a day",
    "longest_wet_h": "longest wet, h", "water_kg_day": "water, kg a day",
    "drained_kg_day": "drained, kg a day", "fan_h_day": "fan, h a day",
    "mist_switchings_h": "mist, switchings an hour", "fan_switchings_h": "fan, switchings an hour",
    "heater_switchings_h": "heater, switchings an hour", "refused_day": "refused, a day",
    "false_alerts_day": "false alerts, a day", "door_median_min": "after a door, median min",
    "door_p90_min": "after a door, 9 of 10, min",
}  # fmt: skip
DIGITS = {key: digits for key, _, digits in COLUMNS}


def _rows(rows: Sequence[Sequence[str]]) -> str:
    head, *rest = rows
    lines = [head, ["---"] * len(head), *rest]
    return "\n".join("| " + " | ".join(row) + " |" for row in lines)


def _joint(found: Mapping[Cell, Mapping[str, float]]) -> str:
    rules = list(dict.fromkeys(cell.rule for cell in found))
    rows = [["season", "space", *rules]]
    for (season, space), by_rule in by_place(found).items():
        rows.append([season, space, *(f"{by_rule[rule]['joint_pct']:.1f}" for rule in rules)])
    return _rows(rows)


def _all(found: Mapping[Cell, Mapping[str, float]], keys: Sequence[str]) -> str:
    rows = [["season", "space", "rule", *(LONG[key] for key in keys)]]
    for cell, figures in found.items():
        rows.append(
            [cell.season, cell.space, cell.rule, *(f"{figures[key]:.{DIGITS[key]}f}" for key in keys)]
        )
    return _rows(rows)


def _goals(found: Mapping[Cell, Mapping[str, float]]) -> str:
    return _rows([["goal", "bound", "met", "worst", "missed at"], *summary(found)])


def _drills(season: str, told: Mapping[tuple[str, str | None], drills.Told]) -> str:
    rows = [["space", "fault", "told after, min", "goal, min", "lacking, %RH h", "over, %RH h",
             "CO2 over, ppm h", "wet caps, h", "water, kg"]]  # fmt: skip
    for (space, name), one in told.items():
        drill = drills.DRILLS[name] if name else None
        goal = f"{drill.within_min:g}" if drill and drill.within_min else "-"
        minutes = "-" if drill is None else "never" if one.told_min is None else f"{one.told_min:.1f}"
        amounts = [f"{value:.1f}" for value in one.figures.values()]
        rows.append([space, name or "(none)", minutes, goal, *amounts])
    return _rows(rows)


def write(
    main: Mapping[Cell, Mapping[str, float]],
    held: Mapping[Cell, Mapping[str, float]],
    season: str,
    told: Mapping[tuple[str, str | None], drills.Told],
) -> None:
    """Puts the page together and writes it."""
    days = next(iter(main)).days
    legend = _rows([["rule", "what it is"], *([rule, words] for rule, words in WORDS.items())])
    parts = [
        HEAD.format(
            days=days, held_days=next(iter(held)).days, main=SEEDS["main"], held=SEEDS["held-back"]
        ),
        legend,
        "## Goals, set `main`", _goals(main),
        "## Goals, set `held-back`", _goals(held),
        "## Joint in band, %, set `main`", _joint(main),
        "## Joint in band, %, set `held-back`", _joint(held),
        f"## Faults put in on purpose, {season}, set `main`, ours",
        "From the fault's beginning to two hours after its end; the first line of each space is the same "
        "time without a fault. *Told*: a message of the right kind goes out.",
        _drills(season, told),
        "## The air, set `main`", _all(main, AIR),
        "## Water, relays, doors, set `main`", _all(main, PLANT),
        "## The air, set `held-back`", _all(held, AIR),
        "## Water, relays, doors, set `held-back`", _all(held, PLANT),
    ]  # fmt: skip
    DOCUMENT.write_text("\n\n".join(part.strip() for part in parts) + "\n", encoding="utf-8")
