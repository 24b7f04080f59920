"""The closed list of quantities: canonical unit, plausible range, resolution, fastest believable change.

Adding a quantity means one row here (and, if boards send it in other units, rows in `UNITS`).
Ranges say what a cheap sensor in a fruiting space can truthfully report; they are not crop limits.
"""

from dataclasses import dataclass
from enum import StrEnum


class Quantity(StrEnum):
    """What a sensor measures. On/off quantities carry 1.0 (the first word) or 0.0 (the second)."""

    HUMIDITY = "humidity"
    TEMPERATURE = "temperature"
    CO2 = "co2"
    PRESSURE = "pressure"
    LIGHT = "light"
    WIND = "wind"
    DOOR = "door"
    """1.0 = open."""
    TANK = "tank"
    """1.0 = has water."""
    PEOPLE = "people"
    """1.0 = somebody is inside."""
    MAINS = "mains"
    """1.0 = mains present."""
    FLOW = "flow"
    """1.0 = water flows."""
    CURRENT = "current"
    """1.0 = the load draws current."""
    WATER_PRESSURE = "water-pressure"
    """1.0 = the line is under pressure."""
    RUNNING = "running"
    """1.0 = it turns, by a running contact or a tachometer."""
    LEAK = "leak"
    """1.0 = wet where it should be dry."""
    EMERGENCY_STOP = "emergency-stop"
    """1.0 = somebody has pressed it. Only read: the stop itself is wired."""


PROOFS: tuple[Quantity, ...] = (
    Quantity.FLOW,
    Quantity.CURRENT,
    Quantity.WATER_PRESSURE,
    Quantity.RUNNING,
)
"""What may prove that a load runs. They may also come as a count of pulses, or as a number."""


@dataclass(frozen=True, slots=True)
class Measure:
    """How one quantity is counted."""

    unit: str
    """Canonical unit, as a UCUM code."""
    low: float
    """Below this a reading is BAD."""
    high: float
    """Above this a reading is BAD."""
    resolution: float
    """Last digit a cheap sensor moves when alive."""
    rate_per_min: float
    """Faster change than this between two readings is SUSPECT."""
    on_off: bool = False


MEASURES: dict[Quantity, Measure] = {
    # Ranges and rates: common practice, no source.
    Quantity.HUMIDITY: Measure("%", 0.0, 100.0, 0.1, 40.0),
    Quantity.TEMPERATURE: Measure("Cel", -40.0, 60.0, 0.1, 5.0),
    Quantity.CO2: Measure("[ppm]", 150.0, 40_000.0, 1.0, 4_000.0),
    Quantity.PRESSURE: Measure("hPa", 600.0, 1_100.0, 0.1, 20.0),
    Quantity.LIGHT: Measure("lx", 0.0, 150_000.0, 1.0, float("inf")),
    Quantity.WIND: Measure("m/s", 0.0, 75.0, 0.1, float("inf")),
    Quantity.DOOR: Measure("1", 0.0, 1.0, 1.0, float("inf"), on_off=True),
    Quantity.TANK: Measure("1", 0.0, 1.0, 1.0, float("inf"), on_off=True),
    Quantity.PEOPLE: Measure("1", 0.0, 1.0, 1.0, float("inf"), on_off=True),
    Quantity.MAINS: Measure("1", 0.0, 1.0, 1.0, float("inf"), on_off=True),
    Quantity.FLOW: Measure("1", 0.0, 1.0, 1.0, float("inf"), on_off=True),
    Quantity.CURRENT: Measure("1", 0.0, 1.0, 1.0, float("inf"), on_off=True),
    Quantity.WATER_PRESSURE: Measure("1", 0.0, 1.0, 1.0, float("inf"), on_off=True),
    Quantity.RUNNING: Measure("1", 0.0, 1.0, 1.0, float("inf"), on_off=True),
    Quantity.LEAK: Measure("1", 0.0, 1.0, 1.0, float("inf"), on_off=True),
    Quantity.EMERGENCY_STOP: Measure("1", 0.0, 1.0, 1.0, float("inf"), on_off=True),
}

UNITS: dict[Quantity, dict[str, tuple[float, float]]] = {
    # what a board may write -> (factor, offset): canonical = value * factor + offset
    Quantity.HUMIDITY: {"%": (1.0, 0.0), "%RH": (1.0, 0.0), "1": (100.0, 0.0)},
    Quantity.TEMPERATURE: {
        "degC": (1.0, 0.0),
        "Cel": (1.0, 0.0),
        "C": (1.0, 0.0),
        "degF": (5 / 9, -160 / 9),
        "[degF]": (5 / 9, -160 / 9),
        "F": (5 / 9, -160 / 9),
        "K": (1.0, -273.15),
    },
    Quantity.CO2: {"ppm": (1.0, 0.0), "[ppm]": (1.0, 0.0), "%": (10_000.0, 0.0)},
    Quantity.PRESSURE: {
        "hPa": (1.0, 0.0),
        "mbar": (1.0, 0.0),
        "Pa": (0.01, 0.0),
        "kPa": (10.0, 0.0),
    },
    Quantity.LIGHT: {"lx": (1.0, 0.0)},
    Quantity.WIND: {"m/s": (1.0, 0.0), "km/h": (1 / 3.6, 0.0), "mph": (0.44704, 0.0)},
}


def to_canonical(quantity: Quantity, value: float, unit: str) -> float:
    """`value` in the quantity's canonical unit.

    Args:
        unit: one of `UNITS[quantity]`.
    Raises:
        KeyError: the unit is not one of them (a config check prevents this).
    Source: unit definitions, SI Brochure and UCUM (exact factors).
    """
    factor, offset = UNITS[quantity][unit]
    return value * factor + offset
