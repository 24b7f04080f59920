"""Spans of time as people write them on the command line, for what may last days."""

import re

import click

UNITS_MS = {"m": 60_000, "h": 3_600_000, "d": 86_400_000}


def longer_span_ms(text: str) -> int:
    """`30m`, `2h` or `3d` in milliseconds.

    Raises:
        click.BadParameter: anything else, or nothing at all.
    """
    found = re.fullmatch(r"(\d{1,5})([mhd])", text)
    if found is None or int(found[1]) == 0:
        raise click.BadParameter(f"{text!r} is no span of time; write 30m, 2h or 3d")
    return int(found[1]) * UNITS_MS[found[2]]
