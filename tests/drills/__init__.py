"""Faults on purpose: the real daemon killed, starved, stalled, cut off, and what it still keeps.

Each drill is one function in a module named after what is done to the daemon. It has two sizes: the quick one
runs with the tests, the full one with `python -m tests.drills --write` from the checkout's top, which also
writes docs/explanation/reliability.md. Nothing here is judged by a clock unless a deadline is the point.
"""

import sys
from pathlib import Path

TESTS = Path(__file__).resolve().parent.parent
ROOT = TESTS.parent
for folder in (TESTS, TESTS / "service"):
    if str(folder) not in sys.path:
        sys.path.insert(0, str(folder))  # for `from servers import ...` and `from farm import ...`
