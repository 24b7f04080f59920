"""`python -m tests.bench.hold_the_room`, from the checkout's top. See the package for what it does."""

import argparse
from collections.abc import Iterable

from tests.bench.hold_the_room.cell import RULES, Cell
from tests.bench.hold_the_room.pool import run_all
from tests.bench.hold_the_room.seasons import SEASONS
from tests.bench.hold_the_room.spaces import SETS
from tests.bench.hold_the_room.table import table
from tests.bench.hold_the_room.trace import lines


def _named(text: str, known: Iterable[str]) -> list[str]:
    names = text.split(",")
    unknown = [name for name in names if name not in known]
    if unknown:
        raise argparse.ArgumentTypeError(f"{', '.join(unknown)}: choose among {', '.join(known)}")
    return names


def main() -> None:
    parser = argparse.ArgumentParser(prog="python -m tests.bench.hold_the_room", description=__doc__)
    spaces = list(SETS["main"])
    parser.add_argument("--days", type=float, default=14.0, help="scored days of each cell (14)")
    parser.add_argument("--spaces", type=lambda t: _named(t, spaces), default=spaces)
    parser.add_argument("--seasons", type=lambda t: _named(t, SEASONS), default=list(SEASONS))
    parser.add_argument("--rules", type=lambda t: _named(t, RULES), default=list(RULES))
    parser.add_argument("--set", choices=SETS, default="main")
    parser.add_argument("--seed", type=int, help="another seed than the set's own")
    parser.add_argument("--jobs", type=int, default=2)
    parser.add_argument("--trace", help="SEASON,SPACE,RULE: one cell, ten minutes a line")
    given = parser.parse_args()
    if given.trace:
        for line in lines(Cell(*given.trace.split(","), given.days, given.set, given.seed)):
            print(line)
        return
    cells = [
        Cell(season, space, rule, given.days, given.set, given.seed)
        for season in given.seasons
        for space in given.spaces
        for rule in given.rules
    ]
    print(table(run_all(cells, given.jobs)))


if __name__ == "__main__":
    main()
