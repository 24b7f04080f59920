"""Both clocks as one value. Wall time labels and schedules; monotonic time runs pulses and leases."""

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Instant:
    """A moment, as whole milliseconds on two clocks."""

    wall_ms: int
    """Milliseconds since 1970-01-01T00:00Z by the machine's wall clock; may step."""
    mono_ms: int
    """Milliseconds since the segment began (see docs/nomenclature.md); never steps."""

    def later(self, ms: int) -> "Instant":
        """The moment `ms` milliseconds after this one, if no clock steps in between."""
        return Instant(self.wall_ms + ms, self.mono_ms + ms)
