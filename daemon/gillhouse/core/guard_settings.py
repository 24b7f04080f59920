"""What the core is told of the guards: proofs, hardware the grower states, the farm's own figures.

Frozen, like the rest of the settings (`settings`). Dates are the grower's own, as ISO text.
"""

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class ProofSettings:
    """An input that says whether a relay's load runs."""

    sensor: str
    within_ms: int
    """It must say so this soon after the relay was told."""


@dataclass(frozen=True, slots=True)
class LimiterSettings:
    """Hardware that cuts a load whatever a computer says, as the grower states it."""

    cuts_after_ms: int
    tested: str
    """ISO date somebody last saw it cut."""


@dataclass(frozen=True, slots=True)
class StatementSettings:
    """Something only hardware can give, as the grower states it (see `core.statements`)."""

    id: str
    tested: str
    """ISO date of the last test."""
    again_ms: int = 180 * 86_400_000
    """To be tested again after this."""


@dataclass(frozen=True, slots=True)
class SafetySettings:
    """Of the guards of the whole farm."""

    stagger_ms: int = 5_000
    """Loads of a mains circuit that came back start so far apart."""
    test_weekday: int = 0
    """The alarm relay's weekly test: 0 is Monday ..."""
    test_at_min: int = 10 * 60
    """... at this local minute of the day."""
