"""One lane of the strip at a time: a trace with its band, or the marks of a relay. Returns SVG text.

Not here: where lanes lie (`strip`), colours (`paper`), arithmetic (`scale`).
"""

from collections.abc import Sequence
from dataclasses import dataclass

from gillhouse.drawing import paper
from gillhouse.drawing.figures import BandSpan, MarkLane, Step, TraceLane, gaps
from gillhouse.drawing.paper import n
from gillhouse.drawing.scale import Column, TimeAxis, ValueAxis, envelope, levels, value_range

TOUCHING = 0.05
"""Columns closer than this are one line."""
LEAST_MARK = 1.3
"""Narrowest mark: a pulse of seconds is still seen."""


@dataclass(frozen=True, slots=True)
class Place:
    """Where a lane lies on the paper."""

    axis: TimeAxis
    top: float
    height: float
    size: float
    """Of small print."""
    key: str

    @property
    def bottom(self) -> float:
        return self.top + self.height


def trace(lane: TraceLane, place: Place) -> list[str]:
    """Band tint, gaps, what lies outside the band, and the pen line."""
    low, high = value_range(lane)
    scale = ValueAxis(low, high, place.top, place.bottom)
    columns = columns_of(lane.steps, place.axis)
    ink = paper.INKS[lane.ink]
    drawn = _bands(lane, place, scale) + _level_rulings(place, scale)
    drawn += _gaps(lane, place)
    drawn += _outside(lane.bands, columns, (place.axis, scale), ink)
    drawn += [_pen_line(piece, scale, ink) for piece in pieces(columns)]
    if columns:
        drawn.append(_pen(columns[-1], scale, ink))
    drawn += _scale_print(lane, place, scale)
    return drawn


def columns_of(steps: Sequence[Step], axis: TimeAxis) -> list[Column]:
    """One column per step, or the envelope where there are more steps than units of width."""
    if len(steps) > axis.width:
        return envelope(steps, axis)
    return [
        Column(axis.x(step.from_ms), axis.x(step.to_ms), step.value, step.value, step.late) for step in steps
    ]


def pieces(columns: Sequence[Column]) -> list[list[Column]]:
    """Columns that touch and are drawn with the same line."""
    found: list[list[Column]] = []
    for column in columns:
        last = found[-1][-1] if found else None
        if last and last.late is column.late and column.left - last.right < TOUCHING:
            found[-1].append(column)
        else:
            found.append([column])
    return found


def _bands(lane: TraceLane, place: Place, scale: ValueAxis) -> list[str]:
    drawn = []
    for band in lane.bands:
        if band.low is None and band.high is None:
            continue
        left, right = place.axis.x(band.from_ms), place.axis.x(band.to_ms)
        top = scale.y(scale.high if band.high is None else band.high)
        bottom = scale.y(scale.low if band.low is None else band.low)
        drawn.append(paper.box(left, top, right - left, bottom - top, fill=paper.BAND, fill_opacity="0.6"))
        for edge in (band.low, band.high):
            if edge is not None:
                at = scale.y(edge)
                drawn.append(
                    paper.line(
                        (left, at), (right, at), paper.BAND_EDGE, stroke_width=0.9, stroke_dasharray="5 3"
                    )
                )
    return drawn


def _gaps(lane: TraceLane, place: Place) -> list[str]:
    axis = place.axis
    drawn = []
    for begin, end in gaps(lane.steps, axis.from_ms, axis.to_ms):
        left, right = axis.x(begin), axis.x(end)
        drawn.append(paper.box(left, place.top, right - left, place.height, fill=paper.PAPER))
        drawn.append(
            paper.box(
                left, place.top, right - left, place.height, fill=f"url(#{place.key}-gap)", class_="gap"
            )
        )
        if right - left > 9 * place.size:
            word = lane.empty if not lane.steps and lane.empty else "no readings"
            drawn += _label_on_paper((left + right) / 2, (place.top + place.bottom) / 2, word, place.size)
    return drawn


def _label_on_paper(x: float, y: float, word: str, size: float) -> list[str]:
    half = 0.29 * size * len(word) + 4
    return [
        paper.box(x - half, y - 0.8 * size, 2 * half, 1.6 * size, fill=paper.PAPER, rx=2.0),
        paper.words(x, y + 0.35 * size, word, size, text_anchor="middle", fill=paper.SOFT_TEXT),
    ]


