"""Whether a mesh keeps flies out: its openings by threads and their thickness, beside published sizes."""

from typing import Final

WANTED_MM: Final = 0.6
"""Openings no larger than 0.5-0.6 mm on every inlet (Kenyan national farmers' information service, mushroom
pests); 16 threads a cm (AFBI Northern Ireland, control measures for mushroom pests) comes to the same."""
MOSQUITO_MM: Final = 1.2
"""A window's mosquito mesh: too open for flies of 2 to 3 mm (inferred from both)."""


def opening_mm(threads_per_cm: float, thread_mm: float) -> float:
    """The width of a mesh's openings; 0 where the threads leave none.

    Args:
        threads_per_cm: over 0.
        thread_mm: how thick one thread is.
    Raises:
        ValueError: no threads.
    """
    if threads_per_cm <= 0.0:
        raise ValueError(f"a mesh of {threads_per_cm:g} threads a cm is none; give a number over 0")
    return max(10.0 / threads_per_cm - thread_mm, 0.0)


def keeps_out(opening: float) -> bool:
    return opening <= WANTED_MM
