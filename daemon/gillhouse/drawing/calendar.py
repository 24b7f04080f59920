"""The calendar of a year: a row per crop with a cell per week, and lanes of what the weeks bring. One SVG.

Here: where everything lies. The height of a cell's bar is the share of the week in the crop's range, so
it reads without colour; an open week's bar is dark, another one's pale with an edge. A week nothing is
known of is hatched. Not here: what a share or a figure means (`ahead.season`), any file.
"""

from collections.abc import Sequence
from dataclasses import dataclass

from gillhouse.drawing import paper

WIDTH = 1040.0
LEFT, RIGHT = 132.0, 128.0
ROW, LANE, GAP = 26.0, 34.0, 6.0
SMALL = 11.5
MONTH_STARTS = (0, 31, 59, 90, 120, 151, 181, 212, 243, 273, 304, 334)
MONTH_NAMES = ("Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec")
WEEKS_SHOWN = 52
YEAR_DAYS = 365
SHUT_INK = "#c9d4bd"
OPEN_INK = "#3f5a2a"
LANE_INK = "#5b7f95"


@dataclass(frozen=True, slots=True)
class WeekCell:
    share: float | None
    """0..1 of the week; None: not known."""
    is_open: bool


@dataclass(frozen=True, slots=True)
class CropRow:
    name: str
    cells: Sequence[WeekCell]
    summary: str


@dataclass(frozen=True, slots=True)
class WeekLane:
    """A figure a week, as bars; the greatest fills the lane."""

    name: str
    values: Sequence[float | None]
    summary: str


@dataclass(frozen=True, slots=True)
class Calendar:
    key: str
    """Unique within a page; a letter, then letters, digits and hyphens."""
    title: str
    description: str
    crops: Sequence[CropRow]
    lanes: Sequence[WeekLane]
    foot: str
    """Where the figures come from."""


def draw(calendar: Calendar) -> str:
    """The whole sheet as one SVG element."""
    top = 58.0
    below = top + ROW * len(calendar.crops) + GAP
    bottom = below + (LANE + GAP) * len(calendar.lanes)
    height = bottom + 44.0
    body = [
        paper.element("defs", paper.hatch(calendar.key)),
        paper.box(0, 0, WIDTH, height, fill=paper.PAPER),
        paper.words(LEFT, 22, calendar.title, 15.0, font_weight="bold", fill=paper.TEXT),
        *_months(top, bottom),
    ]
    for at, row in enumerate(calendar.crops):
        body += _crop(row, top + ROW * at, calendar.key)
    for at, lane in enumerate(calendar.lanes):
        body += _lane(lane, below + (LANE + GAP) * at, calendar.key)
    body += [
        *_legend(bottom + 18.0, calendar.key),
        paper.words(LEFT, bottom + 36.0, calendar.foot, SMALL, fill=paper.SOFT_TEXT),
    ]
    return paper.sheet(calendar, "calendar", (WIDTH, height), body)


def _x(day: float) -> float:
    return LEFT + (WIDTH - LEFT - RIGHT) * day / YEAR_DAYS


def _months(top: float, bottom: float) -> list[str]:
    drawn = []
    for start, name in zip(MONTH_STARTS, MONTH_NAMES, strict=True):
        x = _x(start)
        drawn.append(paper.line((x, top - 18), (x, bottom), paper.RULING_STRONG, stroke_width=0.8))
        drawn.append(paper.words(x + 4, top - 7, name, SMALL, fill=paper.SOFT_TEXT))
    drawn.append(
        paper.line((_x(YEAR_DAYS), top - 18), (_x(YEAR_DAYS), bottom), paper.RULING_STRONG, stroke_width=0.8)
    )
    return drawn


def _crop(row: CropRow, top: float, key: str) -> list[str]:
    base, tall = top + ROW - 4.0, ROW - 6.0
    drawn = [
        paper.words(
            LEFT - 8, base - 4, row.name, 12.5, text_anchor="end", font_weight="bold", fill=paper.TEXT
        ),
        paper.line((LEFT, base), (WIDTH - RIGHT, base), paper.RULING_STRONG, stroke_width=0.8),
        paper.words(WIDTH - RIGHT + 8, base - 4, row.summary, SMALL, fill=paper.TEXT),
    ]
    for week, cell in enumerate(row.cells):
        left, right = _x(week * 7), _x((week + 1) * 7)
        if cell.share is None:
            drawn.append(_unknown(left, base - tall, right - left, tall, key))
        elif cell.share > 0.0:
            shape = paper.box(
                left + 0.7, base - tall * cell.share, right - left - 1.4, tall * cell.share,
                fill=OPEN_INK if cell.is_open else SHUT_INK,
                stroke=OPEN_INK, stroke_width=0.4, class_="open" if cell.is_open else "shut",
            )  # fmt: skip
            drawn.append(shape)
    return drawn


def _unknown(left: float, top: float, width: float, height: float, key: str) -> str:
    return paper.box(left, top, width, height, fill=f"url(#{key}-gap)", class_="unknown")


def _lane(lane: WeekLane, top: float, key: str) -> list[str]:
    base, tall = top + LANE, LANE - 4.0
    most = max((value for value in lane.values if value is not None), default=0.0)
    drawn = [
        paper.words(LEFT - 8, base - 8, lane.name, SMALL, text_anchor="end", fill=paper.TEXT),
        paper.line((LEFT, base), (WIDTH - RIGHT, base), paper.RULING_STRONG, stroke_width=0.8),
        paper.words(WIDTH - RIGHT + 8, base - 8, lane.summary, SMALL, fill=paper.TEXT),
    ]
    for week, value in enumerate(lane.values):
        left, right = _x(week * 7), _x((week + 1) * 7)
        if value is None:
            drawn.append(_unknown(left, base - tall, right - left, tall, key))
        elif value > 0.0 and most > 0.0:
            high = tall * value / most
            drawn.append(
                paper.box(left + 0.7, base - high, right - left - 1.4, high, fill=LANE_INK, class_="figure")
            )
    return drawn


def _legend(y: float, key: str) -> list[str]:
    drawn, x = [], LEFT
    marks = (
        (OPEN_INK, "half of the week or more in its range"),
        (SHUT_INK, "less, by height"),
        (f"url(#{key}-gap)", "not known"),
    )
    for fill, text in marks:
        drawn.append(paper.box(x, y - 9, 10, 10, fill=fill, stroke=OPEN_INK, stroke_width=0.4))
        drawn.append(paper.words(x + 15, y, text, SMALL, fill=paper.TEXT))
        x += 34 + 6.1 * len(text)
    return drawn
