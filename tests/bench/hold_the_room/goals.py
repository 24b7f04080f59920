"""The goals, each a figure of one cell beside its limit's; met, missed, or not to be asked there."""

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass

from tests.bench.hold_the_room.cell import Cell

Figures = Mapping[str, float]
Rules = Mapping[str, Figures]
"""Of one space and season: figures by rule."""
NEEDED = ("ours", "ours-true", "limit", "limit-inside")
"""Rules without which no goal can be told."""


@dataclass(frozen=True, slots=True)
class Goal:
    words: str
    bound: float
    at_least: bool
    of: Callable[[Rules], float | None]
    """The cell's figure; None where the goal does not apply."""
    open_too: bool = True
    """It is asked of an open space too."""
    digits: int = 1

    def met(self, value: float) -> bool:
        return value >= self.bound if self.at_least else value <= self.bound


def _best(rules: Rules, key: str) -> float:
    return max(rules["limit"][key], rules["limit-inside"][key])


def _ratio(key: str, limit: str) -> Callable[[Rules], float | None]:
    def of(rules: Rules) -> float | None:
        least = rules[limit][key]
        return rules["ours"][key] / least if least > 0.05 else None

    return of


def _own(key: str) -> Callable[[Rules], float | None]:
    return lambda rules: rules["ours"][key]


def _joint(rules: Rules) -> float | None:
    best = _best(rules, "joint_pct")
    return rules["ours"]["joint_pct"] / best if best else None


def _not_dry(rules: Rules) -> float | None:
    return rules["ours"]["not_dry_pct"] if _best(rules, "not_dry_pct") >= 99.5 else None


def _lost(rules: Rules) -> float | None:
    return rules["ours-true"]["joint_pct"] - rules["ours"]["joint_pct"]


def _fan(rules: Rules) -> float | None:
    return _ratio("fan_h_day", "limit")(rules) if rules["limit"]["fan_h_day"] else None


GOALS = (
    Goal("humidity and CO2 both in band, share of the limit's", 0.98, True, _joint, digits=3),
    Goal("humidity not below its band where the limit manages, %", 99.0, True, _not_dry),
    Goal("water against the limit 3 %RH inside the edge", 1.15, False, _ratio("water_kg_day", "limit-inside"),
         open_too=False, digits=2),
    Goal("water against the limit at the very edge", 1.15, False, _ratio("water_kg_day", "limit"),
         open_too=False, digits=2),
    Goal("wet caps, hours a day", 0.5, False, _own("wet_cap_h_day"), open_too=False, digits=2),
    Goal("longest run of wet caps, hours", 2.0, False, _own("longest_wet_h"), open_too=False),
    Goal("fan time against the limit", 1.1, False, _fan, open_too=False, digits=2),
    Goal("CO2 in band, points under the limit", 2.0, False,
         lambda rules: rules["limit"]["co2_pct"] - rules["ours"]["co2_pct"]),
    Goal("mist valve, switchings an hour", 30.0, False, _own("mist_switchings_h")),
    Goal("fan, switchings an hour", 12.0, False, _own("fan_switchings_h")),
    Goal("humidity back after a door, median minutes", 3.0, False, _own("door_median_min"), open_too=False),
    Goal("false alerts a day", 0.1, False, _own("false_alerts_day"), digits=2),
    Goal("points of both in band lost to wrong labels and what calibration leaves", 2.0, False, _lost),
)  # fmt: skip


def by_place(found: Mapping[Cell, Figures]) -> dict[tuple[str, str], dict[str, Figures]]:
    """Figures by rule, of every (season, space)."""
    places: dict[tuple[str, str], dict[str, Figures]] = {}
    for cell, figures in found.items():
        places.setdefault((cell.season, cell.space), {})[cell.rule] = figures
    return places


def of_goal(goal: Goal, found: Mapping[Cell, Figures], open_spaces: Iterable[str]) -> dict[str, float]:
    """The goal's figure at every place it is asked of, by 'season space'."""
    values = {}
    for (season, space), rules in by_place(found).items():
        if any(rule not in rules for rule in NEEDED) or (space in open_spaces and not goal.open_too):
            continue
        value = goal.of(rules)
        if value is not None:
            values[f"{season} {space}"] = value
    return values


def summary(found: Mapping[Cell, Figures], open_spaces: Iterable[str] = ("barn",)) -> list[list[str]]:
    """One row a goal: words, bound, met of asked, the worst place and its figure, all that miss."""
    rows = []
    for goal in GOALS:
        values = of_goal(goal, found, open_spaces)
        if not values:
            continue
        worst = (min if goal.at_least else max)(values, key=values.__getitem__)
        missed = [place for place, value in values.items() if not goal.met(value)]
        sign = "at least" if goal.at_least else "at most"
        rows.append(
            [
                goal.words, f"{sign} {goal.bound:g}", f"{len(values) - len(missed)} of {len(values)}",
                f"{values[worst]:.{goal.digits}f} ({worst})", ", ".join(missed) or "none",
            ]
        )  # fmt: skip
    return rows
