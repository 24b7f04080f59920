"""A calendar of windows: one block a pest, one row a stage, one bar a generation. `draw` makes one SVG text.

Here: where everything lies. Not here: which windows there are, or what days are called (the caller words
them). A bar's open right end is dotted: its end is not known. The tick within is the likely moment.
Generations of odd and even number take turns in the upper and lower half of their row, so that windows that
run into one another stay apart.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

from gillhouse.drawing import paper
from gillhouse.drawing.figures import Tick
from gillhouse.drawing.scale import TimeAxis

WIDE: Final = 1040.0
LEFT, RIGHT, TOP, BOTTOM = 150.0, 26.0, 58.0, 40.0
LEGEND: Final = "number: generation; upright tick: most likely; dotted: its end lies beyond"
ROW, GAP, HEAD = 22.0, 14.0, 20.0
SIZE: Final = 11.5
FILLS: Final = {True: paper.ALARM, False: paper.BAND}


@dataclass(frozen=True, slots=True)
class Bar:
    """One window. `to_ms` None: its end is beyond what is reckoned."""

    generation: int
    from_ms: int
    likely_ms: int | None
    to_ms: int | None


@dataclass(frozen=True, slots=True)
class Row:
    title: str
    bars: Sequence[Bar]
    strong: bool = False
    """What a grower waits for: the young that fly."""


@dataclass(frozen=True, slots=True)
class Block:
    title: str
    rows: Sequence[Row]
    clear_by_ms: int | None = None
    clear_by: str = ""
    """What is written beside that moment."""
    empty: str = ""
    """What is written where there are no rows."""


@dataclass(frozen=True, slots=True)
class Upright:
    """A line through all blocks."""

    at_ms: int
    label: str
    dashed: bool = False


@dataclass(frozen=True, slots=True)
class Windows:
    """One sheet."""

    key: str
    title: str
    description: str
    """All a reader who cannot see the chart needs."""
    from_ms: int
    to_ms: int
    ticks: Sequence[Tick]
    blocks: Sequence[Block]
    uprights: Sequence[Upright]
    ending: tuple[int, int] | None = None
    """From when to when the crop is likely to end."""


def draw(sheet: Windows, width: float = WIDE) -> str:
    """The calendar as one SVG element."""
    axis = TimeAxis(sheet.from_ms, sheet.to_ms, LEFT, width - RIGHT)
    body: list[str] = []
    at = TOP
    for block in sheet.blocks:
        drawn, at = _block(block, axis, at)
        body += drawn
    height = at + BOTTOM
    ground = [paper.box(0.5, 0.5, width - 1, height - 1, fill=paper.PAPER, stroke=paper.PAPER_EDGE)]
    ground += _ticks(sheet.ticks, axis, at)
    if sheet.ending is not None:
        left, right = axis.x(sheet.ending[0]), axis.x(sheet.ending[1])
        ground.append(
            paper.box(left, TOP - 8, max(right - left, 1.5), at - TOP + 8, fill=f"url(#{sheet.key}-gap)")
        )
    return paper.sheet(
        sheet,
        "windows",
        (width, height),
        [
            paper.element("defs", paper.hatch(sheet.key)),
            *ground,
            paper.words(12, 20, sheet.title, SIZE + 2.5, font_weight="bold", fill=paper.TEXT),
            *body,
            *_uprights(sheet.uprights, axis, at),
            paper.words(LEFT, at + 30, _legend(sheet), SIZE - 1, fill=paper.SOFT_TEXT),
        ],
    )


def _legend(sheet: Windows) -> str:
    return LEGEND if sheet.ending is None else f"{LEGEND}; hatched: the crop may end"


def _ticks(ticks: Sequence[Tick], axis: TimeAxis, bottom: float) -> list[str]:
    drawn = []
    for tick in ticks:
        x = axis.x(tick.at_ms)
        drawn.append(paper.line((x, TOP - 8), (x, bottom), paper.RULING, stroke_width=0.8))
        drawn.append(
            paper.words(x, TOP - 12, tick.label, SIZE - 1, text_anchor="middle", fill=paper.SOFT_TEXT)
        )
    return drawn


def _block(block: Block, axis: TimeAxis, top: float) -> tuple[list[str], float]:
    drawn = [paper.words(12, top + 13, block.title, SIZE + 0.5, font_weight="bold", fill=paper.TEXT)]
    at = top + HEAD
    if not block.rows:
        drawn.append(paper.words(LEFT, at + 12, block.empty, SIZE, fill=paper.SOFT_TEXT))
        return drawn, at + ROW + GAP
    for row in block.rows:
        drawn += _row(row, axis, at)
        at += ROW
    if block.clear_by_ms is not None:
        drawn += _clear_by(block, axis, (top, at))
    return drawn, at + GAP


def _row(row: Row, axis: TimeAxis, top: float) -> list[str]:
    drawn = [
        paper.words(LEFT - 8, top + 14, row.title, SIZE, text_anchor="end", fill=paper.SOFT_TEXT),
        paper.line((axis.left, top + ROW), (axis.right, top + ROW), paper.RULING_STRONG, stroke_width=0.6),
    ]
    for bar in row.bars:
        drawn += _bar(bar, axis, top + 2.0 + (0.0 if bar.generation % 2 else 9.5), row.strong)
    return drawn


def _bar(bar: Bar, axis: TimeAxis, top: float, strong: bool) -> list[str]:
    """A window; what begins beyond the sheet, or ended before it, is not on it."""
    end_ms = axis.to_ms if bar.to_ms is None else bar.to_ms
    if bar.from_ms >= axis.to_ms or end_ms <= axis.from_ms:
        return []
    left, right, high = axis.x(bar.from_ms), axis.x(end_ms), 8.5
    edge = paper.ALARM if strong else paper.BAND_EDGE
    open_end = bar.to_ms is None or bar.to_ms > axis.to_ms
    drawn = [
        paper.box(
            left, top, right - left, high, fill=FILLS[strong], fill_opacity=0.34 if strong else 0.9,
            stroke=edge, stroke_width=0.9, class_="open" if open_end else "window",
            stroke_dasharray="2 2" if open_end else "none",
        )
    ]  # fmt: skip
    if bar.likely_ms is not None and axis.from_ms <= bar.likely_ms <= axis.to_ms:
        x = axis.x(bar.likely_ms)
        drawn.append(paper.line((x, top), (x, top + high), paper.TEXT, stroke_width=1.8, class_="likely"))
    if right - left > 12:
        drawn.append(
            paper.words(right - 4, top + 7.4, str(bar.generation), 8.5, text_anchor="end", fill=paper.TEXT)
        )
    return drawn


def _clear_by(block: Block, axis: TimeAxis, span: tuple[float, float]) -> list[str]:
    """A pennant at the moment before which the blocks should be gone, its words on the side with room."""
    assert block.clear_by_ms is not None
    if not axis.from_ms <= block.clear_by_ms <= axis.to_ms:
        return []
    x, top = axis.x(block.clear_by_ms), span[0] + 3
    to_left = x > (axis.left + axis.right) / 2
    return [
        paper.line(
            (x, top), (x, span[1]), paper.ALARM, stroke_width=1.2, stroke_dasharray="4 2", class_="clear"
        ),
        paper.path([f"M{paper.n(x)} {paper.n(top)}l9 4l-9 4z"], fill=paper.ALARM),
        paper.words(
            x - 5 if to_left else x + 12, top + 9, block.clear_by, SIZE - 0.5,
            text_anchor="end" if to_left else "start", fill=paper.ALARM, **paper.HALO,
        ),
    ]  # fmt: skip


def _uprights(uprights: Sequence[Upright], axis: TimeAxis, bottom: float) -> list[str]:
    drawn = []
    for one in uprights:
        if not axis.from_ms <= one.at_ms <= axis.to_ms:
            continue
        x = axis.x(one.at_ms)
        dash = "5 3" if one.dashed else "none"
        drawn.append(
            paper.line((x, TOP - 8), (x, bottom), paper.TEXT, stroke_width=1.3, stroke_dasharray=dash)
        )
        drawn.append(
            paper.words(x, bottom + 13, one.label, SIZE - 0.5, text_anchor="middle", fill=paper.TEXT)
        )
    return drawn
