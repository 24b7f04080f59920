"""The figures as tables for a terminal."""

from collections.abc import Mapping, Sequence

from tests.bench.hold_the_room.cell import Cell
from tests.bench.hold_the_room.drills import DRILLS, Told

COLUMNS = (
    ("joint_pct", "joint %", 1),
    ("humidity_pct", "RH in %", 1),
    ("not_dry_pct", "not dry %", 1),
    ("co2_pct", "CO2 in %", 1),
    ("temperature_pct", "T in %", 1),
    ("dry_pct_h_day", "dry %h/d", 2),
    ("wet_pct_h_day", "over %h/d", 2),
    ("stale_ppm_h_day", "ppm h/d", 0),
    ("driest_pct", "driest", 1),
    ("longest_dry_min", "dry min", 0),
    ("wet_cap_h_day", "wet h/d", 2),
    ("longest_wet_h", "wet run h", 1),
    ("water_kg_day", "kg/d", 2),
    ("drained_kg_day", "drain", 1),
    ("fan_h_day", "fan h/d", 2),
    ("mist_switchings_h", "mist /h", 1),
    ("fan_switchings_h", "fan /h", 1),
    ("heater_switchings_h", "heat /h", 1),
    ("refused_day", "refused", 1),
    ("false_alerts_day", "false", 2),
    ("door_median_min", "door", 1),
    ("door_p90_min", "p90", 1),
)
"""Key, head, digits."""


def _lines(rows: Sequence[Sequence[str]]) -> str:
    widths = [max(len(row[place]) for row in rows) for place in range(len(rows[0]))]
    return "\n".join(
        "  ".join(word.rjust(width) for word, width in zip(row, widths, strict=True)) for row in rows
    )


def table(found: Mapping[Cell, Mapping[str, float]]) -> str:
    """One row a cell."""
    rows = [["season", "space", "rule", *(head for _, head, _ in COLUMNS)]]
    rows += [
        [cell.season, cell.space, cell.rule, *(f"{figures[key]:.{digits}f}" for key, _, digits in COLUMNS)]
        for cell, figures in found.items()
    ]
    return _lines(rows)


def drill_table(told: Mapping[tuple[str, str | None], Told]) -> str:
    """One row a fault."""
    rows = [["space", "fault", "told min", "goal", *next(iter(told.values())).figures]]
    for (space, name), one in told.items():
        goal = DRILLS[name].within_min if name else None
        minutes = "-" if one.told_min is None else f"{one.told_min:.1f}"
        amounts = [f"{value:.2f}" for value in one.figures.values()]
        rows.append([space, name or "(none)", minutes, f"{goal or '-'}", *amounts])
    return _lines(rows)
