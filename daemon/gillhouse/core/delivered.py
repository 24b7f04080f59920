"""What mist and fan really gave in the last good days, for the time when no sensor steers.

A fallback programme is somebody's guess. Where sensors have steered for a while, what they asked for is
known better, and the air the fan brings in today says how much of it is needed now. So a fallback run is made
longer or shorter, within a factor of two either way: a wrong memory cannot flood or starve a crop. Nothing
here decides when a programme runs.
"""

from dataclasses import dataclass

from gillhouse.core.demand import HOUR_MS, LONGEST_STEP_MS

MEMORY_H = 48.0
"""The last days count, older ones fade. Our choice."""

ENOUGH_H = 6.0
"""Steered for less than this, the programme runs as it is written. Our choice."""

LEAST_DRIVING = 0.0005
"""Intake air nearer to the room's water than this (kg/kg) says little about how much mist it takes."""

LEAST_SHARE, MOST_SHARE = 0.5, 2.0
"""A run is changed within these shares of what is written."""


@dataclass(slots=True)
class Delivered:
    hours: float = 0.0
    """Steered for so long."""
    litres_per_h: float = 0.0
    driving: float = 0.0
    """Humidity ratio of the room over its intake air, kg/kg, meanwhile."""
    fan_share: float = 0.0
    """Of the time that a fan was on."""
    at_ms: int = 0
    litres: float = 0.0
    """Given since `at_ms`."""


def follow(known: Delivered, mono_ms: int, driving: float | None, fan_on: bool) -> None:
    """Takes in the time since the last call. `driving` is None while no sensor steers."""
    elapsed_h = min(mono_ms - known.at_ms, LONGEST_STEP_MS) / HOUR_MS
    if elapsed_h <= 0.0:
        return
    known.at_ms = mono_ms
    litres, known.litres = known.litres, 0.0
    if driving is None:
        return
    known.hours = min(known.hours + elapsed_h, MEMORY_H)
    weight = elapsed_h / known.hours
    known.litres_per_h += weight * (litres / elapsed_h - known.litres_per_h)
    known.driving += weight * (driving - known.driving)
    known.fan_share += weight * (float(fan_on) - known.fan_share)


def leave_out(known: Delivered, mono_ms: int) -> None:
    """The time since the last call is no measure of anything: the space is out of use."""
    known.at_ms, known.litres = max(known.at_ms, mono_ms), 0.0


def mist_run_ms(
    known: Delivered, run_ms: int, every_ms: int | None, litres_per_h: float, driving: float
) -> int:
    """The length of a fallback mist run.

    Args:
        run_ms: as written, every `every_ms` (None: at no steady interval, so it stays as written).
        litres_per_h: of the nozzles together.
        driving: humidity ratio that the room should have over today's intake air, kg/kg.
    """
    if every_ms is None or known.hours < ENOUGH_H or known.driving < LEAST_DRIVING:
        return run_ms
    wanted = known.litres_per_h * max(driving, 0.0) / known.driving
    return _within(run_ms, wanted / litres_per_h * every_ms)


def fan_run_ms(known: Delivered, run_ms: int, every_ms: int | None) -> int:
    """The length of a fallback fan run."""
    if every_ms is None or known.hours < ENOUGH_H:
        return run_ms
    return _within(run_ms, known.fan_share * every_ms)


def _within(run_ms: int, wanted_ms: float) -> int:
    return int(min(max(wanted_ms, LEAST_SHARE * run_ms), MOST_SHARE * run_ms))
