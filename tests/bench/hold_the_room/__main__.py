"""`python -m tests.bench.hold_the_room`, from the checkout's top. See the package for what it does."""

import argparse
from collections.abc import Iterable

from tests.bench.hold_the_room import drills, page
from tests.bench.hold_the_room.cell import RULES, Cell, run
from tests.bench.hold_the_room.goals import summary
from tests.bench.hold_the_room.pool import run_all, run_drill
from tests.bench.hold_the_room.seasons import SEASONS
from tests.bench.hold_the_room.spaces import SETS
from tests.bench.hold_the_room.table import drill_table, table
from tests.bench.hold_the_room.trace import lines

HELD_RULES = ("timer", "onoff", "ours", "ours-true", "limit", "limit-inside")
"""What the page tells of the held-back set."""
DRILL_SPACES = ("room", "tent")
DRILL_SEASON = "autumn"


def _named(known: Iterable[str]) -> "type[list[str]]":
    def names(text: str) -> list[str]:
        asked = text.split(",")
        unknown = [name for name in asked if name not in known]
        if unknown:
            raise argparse.ArgumentTypeError(f"{', '.join(unknown)}: choose among {', '.join(known)}")
        return asked

    return names  # type: ignore[return-value]


def _cells(given: argparse.Namespace, set: str, rules: Iterable[str]) -> list[Cell]:
    return [
        Cell(season, space, rule, given.days, set, given.seed)
        for season in given.seasons
        for space in given.spaces
        for rule in rules
    ]


def _drills(given: argparse.Namespace, spaces: Iterable[str]) -> dict[tuple[str, str | None], drills.Told]:
    works = [(space, name, DRILL_SEASON, given.set) for space in spaces for name in (None, *drills.DRILLS)]
    return {(work[0], work[1]): told for work, told in run_all(run_drill, works, given.jobs).items()}


def _arguments() -> argparse.Namespace:
    parser = argparse.ArgumentParser(prog="python -m tests.bench.hold_the_room", description=__doc__)
    spaces = list(SETS["main"])
    parser.add_argument("--days", type=float, default=14.0, help="scored days of each cell (14)")
    parser.add_argument("--spaces", type=_named(spaces), default=spaces, help=",".join(spaces))
    parser.add_argument("--seasons", type=_named(SEASONS), default=list(SEASONS), help=",".join(SEASONS))
    parser.add_argument("--rules", type=_named(RULES), default=list(RULES), help=",".join(RULES))
    parser.add_argument("--set", choices=SETS, default="main")
    parser.add_argument("--seed", type=int, help="another seed than the set's own")
    parser.add_argument("--jobs", type=int, default=2, help="processes (2)")
    parser.add_argument("--trace", help="SEASON,SPACE,RULE: one cell, ten minutes a line")
    parser.add_argument("--drills", action="store_true", help="faults, and how soon they are told")
    parser.add_argument("--write", action="store_true", help=f"both sets, drills, and {page.DOCUMENT.name}")
    return parser.parse_args()


def main() -> None:
    given = _arguments()
    if given.trace:
        for line in lines(Cell(*given.trace.split(","), given.days, given.set, given.seed)):
            print(line)
    elif given.drills:
        asked = [space for space in DRILL_SPACES if space in given.spaces]
        print(drill_table(_drills(given, asked)))
    elif given.write:
        main_set = run_all(run, _cells(given, "main", given.rules), given.jobs)
        held = run_all(run, _cells(given, "held-back", HELD_RULES), given.jobs)
        page.write(main_set, held, DRILL_SEASON, _drills(given, DRILL_SPACES))
        print(f"written: {page.DOCUMENT}")
    else:
        found = run_all(run, _cells(given, given.set, given.rules), given.jobs)
        print(table(found))
        for row in summary(found):
            print(" | ".join(row))


if __name__ == "__main__":
    main()
