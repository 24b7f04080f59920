"""A reading as one line of the line protocol, version 2. Text only; nothing is sent here.

    humidity,sensor=tent-1,space=tent,zone=middle value=91.2,quality=0i 1790000000000

Measurement: the quantity. Tags: sensor, and space and zone where there are any; the set is fixed, since some
receivers fix a table's tags at the first line. Fields: the value in the canonical unit and the quality
(0 good, 1 suspect, 2 bad). Time: the reading's own, in milliseconds.
"""

import math

from gillhouse.store.rows import ReadingRow, SeriesRow

_ESCAPES = str.maketrans(
    {",": "\\,", "=": "\\=", " ": "\\ ", "\n": "\\ ", "\r": "\\ ", "\t": "\\ ", "\\": "/"}
)
"""A backslash before a comma would undo its escape, and a line break would end the line."""


def line_of(row: ReadingRow, series: SeriesRow) -> str | None:
    """The line for a reading; None for a value the protocol has no way to write."""
    reading = row.reading
    if not math.isfinite(reading.value):
        return None
    tags = "".join(
        f",{name}={text.translate(_ESCAPES)}"
        for name, text in (("sensor", reading.sensor), ("space", series.space), ("zone", series.zone))
        if text
    )
    fields = f"value={float(reading.value)!r},quality={int(row.verdict.quality)}i"
    return f"{series.quantity.translate(_ESCAPES)}{tags} {fields} {reading.sensed_ms}"
