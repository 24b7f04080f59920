"""Measured ratios to a floor in the same run. Not tests: nothing here passes or fails by a clock.

`python -m tests.bench` runs them all and prints a table; with `--write` it also writes
docs/reference/figures.md. A floor is the least that this job can cost with the same libraries and nothing of
ours in between.
"""
