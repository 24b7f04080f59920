"""Format `number`: the whole message is one number, with its unit behind it or without.

`85.3`, `85,3` and `85.3 %` are the same humidity. A comma is a decimal comma; thousands are not grouped, so
`1,234` is 1.234 and `1,234.5` is refused. A unit in the message wins over the one in the config, because
the board knows what it sent; one the quantity cannot have is refused, not guessed at.
"""

import math
import re
from collections.abc import Callable

from gillhouse.core.edges import SensorRoute
from gillhouse.core.quantities import UNITS, Quantity
from gillhouse.payloads.reject import Reject, refused, shown
from gillhouse.payloads.sample import Sample

_NUMBER = re.compile(
    r"\s*([+-]?(?:\d+(?:[.,]\d*)?|[.,]\d+)(?:[eE][+-]?\d+)?)\s*([^\d\s.,+-][^\d,]*)?", re.ASCII
)
_NOT_FINITE = re.compile(r"\s*[+-]?(?:nan|inf|infinity)\s*", re.IGNORECASE)

SPELLINGS = {
    "°C": "Cel",
    "℃": "Cel",
    "deg C": "Cel",
    "celsius": "Cel",
    "°F": "[degF]",
    "℉": "[degF]",
    "deg F": "[degF]",
    "% RH": "%RH",
    "%rh": "%RH",
    "% rh": "%RH",
    "PPM": "ppm",
    "lux": "lx",
    "mb": "mbar",
}
"""What boards print beside the codes of `core.quantities.UNITS`. Common practice, no source."""


def text_of(payload: bytes) -> str:
    """The message as text.

    Raises:
        PayloadError: NOT_UTF8, or EMPTY.
    """
    try:
        text = payload.decode()
    except UnicodeDecodeError as error:
        raise refused(Reject.NOT_UTF8, f"byte {error.start} of {shown(payload)} is not UTF-8") from None
    if not text or text.isspace():
        raise refused(Reject.EMPTY, "the message is empty")
    return text


class Scale:
    """Turns what a board wrote into the quantity's canonical unit, and refuses what is no finite number."""

    __slots__ = ("_factor", "_offset", "_units")

    def __init__(self, quantity: Quantity, unit: str) -> None:
        """
        Args:
            unit: one of `UNITS[quantity]`, or `1` for an on/off quantity.
        """
        self._units = UNITS.get(quantity, {"1": (1.0, 0.0)})
        self._factor, self._offset = self._units[unit]

    def of(self, number: float) -> float:
        """`number`, written in the config's unit.

        Raises:
            PayloadError: NOT_FINITE.
        """
        try:
            value = number * self._factor + self._offset
        except OverflowError:  # a whole number of hundreds of digits
            value = math.inf
        if math.isfinite(value):
            return value
        raise refused(Reject.NOT_FINITE, f"{shown(number)} is no finite number")

    def of_text(self, text: str) -> float:
        """A number written as text, with its own unit or in the config's.

        Raises:
            PayloadError: NOT_A_NUMBER, NOT_FINITE or UNIT_UNKNOWN.
        """
        found = _NUMBER.fullmatch(text)
        if found is None:
            reason = Reject.NOT_FINITE if _NOT_FINITE.fullmatch(text) else Reject.NOT_A_NUMBER
            raise refused(reason, f"{shown(text)} is no number")
        digits, unit = found.groups()
        number = float(digits.replace(",", "."))
        return self.of(number) if unit is None else self.of_unit(number, unit.strip())

    def of_unit(self, number: float, unit: str) -> float:
        """`number` in a unit that the message itself names.

        Raises:
            PayloadError: UNIT_UNKNOWN or NOT_FINITE.
        """
        known = self._units.get(SPELLINGS.get(unit, unit))
        if known is None:
            raise refused(Reject.UNIT_UNKNOWN, f"{shown(unit)} is none of {', '.join(self._units)}")
        factor, offset = known
        value = number * factor + offset
        if math.isfinite(value):
            return value
        raise refused(Reject.NOT_FINITE, f"{shown(number)} is no finite number")


def picker(route: SensorRoute) -> Callable[[str], tuple[Sample, ...]]:
    """What finds this sensor's value in the message's text."""
    scale = Scale(route.quantity, route.unit)

    def pick(text: str) -> tuple[Sample, ...]:
        return (Sample(scale.of_text(text)),)

    return pick
