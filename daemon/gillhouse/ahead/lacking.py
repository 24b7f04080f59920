"""What the models of this package need and do not have, told once: one line each, never a reminder.

Here: the table of needs. The command and the morning's block show it where something is missing; what was
told is not told again to the same person by a message (that is the report's to keep).
"""

from collections.abc import Iterator
from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Has:
    """What a farm has."""

    outdoor_temperature: bool = False
    outdoor_humidity: bool = False
    wind: bool = False
    forecast: bool = False
    latitude: bool = False
    hosings_told: bool = True
    """False: an open space whose hosings nobody tells of."""
    open_space: bool = False


NEEDS = {
    # what: (only for open spaces, what is told where it is missing)
    "outdoor_temperature": (
        False,
        "an outdoor sensor for temperature: without it no this-year-against-typical",
    ),
    "outdoor_humidity": (
        True,
        "an outdoor sensor for humidity: without it no drying outdoors, no slug nights",
    ),
    "wind": (True, "a wind gauge: without it a light breeze of 2.5 m/s is guessed"),
    "forecast": (True, "a forecast (--forecast FILE): without it nothing is said of tomorrow"),
    "latitude": (
        True,
        "where you are (latitude in your farm file): without it no hours of dark, so no slug nights",
    ),
    "hosings_told": (
        True,
        "your hosings told (gillhouse note SPACE --hosed): before the first no account is kept",
    ),
}


def lacking(has: Has) -> Iterator[str]:
    """A line for each thing that is missing and would be used."""
    for what, (open_only, words) in NEEDS.items():
        if not getattr(has, what) and (has.open_space or not open_only):
            yield words
