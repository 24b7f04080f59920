"""The picture of docs/explanation/pests.md: an invented room, flies seen nine days after its bags came.

`python -m tests.docs.pest_pictures` from the checkout's top writes it; `test_pests_page` holds it to today's
rules.
"""

from math import pi, sin
from pathlib import Path
from zoneinfo import ZoneInfo

from gillhouse.ahead.cap_wet import WetCaps
from gillhouse.ahead.pest_clock import DAY_MS, Begin, Sign, clear_by_ms, generations, how_sure, windows
from gillhouse.ahead.warmth import HOUR_MS, hourly
from gillhouse.audit.pests_asked import Asked, End, Outlook, PestOutlook
from gillhouse.audit.pests_told import chart
from gillhouse.config.pests_file import load_pests
from gillhouse.drawing.windows import draw

PICTURE = Path(__file__).parents[2] / "docs" / "pictures" / "pests-windows.svg"
ROME = ZoneInfo("Europe/Rome")
CAME = 1_792_447_200_000
"""2026-10-20 00:00 in Rome (GNU date)."""
NOW = CAME + 36 * DAY_MS
END = End(CAME + 50 * DAY_MS, CAME + 62 * DAY_MS, False)


def outlook() -> Outlook:
    """16 C by day and night, 2 more in the afternoon and 2 less before dawn."""
    logged = {
        at: 16 + 2 * sin(2 * pi * (at // HOUR_MS % 24 - 8) / 24)
        for at in range(CAME - 30 * DAY_MS, NOW, HOUR_MS)
    }
    hours = hourly(logged, {}, CAME - 30 * DAY_MS, END.to_ms + 60 * DAY_MS)
    pests = load_pests()
    told = []
    for ident, begin in (
        ("sciarid", Begin(Sign.SEEN, CAME + 9 * DAY_MS, since_ms=CAME)),
        ("cecid", Begin(Sign.OPENED, CAME)),
    ):
        pest = pests[ident]
        found = tuple(windows(pest, hours, begin, END.to_ms))
        told.append(
            PestOutlook(
                pest, begin, found, generations(pest, hours, begin.at_ms, END.to_ms), clear_by_ms(found, NOW),
                how_sure(pest, hours, begin.at_ms, END.to_ms), (), None, None, None,
            )
        )  # fmt: skip
    asked = Asked("room", None, None, None, NOW, {})
    return Outlook(asked, END, tuple(told), False, len(logged), WetCaps((), 0, None, None), CAME, {}, 0.0, 0)


def picture() -> str:
    return draw(chart(outlook(), ROME)) + "\n"


if __name__ == "__main__":
    PICTURE.write_text(picture(), encoding="utf-8")
