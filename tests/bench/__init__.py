"""Measured ratios to a floor in the same run. Not tests: nothing here passes or fails by a clock.

`python -m tests.bench` from the checkout's top runs all and prints a table; with `--write` it also writes
docs/reference/figures.md. A floor is the least that this job can cost with the same libraries and nothing of
ours in between. Both sides get the same broker, the same publisher and the same messages; rounds alternate,
and the median of the per-round ratios counts, because a busy neighbour slows both sides of a round alike.
"""

import sys
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parent.parent))  # for `from servers import ...`
