"""What protects, in the farm file: proofs and limiters of relays, statements of hardware, the farm's figures.

Here: their keys, bounds and defaults. Not here: whatever needs two entries to judge (`proof_checks`).
"""

from datetime import date
from typing import Annotated, Literal

from pydantic import BeforeValidator

from gillhouse.config.fields import ClockTime, Duration, Group, Ident, between, refuse


def _day(value: object) -> str:
    try:
        return date.fromisoformat(value if isinstance(value, str) else "").isoformat()
    except ValueError:
        raise refuse("should be a date as year, month and day; write 2026-05-02") from None


Day = Annotated[str, BeforeValidator(_day)]
"""ISO date; written `2026-05-02`."""


class LimiterGroup(Group):
    """A piece of hardware that cuts the load whatever any computer says."""

    cuts_after: Annotated[Duration, between("1 s", "1 d")]
    tested: Day
    """Date somebody last saw it cut."""


class ProofGroup(Group):
    """An input that says whether the load runs."""

    sensor: Ident
    within: Annotated[Duration, between("1 s", "10 min")] | None = None
    """None: by role, 10 s for a valve, 5 s for a pump, 15 s for the rest."""


class StatementGroup(Group):
    """Hardware the grower has, with the date it was last tested."""

    tested: Day
    again: Annotated[Duration, between("1 d", "3650 d")] = 180 * 86_400_000


WEEKDAYS = ("monday", "tuesday", "wednesday", "thursday", "friday", "saturday", "sunday")


class SafetyGroup(Group):
    """Figures of what protects the whole farm."""

    stagger: Annotated[Duration, between("0 s", "2 min")] = 5_000
    """Loads of mains that came back start so far apart."""
    test_day: Literal["monday", "tuesday", "wednesday", "thursday", "friday", "saturday", "sunday"] = "monday"
    """Of the alarm relay's weekly test."""
    test_at: ClockTime = 10 * 60


WITHIN_MS: dict[str, int] = {"mist": 10_000, "pump": 5_000}
WITHIN_USUAL_MS = 15_000
"""Proof times by role. 15 s for a fan's status is from an open model of ASHRAE Guideline 36 (Modelica
Buildings library); the others are our choice."""
