"""`python -m tests.drills [NAME ...] [--write]`: the full drills, from the checkout's top, with a bar.

With --write docs/explanation/reliability.md is written from what they counted; drills that were not run
keep what was printed of them. A drill that finds something wrong ends the run; what came before it is
written.
"""

import argparse
import sys
import tempfile
import time
from pathlib import Path

from tests.drills import page
from tests.drills.drill import Line, Size
from tests.drills.table import DRILLS

WIDE = 30


def bar(name: str, share: float, began: float) -> None:
    """One line that fills; where nobody looks, only its end is printed."""
    if not sys.stderr.isatty() and share < 1:
        return
    full = round(WIDE * share)
    line = f"{name:<14} [{'#' * full}{'.' * (WIDE - full)}] {share:4.0%} {time.monotonic() - began:5.0f} s"
    print(line, end="\n" if share >= 1 else "\r", file=sys.stderr, flush=True)


def drilled(name: str, size: Size) -> tuple[list[Line], float]:
    """Runs one. Returns its figures and how long it took, in seconds."""
    began = time.monotonic()
    with tempfile.TemporaryDirectory() as folder:
        lines = DRILLS[name].run(size, Path(folder), lambda share: bar(name, min(share, 0.999), began))
    bar(name, 1.0, began)
    return lines, time.monotonic() - began


def main() -> None:
    parser = argparse.ArgumentParser(prog="python -m tests.drills", description=__doc__.split("\n")[0])
    parser.add_argument("names", nargs="*", choices=[*DRILLS, []], help="which (all)")
    parser.add_argument("--write", action="store_true", help="also write docs/explanation/reliability.md")
    parser.add_argument("--quick", action="store_true", help="the form that runs with the tests")
    given = parser.parse_args()
    size = Size.QUICK if given.quick else Size.FULL
    found: dict[str, page.Outcome] = {}
    for name in given.names or DRILLS:
        lines, took_s = drilled(name, size)
        found[name] = page.Outcome(tuple(lines), took_s)
        if given.write:
            page.write(found)
        for line in lines:
            print(f"  {line.what}: {line.figure}{f' (must be {line.must})' if line.must else ''}", flush=True)
    if given.write:
        print(f"written: {page.DOCUMENT}")


if __name__ == "__main__":
    main()
