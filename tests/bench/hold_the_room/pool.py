"""Many pieces of work on several processes, with a bar that tells how far it is."""

import sys
from collections.abc import Callable, Sequence
from concurrent.futures import ProcessPoolExecutor, as_completed
from multiprocessing import get_context
from typing import TypeVar

from tests.bench.hold_the_room import drills

Work = TypeVar("Work")
Found = TypeVar("Found")


def _bar(done: int, all_: int) -> None:
    width = 40
    full = width * done // all_
    print(f"\r[{'#' * full}{'.' * (width - full)}] {done}/{all_}", end="", file=sys.stderr, flush=True)
    if done == all_:
        print(file=sys.stderr)


def run_all(run: Callable[[Work], Found], works: Sequence[Work], jobs: int) -> dict[Work, Found]:
    """What `run` found of every work, in the order asked."""
    found: dict[Work, Found] = {}
    _bar(0, len(works))
    with ProcessPoolExecutor(jobs, get_context("spawn")) as pool:
        waiting = {pool.submit(run, work): work for work in works}
        for done in as_completed(waiting):
            found[waiting[done]] = done.result()
            _bar(len(found), len(works))
    return {work: found[work] for work in works}


def run_drill(work: tuple[str, str | None, str, str]) -> drills.Told:
    """A drill by (space, its name, season, set)."""
    space, name, season, set = work
    return drills.run(name, season, space, set)
