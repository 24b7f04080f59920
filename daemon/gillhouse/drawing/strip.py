"""The strip chart of a night, after the paper of a chart recorder: one time axis, a lane per quantity, a lane
per relay, flags for alarms and notes. `draw` makes one SVG text from a `Strip`.

Here: where everything lies. Wide sheets print names beside the relay lanes; narrow ones (a phone) above them.
The figures are in the units of the view box, which are CSS pixels at full size.
"""

from collections.abc import Sequence
from dataclasses import dataclass

from gillhouse.drawing import lanes, paper
from gillhouse.drawing.figures import Flag, MarkLane, Strip, Tick, TraceLane
from gillhouse.drawing.lanes import Place
from gillhouse.drawing.scale import TimeAxis

WIDE, NARROW = 1040.0, 344.0
"""Usual widths: a desk or a printed page, and a phone of 360 pixels."""


@dataclass(frozen=True, slots=True)
class Sheet:
    """The measures of one width."""

    width: float
    left: float
    right: float
    trace_height: float
    mark_height: float
    size: float
    """Of small print."""
    stacked: bool
    """Relay names above their lane, not beside it."""


def sheet(width: float) -> Sheet:
    if width < 600:
        return Sheet(width, 36.0, 19.0, 80.0, 9.0, 10.5, True)
    return Sheet(width, 104.0, 138.0, 82.0, 10.0, 11.5, False)


FEED = 15.0
"""Height of the edge with the feed holes."""
FEED_STEP = 22.0
FLAG_ROW = 19.0
FLAG_ROWS = 3


def draw(strip: Strip, width: float = WIDE) -> str:
    """The chart as one SVG element, `width` units wide and as high as its lanes need."""
    measures = sheet(width)
    axis = TimeAxis(strip.from_ms, strip.to_ms, measures.left, width - measures.right)
    rows = flag_rows(strip.flags, axis)
    top = FEED + measures.size + 8
    flags_bottom = top + (FLAG_ROW * (max(rows, default=0) + 1) if strip.flags else 0.0)
    body: list[str] = []
    at = flags_bottom
    for trace_lane in strip.traces:
        drawn, at = _trace(trace_lane, strip.key, measures, (axis, at))
        body += drawn
    at += 6
    for mark_lane in strip.marks:
        drawn, at = _marks(mark_lane, strip.key, measures, (axis, at))
        body += drawn
    lanes_bottom = at + 6
    height = lanes_bottom + measures.size + 8 + FEED
    ground = _ground(measures, height) + _rulings(strip.ticks, axis, (flags_bottom, lanes_bottom))
    hours = _hours(strip.ticks, axis, (top - 7, lanes_bottom + measures.size + 3), measures.size)
    poles, cloths = _flags(strip.flags, rows, axis, (top, lanes_bottom))
    return paper.sheet(
        strip,
        "strip",
        (width, height),
        [paper.element("defs", paper.hatch(strip.key)), *ground, *poles, *body, *hours, *cloths],
    )


def _ground(measures: Sheet, height: float) -> list[str]:
    """The paper itself, with its two edges of feed holes."""
    drawn = [
        paper.box(
            0.5,
            0.5,
            measures.width - 1,
            height - 1,
            fill=paper.PAPER,
            stroke=paper.PAPER_EDGE,
            stroke_width=1.0,
        )
    ]
    count = int((measures.width - FEED_STEP) / FEED_STEP)
    first = (measures.width - (count - 1) * FEED_STEP) / 2
    holes = [
        f"M{paper.n(first + FEED_STEP * place - 2.5)} {paper.n(y)}a2.5 2.5 0 1 0 5 0a2.5 2.5 0 1 0 -5 0"
        for y in (FEED / 2, height - FEED / 2)
        for place in range(count)
    ]
    drawn.append(paper.path(holes, fill=paper.HOLE, stroke=paper.PAPER_EDGE, stroke_width=0.8))
    return drawn


def _rulings(ticks: Sequence[Tick], axis: TimeAxis, span: tuple[float, float]) -> list[str]:
    shown = shown_ticks(ticks, axis)
    drawn = []
    for tick in ticks:
        stroke = paper.RULING_STRONG if tick in shown else paper.RULING
        at = axis.x(tick.at_ms)
        drawn.append(paper.line((at, span[0]), (at, span[1]), stroke, stroke_width=0.8))
    return drawn


def shown_ticks(ticks: Sequence[Tick], axis: TimeAxis, apart: float = 46.0) -> list[Tick]:
    """The ticks that get their hour printed: as many as fit, evenly."""
    if len(ticks) < 2:
        return list(ticks)
    step = axis.x(ticks[1].at_ms) - axis.x(ticks[0].at_ms)
    every = next((count for count in (1, 2, 3, 4, 6, 8, 12, 24) if count * step >= apart), 24)
    return list(ticks[::every])


