"""What a drill is: a name, what is done, what must hold, and the figures it gives back."""

from collections.abc import Callable
from dataclasses import dataclass
from enum import Enum
from pathlib import Path


class Size(Enum):
    """How much of it: a few seconds with the tests, or the form whose figures are printed."""

    QUICK = "quick"
    FULL = "full"


@dataclass(frozen=True)
class Line:
    """One figure: what was counted, what came out, and what is demanded of it."""

    what: str
    figure: str
    must: str = ""


Told = Callable[[float], None]
"""Given the share done, 0 to 1."""


@dataclass(frozen=True)
class Drill:
    """One fault. `run` raises AssertionError where what must hold does not."""

    title: str
    done: str
    """What is done to the daemon, one or two sentences."""
    run: Callable[[Size, Path, Told], list[Line]]


def count(number: float) -> str:
    """A whole number as people read it."""
    return f"{number:,.0f}"
