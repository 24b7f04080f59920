"""The cells' figures as a table."""

from collections.abc import Mapping

from tests.bench.hold_the_room.cell import Cell

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
    ("water_kg_day", "kg/d", 1),
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


def table(found: Mapping[Cell, Mapping[str, float]]) -> str:
    head = ["season", "space", "rule", *(head for _, head, _ in COLUMNS)]
    rows = [
        [cell.season, cell.space, cell.rule, *(f"{figures[key]:.{digits}f}" for key, _, digits in COLUMNS)]
        for cell, figures in found.items()
    ]
    widths = [max(len(row[place]) for row in (head, *rows)) for place in range(len(head))]
    return "\n".join(
        "  ".join(word.rjust(width) for word, width in zip(row, widths, strict=True)) for row in (head, *rows)
    )
