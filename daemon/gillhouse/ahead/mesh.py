"""Whether a mesh keeps flies out: its openings by threads and their thickness, beside published sizes."""

from typing import Final

WANTED_MM: Final = 0.6
WANTED_SOURCE: Final = (
    "openings of 0.5-0.6 mm at most: Kenyan national farmers' information service; 16 threads a cm: AFBI"
    " Northern Ireland"
)
"""The two agree: 16 threads a cm of 0.15 to 0.20 mm leave 0.43 to 0.48 mm."""
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