def _hours(ticks: Sequence[Tick], axis: TimeAxis, heights: tuple[float, float], size: float) -> list[str]:
    return [
        paper.words(axis.x(tick.at_ms), y, tick.label, size, text_anchor="middle", fill=paper.SOFT_TEXT)
        for tick in shown_ticks(ticks, axis)
        for y in heights
    ]


def _trace(
    lane: TraceLane, key: str, measures: Sheet, where: tuple[TimeAxis, float]
) -> tuple[list[str], float]:
    axis, at = where
    size = measures.size + 1
    head = at + size + 7
    drawn = [
        paper.words(
            axis.left, head, lane.title, size, font_weight="bold", fill=paper.INKS[lane.ink], **paper.HALO
        ),
        paper.words(
            axis.right,
            head,
            lane.short if measures.stacked else lane.summary,
            size,
            text_anchor="end",
            fill=paper.TEXT,
            **paper.HALO,
        ),
    ]
    place = Place(axis, head + 6, measures.trace_height, measures.size, key)
    drawn += lanes.trace(lane, place)
    drawn.append(
        paper.box(axis.left, place.top, axis.width, place.height, fill="none", stroke=paper.RULING_STRONG)
    )
    return drawn, place.bottom + 4


def _marks(
    lane: MarkLane, key: str, measures: Sheet, where: tuple[TimeAxis, float]
) -> tuple[list[str], float]:
    axis, at = where
    size, top = measures.size, at + 9
    if measures.stacked:
        top = at + size + 8
        drawn = [
            paper.words(
                axis.left, top - 5, lane.title, size, font_weight="bold", fill=paper.TEXT, **paper.HALO
            ),
            paper.words(
                axis.right, top - 5, lane.summary, size, text_anchor="end", fill=paper.TEXT, **paper.HALO
            ),
        ]
    else:
        base = top + measures.mark_height - 0.5
        drawn = [
            paper.words(
                axis.left - 8, base, lane.title, size, text_anchor="end", font_weight="bold", fill=paper.TEXT
            ),
            paper.words(axis.right + 10, base, lane.summary, size, fill=paper.TEXT),
        ]
    place = Place(axis, top, measures.mark_height, size, key)
    return drawn + lanes.marks(lane, place), place.bottom


def flag_rows(flags: Sequence[Flag], axis: TimeAxis, apart: float = 19.0) -> list[int]:
    """The row of each flag, so that neighbours do not cover each other; the last row takes what is left."""
    ends = [float("-inf")] * FLAG_ROWS
    rows = []
    for flag in flags:
        x = axis.x(flag.at_ms)
        row = next((at for at, end in enumerate(ends) if x >= end), FLAG_ROWS - 1)
        ends[row] = x + apart
        rows.append(row)
    return rows


def _flags(
    flags: Sequence[Flag], rows: Sequence[int], axis: TimeAxis, span: tuple[float, float]
) -> tuple[list[str], list[str]]:
    """The poles, which lie under the lanes, and the cloths with their numbers."""
    poles, cloths = [], []
    for flag, row in zip(flags, rows, strict=True):
        x, y = axis.x(flag.at_ms), span[0] + FLAG_ROW * row
        colour = paper.ALARM if flag.alarm else paper.TEXT
        poles.append(paper.line((x, y), (x, span[1]), colour, stroke_width=0.8, stroke_dasharray="1.5 3"))
        if flag.to_ms is not None:  # how long it stood
            hem = y + 15.5
            poles.append(
                paper.line((x, hem), (axis.x(flag.to_ms), hem), colour, stroke_width=1.6, class_="stood")
            )
        cloths.append(_cloth(flag, (x, y), axis, colour))
    return poles, cloths


def _cloth(flag: Flag, at: tuple[float, float], axis: TimeAxis, colour: str) -> str:
    """An alarm's flag is a filled pennant, a note's a plain square; at the right edge they fly leftwards."""
    x, y = at
    way = -1.0 if x + 18 > axis.right + 8 else 1.0
    if flag.alarm:
        shape = paper.path(
            [
                f"M{paper.n(x)} {paper.n(y)}h{paper.n(way * 14)}"
                f"l{paper.n(way * 4)} 7.5l{paper.n(-way * 4)} 7.5"
                f"H{paper.n(x)}z"
            ],
            fill=colour,
        )
    else:
        shape = paper.box(min(x, x + way * 15), y, 15, 15, fill=paper.PAPER, stroke=colour, stroke_width=1.0)
    number = paper.words(
        x + way * 7.5,
        y + 11.2,
        str(flag.number),
        10.5,
        text_anchor="middle",
        font_weight="bold",
        fill=paper.PAPER if flag.alarm else paper.TEXT,
    )
    return paper.element("g", shape + number, class_="flag")