def _outside(
    bands: Sequence[BandSpan], columns: Sequence[Column], axes: tuple[TimeAxis, ValueAxis], ink: str
) -> list[str]:
    """A wash of ink between the limit and the trace where it left the band."""
    axis, scale = axes
    strokes = []
    for column in columns:
        middle = (column.left + column.right) / 2
        band = next((one for one in bands if axis.x(one.from_ms) <= middle <= axis.x(one.to_ms)), None)
        if band is None:
            continue
        if band.low is not None and column.low < band.low:
            strokes.append(_block(column, scale.y(band.low), scale.y(column.low)))
        if band.high is not None and column.high > band.high:
            strokes.append(_block(column, scale.y(band.high), scale.y(column.high)))
    return [paper.path(strokes, fill=ink, fill_opacity="0.28", class_="outside")] if strokes else []


def _block(column: Column, edge: float, value: float) -> str:
    return f"M{n(column.left)} {n(edge)}V{n(value)}H{n(column.right)}V{n(edge)}Z"


def _pen_line(piece: Sequence[Column], scale: ValueAxis, ink: str) -> str:
    """The trace as steps, or as a filled ribbon where columns carry a least and a most."""
    dash = {"stroke_dasharray": "2.5 2.5", "class_": "late"} if piece[0].late else {"class_": "trace"}
    upper = [_along(column, scale.y(column.high)) for column in piece]
    start = f"M{n(piece[0].left)} {n(scale.y(piece[0].high))}"
    if all(column.low == column.high for column in piece):
        return paper.path(
            [start, *upper], fill="none", stroke=ink, stroke_width=1.4, stroke_linejoin="round", **dash
        )
    lower = [f"V{n(scale.y(column.low))}H{n(column.left)}" for column in reversed(piece)]
    return paper.path(
        [start, *upper, *lower, "Z"],
        fill="none" if piece[0].late else ink,
        stroke=ink,
        stroke_width=0.9,
        stroke_linejoin="round",
        **dash,
    )


def _along(column: Column, y: float) -> str:
    return f"V{n(y)}H{n(column.right)}"


def _pen(column: Column, scale: ValueAxis, ink: str) -> str:
    """The pen where it last touched the paper."""
    x, y = column.right, scale.y((column.low + column.high) / 2)
    return paper.path([f"M{n(x)} {n(y)}l6 -3.4v6.8z"], fill=ink)


def _level_rulings(place: Place, scale: ValueAxis) -> list[str]:
    axis = place.axis
    return [
        paper.line((axis.left, scale.y(level)), (axis.right, scale.y(level)), paper.RULING, stroke_width=0.6)
        for level in levels(scale.low, scale.high)
    ]


def _scale_print(lane: TraceLane, place: Place, scale: ValueAxis) -> list[str]:
    """The band's edges in full ink at the left edge, and the levels of the rulings where there is room.

    A band on its way to another passes edges such as 1214.29: nobody reads the last digits.
    """
    edges = sorted({edge for band in lane.bands[-1:] for edge in (band.low, band.high) if edge is not None})
    printed = [(edge, paper.TEXT, "bold") for edge in edges]
    for level in levels(scale.low, scale.high):
        if all(abs(scale.y(level) - scale.y(other)) > 1.15 * place.size for other, _, _ in printed):
            printed.append((level, paper.SOFT_TEXT, "normal"))
    return [
        paper.words(
            place.axis.left - 6,
            scale.y(level) + 0.35 * place.size,
            f"{round(level, 2 if abs(level) < 100.0 else 0):g}",
            place.size,
            text_anchor="end",
            font_weight=weight,
            fill=colour,
        )
        for level, colour, weight in printed
    ]


def marks(lane: MarkLane, place: Place) -> list[str]:
    """A line while nothing happens, a mark while it is on; hollow marks for what was only advised."""
    axis = place.axis
    drawn = [
        paper.line(
            (axis.left, place.bottom), (axis.right, place.bottom), paper.RULING_STRONG, stroke_width=1.0
        )
    ]
    strokes = []
    for begin, end in lane.solid:
        left, right = _mark(axis, begin, end)
        strokes.append(f"M{n(left)} {n(place.bottom)}V{n(place.top)}H{n(right)}V{n(place.bottom)}Z")
    if strokes:
        drawn.append(paper.path(strokes, fill=paper.MARK, class_="on"))
    hollow = []
    for begin, end in lane.hollow:
        left, right = _mark(axis, begin, end)
        hollow.append(f"M{n(left)} {n(place.bottom)}V{n(place.top)}H{n(right)}V{n(place.bottom)}")
    if hollow:
        drawn.append(paper.path(hollow, fill="none", stroke=paper.MARK, stroke_width=0.8, class_="advised"))
    return drawn


def _mark(axis: TimeAxis, begin: int, end: int) -> tuple[float, float]:
    left, right = axis.x(begin), axis.x(end)
    if right - left < LEAST_MARK:
        middle = min((left + right) / 2, axis.right - LEAST_MARK / 2)
        return middle - LEAST_MARK / 2, middle + LEAST_MARK / 2
    return left, right
