"""What a measuring run found of a space, as a record that is kept. Nothing here measures or decides."""

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Measurement:
    """Of one space, as a person put it to use."""

    fan_m3_per_h: float
    """What all its fans together add."""
    leak_ach: float
    co2_m3_per_h: float
    """CO2 its batch gave off then; a batch changes, so nothing is steered by it."""
    intake_ppm: float
    useful_share: float | None = None
    """Of the mist's label; None: not found."""
    made_ms: int = 0
    """Wall time of the run's end."""


def believable(found: Measurement) -> bool:
    """Nothing outside these is put to use, whoever sends it."""
    share = found.useful_share
    return (
        1.0 <= found.fan_m3_per_h <= 100_000.0
        and 0.0 <= found.leak_ach <= 20.0
        and 0.0 <= found.co2_m3_per_h <= 100.0
        and 200.0 <= found.intake_ppm <= 2_000.0
        and (share is None or 0.01 <= share <= 1.5)
    )
