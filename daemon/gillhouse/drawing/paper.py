"""Pieces of SVG: the colours of paper and inks, and elements as text. Nothing here knows a night.

Every colour that carries a meaning also differs in form (shape, dash, hatch, lane), so the chart reads the
same without colour vision and in a black and white print. Inks on the paper have a contrast of 4.5 or more.
"""

from collections.abc import Sequence
from html import escape
from typing import Protocol

from gillhouse.drawing.figures import Ink

PAPER = "#fbf8ef"
PAPER_EDGE = "#c4b896"
HOLE = "#fffefb"
RULING = "#d3dccb"
RULING_STRONG = "#aebda4"
BAND = "#d5e2bb"
BAND_EDGE = "#8ea27a"
TEXT = "#26241f"
SOFT_TEXT = "#5c574b"
HATCH = "#b3a988"
ALARM = "#8f2415"
MARK = "#26241f"

INKS: dict[Ink, str] = {Ink.HUMIDITY: "#0b4f7d", Ink.CO2: "#6a2c70", Ink.TEMPERATURE: "#a03c00"}


def n(value: float) -> str:
    """A coordinate, to a tenth, without trailing noise."""
    text = f"{value:.1f}"
    return text[:-2] if text.endswith(".0") else text


def element(name: str, body: str = "", /, **attributes: str | float) -> str:
    """One element; underscores in attribute names become hyphens."""
    told = "".join(
        f' {key.rstrip("_").replace("_", "-")}="{escape(value if isinstance(value, str) else n(value))}"'
        for key, value in attributes.items()
    )
    return f"<{name}{told}>{body}</{name}>" if body else f"<{name}{told}/>"


def plain(text: str) -> str:
    """Text between tags."""
    return escape(text, quote=False)


def words(x: float, y: float, text: str, size: float, **attributes: str | float) -> str:
    return element("text", plain(text), x=x, y=y, font_size=size, **attributes)


HALO: dict[str, str | float] = {
    "stroke": PAPER,
    "stroke_width": 3.0,
    "paint_order": "stroke",
    "stroke_linejoin": "round",
}
"""Keeps small print clear of what it is printed over."""


def box(left: float, top: float, width: float, height: float, **attributes: str | float) -> str:
    return element("rect", "", x=left, y=top, width=max(width, 0.0), height=max(height, 0.0), **attributes)


def line(start: tuple[float, float], end: tuple[float, float], stroke: str, **attributes: str | float) -> str:
    return element("line", "", x1=start[0], y1=start[1], x2=end[0], y2=end[1], stroke=stroke, **attributes)


def path(steps: Sequence[str], **attributes: str | float) -> str:
    return element("path", "", d="".join(steps), **attributes)


class Titled(Protocol):
    """A drawing with a name for its parts, a title, and all that a reader who cannot see it needs."""

    @property
    def key(self) -> str: ...

    @property
    def title(self) -> str: ...

    @property
    def description(self) -> str: ...


def sheet(drawing: Titled, kind: str, size: tuple[float, float], body: Sequence[str]) -> str:
    """The whole drawing as one SVG element, told to a reader who cannot see it. `kind`: its class."""
    return element(
        "svg",
        "\n".join(
            [
                element("title", plain(drawing.title), id=f"{drawing.key}-title"),
                element("desc", plain(drawing.description), id=f"{drawing.key}-desc"),
                *body,
            ]
        ),
        xmlns="http://www.w3.org/2000/svg",
        viewBox=f"0 0 {n(size[0])} {n(size[1])}",
        width=size[0],
        height=size[1],
        role="img",
        aria_labelledby=f"{drawing.key}-title {drawing.key}-desc",
        class_=kind,
        font_family="'DejaVu Sans Condensed','Liberation Sans Narrow','Arial Narrow',Arial,sans-serif",
    )


def hatch(key: str) -> str:
    """The pattern of a gap, to be named `key-gap`."""
    stroke = line((0, 0), (0, 7), HATCH, stroke_width=1.6)
    return element(
        "pattern",
        stroke,
        id=f"{key}-gap",
        width=7,
        height=7,
        patternUnits="userSpaceOnUse",
        patternTransform="rotate(45)",
    )
