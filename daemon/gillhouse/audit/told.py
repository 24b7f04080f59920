"""Small things every report says the same way: clock times, lengths of time, values with their unit.

Here: formatting only, in the grower's plain characters. Not here: judgement, layout.
"""

from datetime import UTC, datetime, tzinfo

from gillhouse.core.quantities import Quantity

DAYS = ("Mon", "Tue", "Wed", "Thu", "Fri", "Sat", "Sun")
MONTHS = ("Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec")

UNIT = {Quantity.HUMIDITY: " %", Quantity.TEMPERATURE: " C", Quantity.CO2: " ppm"}
DIGITS = {Quantity.HUMIDITY: 0, Quantity.TEMPERATURE: 1, Quantity.CO2: 0}
TITLE = {Quantity.HUMIDITY: "humidity", Quantity.TEMPERATURE: "temperature", Quantity.CO2: "CO2"}


def local(ms: int, zone: tzinfo) -> datetime:
    return datetime.fromtimestamp(ms // 1000, UTC).astimezone(zone)


def clock(ms: int, zone: tzinfo) -> str:
    """Such as 02:04."""
    return f"{local(ms, zone):%H:%M}"


def day(ms: int, zone: tzinfo) -> str:
    """Such as Tue 14 Oct; independent of the machine's language."""
    at = local(ms, zone)
    return f"{DAYS[at.weekday()]} {at.day} {MONTHS[at.month - 1]}"


def clocks(begin_ms: int, end_ms: int, zone: tzinfo) -> str:
    """Such as 02:04-02:52."""
    return f"{clock(begin_ms, zone)}-{clock(end_ms, zone)}"


def lasted(ms: int) -> str:
    """Such as 40 s, 12 min, 3 h 05 min."""
    seconds = round(ms / 1000)
    if seconds < 100:
        return f"{seconds} s"
    minutes = round(seconds / 60)
    if minutes < 100:
        return f"{minutes} min"
    return f"{minutes // 60} h {minutes % 60:02d} min"


def number(quantity: Quantity, value: float) -> str:
    return f"{value:.{DIGITS[quantity]}f}"


def amount(quantity: Quantity, value: float) -> str:
    return number(quantity, value) + UNIT[quantity]


def limit(quantity: Quantity, value: float) -> str:
    """A limit as the grower wrote it."""
    return f"{value:g}{UNIT[quantity]}"


def span(quantity: Quantity, least: float, most: float) -> str:
    """Such as 90-94 %."""
    low, high = number(quantity, least), number(quantity, most)
    return (low if low == high else f"{low}-{high}" if least >= 0 else f"{low} to {high}") + UNIT[quantity]


def times(count: int) -> str:
    return {0: "not once", 1: "once", 2: "twice"}.get(count, f"{count} times")
