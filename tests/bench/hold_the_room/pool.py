"""Many cells on several processes, with a bar that tells how far it is."""

import sys
from concurrent.futures import ProcessPoolExecutor, as_completed
from multiprocessing import get_context

from tests.bench.hold_the_room.cell import Cell, run


def _bar(done: int, all_: int) -> None:
    width = 40
    full = width * done // all_
    print(f"\r[{'#' * full}{'.' * (width - full)}] {done}/{all_} cells", end="", file=sys.stderr, flush=True)
    if done == all_:
        print(file=sys.stderr)


def run_all(cells: list[Cell], jobs: int) -> dict[Cell, dict[str, float]]:
    """Every cell's figures, in the order asked."""
    found: dict[Cell, dict[str, float]] = {}
    _bar(0, len(cells))
    with ProcessPoolExecutor(jobs, get_context("spawn")) as pool:
        waiting = {pool.submit(run, cell): cell for cell in cells}
        for done in as_completed(waiting):
            found[waiting[done]] = done.result()
            _bar(len(found), len(cells))
    return {cell: found[cell] for cell in cells}
