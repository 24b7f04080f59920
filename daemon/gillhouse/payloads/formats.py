"""The formats a board may speak, by the name the config gives them. A new one is a module and a row here."""

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

from gillhouse.core.edges import SensorRoute
from gillhouse.payloads import json_pointer, number, senml, words
from gillhouse.payloads.sample import Sample


@dataclass(frozen=True, slots=True)
class Form:
    """How one format reads a message."""

    parse: Callable[[bytes], Any]
    """Reads the message, once for all sensors of its topic; raises only PayloadError."""
    picker: Callable[[SensorRoute], Callable[[Any], tuple[Sample, ...]]]
    """Made once per sensor; what it gives finds the sensor's samples and raises only PayloadError."""


FORMATS: dict[str, Form] = {
    "number": Form(number.text_of, number.picker),
    "json": Form(json_pointer.parse, json_pointer.picker),
    "senml": Form(senml.parse_pack, senml.picker),
    "words": Form(number.text_of, words.text_picker),
}
WORDS_IN_JSON = Form(json_pointer.parse, words.json_picker)
"""The format `words` where the config gives a path."""


def form_of(route: SensorRoute) -> Form:
    """The format of a route.

    Raises:
        ValueError: no such format.
    """
    if route.format == "words" and route.path is not None:
        return WORDS_IN_JSON
    form = FORMATS.get(route.format)
    if form is None:
        known = ", ".join(FORMATS)
        raise ValueError(f"sensor {route.sensor}: no format {route.format!r}; use one of {known}")
    return form
