"""The pictures of docs/explanation/control.md, drawn from runs of the bench's autumn tent.

`python -m tests.docs.control_pictures` from the checkout's top runs them anew and writes the SVG files.
`test_control_pictures` runs them too and holds what the pictures say against it.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import pairwise
from pathlib import Path

from tests.bench.hold_the_room.cell import RULES, Cell, drive, plant_of
from tests.bench.hold_the_room.plant import Plant
from tests.bench.hold_the_room.rules import WALL_MS, Ours

from gillhouse.core.air import humidity_pct
from gillhouse.drawing import paper
from gillhouse.drawing.figures import BandSpan, Ink, MarkLane, Step, Strip, Tick, TraceLane
from gillhouse.drawing.lanes import Place, marks
from gillhouse.drawing.scale import TimeAxis, ValueAxis, levels
from gillhouse.drawing.strip import draw

PICTURES = Path(__file__).parents[2] / "docs" / "pictures"
LOW_PCT, HIGH_PCT, HIGH_PPM = 85.0, 95.0, 1000.0
MINUTE_MS, HOUR_MS = 60_000, 3_600_000
WIDTH, LEFT, RIGHT = 760.0, 52.0, 26.0
FONT = "'DejaVu Sans Condensed','Liberation Sans Narrow','Arial Narrow',Arial,sans-serif"


@dataclass(frozen=True, slots=True)
class Moment:
    """The true air, what is made of it, and what runs."""

    at_ms: int
    air_pct: float
    shown_pct: float
    believed_pct: float
    co2_ppm: float
    mist: bool
    fan: bool
    useful: float
    fan_factor: float


def follow(rule: str, from_h: float, to_h: float, every_ms: int) -> list[Moment]:
    """One run of the bench's autumn tent, looked at from `from_h` to `to_h` after six in the evening."""
    cell = Cell("autumn", "tent", rule, days=2.0)
    plant = plant_of(cell)
    made = RULES[rule][1](plant)
    assert isinstance(made, Ours)
    drive(plant, made, int(from_h * HOUR_MS))
    return list(_moments(plant, made, range(int(from_h * HOUR_MS), int(to_h * HOUR_MS) + 1, every_ms)))


def _moments(plant: Plant, rule: Ours, times: Sequence[int]) -> Iterator[Moment]:
    for at_ms in times:
        drive(plant, rule, at_ms)
        room, water = plant.room, rule.farm._state.spaces["tent"].mist.air
        sensor = plant.sensors["rh"]
        yield Moment(
            at_ms,
            min(room.humidity_pct, 100.0),
            min((sensor._felt or 0.0) + sensor.bias, 100.0),
            min(humidity_pct(room.temperature_c, water.ratio or 0.0), 100.0),
            room.co2_ppm,
            plant.on["mist"],
            plant.on["fan"],
            water.useful.value,
            water.fan.value,
        )


def runs(moments: Sequence[Moment], relay: str) -> list[tuple[int, int]]:
    """When a relay was on, as stretches of time."""
    found: list[tuple[int, int]] = []
    for before, after in pairwise(moments):
        if not getattr(before, relay):
            continue
        if found and found[-1][1] == before.at_ms:
            found[-1] = (found[-1][0], after.at_ms)
        else:
            found.append((before.at_ms, after.at_ms))
    return found


# --- an evening ----------------------------------------------------------------------------------------

EVENING = ("ours", 26.0, 29.0, 1_000)
"""Three hours of the second evening, from eight on."""


def evening(moments: Sequence[Moment]) -> str:
    """Humidity, CO2, mist and fan on one strip."""
    first, last = moments[0].at_ms, moments[-1].at_ms

    def lane(title: str, ink: Ink, of: str, band: tuple[float | None, float], span: float) -> TraceLane:
        steps = [Step(WALL_MS + a.at_ms, WALL_MS + b.at_ms, getattr(a, of)) for a, b in pairwise(moments)]
        least, most = min(s.value for s in steps), max(s.value for s in steps)
        told = f"{least:.0f} to {most:.0f}"
        spans = [BandSpan(WALL_MS + first, WALL_MS + last, *band)]
        return TraceLane(title, told, told, ink, steps, spans, span)

    def mark(title: str, relay: str) -> MarkLane:
        on = runs(moments, relay)
        seconds = sum(b - a for a, b in on) / 1000
        told = f"{seconds / 60:.0f} min" if seconds >= 600 else f"{seconds:.0f} s"
        return MarkLane(title, f"{len(on)} times, {told}", [(WALL_MS + a, WALL_MS + b) for a, b in on])

    ticks = [
        Tick(WALL_MS + at, f"{(18 + at // HOUR_MS) % 24:02d}:{at % HOUR_MS // MINUTE_MS:02d}")
        for at in range(first, last + 1, 30 * MINUTE_MS)
    ]
    strip = Strip(
        "evening",
        "Three hours of an autumn evening in the bench's tent",
        "The air's humidity keeps to its band near the lower edge; runs of the fan are met by pulses.",
        WALL_MS + first,
        WALL_MS + last,
        ticks,
        [
            lane("Humidity of the air, %", Ink.HUMIDITY, "air_pct", (LOW_PCT, HIGH_PCT), 12.0),
            lane("CO2, ppm", Ink.CO2, "co2_ppm", (None, HIGH_PPM), 300.0),
        ],
        [mark("Mist", "mist"), mark("Fan", "fan")],
        [],
    )
    return draw(strip)


# --- one pulse, and what is learnt: lines with their names beside them ----------------------------------


@dataclass(frozen=True, slots=True)
class Line:
    """A named line; `dash` tells it apart in black and white."""

    name: str
    values: Sequence[float]
    colour: str
    dash: str = ""
    width: float = 1.6
    name_at: float = 0.5
    """Where along the time its name stands, and how far above (below 0: under) the line."""
    above: float = 8.0
    left_of_it: bool = False


@dataclass(frozen=True, slots=True)
class Sheet:
    key: str
    title: str
    told: str
    times_ms: Sequence[int]
    lines: Sequence[Line]
    low: float
    high: float
    unit: str
    edge: tuple[float, str]
    """A line to compare with, and its name."""
    ticks: Sequence[Tick]
    marks: Sequence[MarkLane] = ()


def lines_drawn(sheet: Sheet, height: float = 250.0) -> str:
    """One SVG: lines over time, marks of relays below."""
    axis = TimeAxis(sheet.times_ms[0], sheet.times_ms[-1], LEFT, WIDTH - RIGHT)
    scale = ValueAxis(sheet.low, sheet.high, 40.0, 40.0 + height)
    body = [
        paper.box(
            0.5,
            0.5,
            WIDTH - 1,
            height + 80 + 24 * len(sheet.marks),
            fill=paper.PAPER,
            stroke=paper.PAPER_EDGE,
        )
    ]
    body.append(paper.words(LEFT, 24, sheet.unit, 12.5, font_weight="bold", fill=paper.TEXT))
    for level in levels(sheet.low, sheet.high, 6):
        y = scale.y(level)
        body.append(paper.line((axis.left, y), (axis.right, y), paper.RULING, stroke_width=0.8))
        body.append(paper.words(LEFT - 7, y + 4, f"{level:g}", 11.5, text_anchor="end", fill=paper.SOFT_TEXT))
    y = scale.y(sheet.edge[0])
    body.append(
        paper.line((axis.left, y), (axis.right, y), paper.BAND_EDGE, stroke_width=1.4, stroke_dasharray="5 3")
    )
    body.append(
        paper.words(axis.right - 4, y - 5, sheet.edge[1], 11.5, text_anchor="end", fill=paper.SOFT_TEXT)
    )
    for tick in sheet.ticks:
        x = axis.x(tick.at_ms)
        body.append(paper.line((x, scale.top), (x, scale.bottom), paper.RULING, stroke_width=0.8))
        body.append(
            paper.words(x, scale.bottom + 17, tick.label, 11.5, text_anchor="middle", fill=paper.SOFT_TEXT)
        )
    for line in sheet.lines:
        body += _line(line, sheet.times_ms, axis, scale)
    top = scale.bottom + 28
    for lane in sheet.marks:
        body.append(
            paper.words(
                LEFT - 7, top + 10, lane.title, 11.5, text_anchor="end", font_weight="bold", fill=paper.TEXT
            )
        )
        body += marks(lane, Place(axis, top, 11.0, 11.5, sheet.key))
        top += 24
    return _svg(sheet, body, height + 81 + 24 * len(sheet.marks))


def _line(line: Line, times_ms: Sequence[int], axis: TimeAxis, scale: ValueAxis) -> list[str]:
    points = [(axis.x(at), scale.y(value)) for at, value in zip(times_ms, line.values, strict=True)]
    way = [f"{'L' if n else 'M'}{paper.n(x)} {paper.n(y)}" for n, (x, y) in enumerate(points)]
    dash: dict[str, str | float] = {"stroke_dasharray": line.dash} if line.dash else {}
    x, y = points[int(line.name_at * (len(points) - 1))]
    return [
        paper.path(
            way, fill="none", stroke=line.colour, stroke_width=line.width, stroke_linejoin="round", **dash
        ),
        paper.words(
            x - 8 if line.left_of_it else x,
            y - line.above,
            line.name,
            12,
            text_anchor="end" if line.left_of_it else "start",
            fill=line.colour,
            font_weight="bold",
            **paper.HALO,
        ),
    ]


def _svg(sheet: Sheet, body: Sequence[str], height: float) -> str:
    told = paper.element("title", paper.plain(sheet.title), id=f"{sheet.key}-title")
    told += paper.element("desc", paper.plain(sheet.told), id=f"{sheet.key}-desc")
    return paper.element(
        "svg",
        "\n".join([told, *body]),
        xmlns="http://www.w3.org/2000/svg",
        viewBox=f"0 0 {paper.n(WIDTH)} {paper.n(height)}",
        width=WIDTH,
        height=height,
        role="img",
        aria_labelledby=f"{sheet.key}-title {sheet.key}-desc",
        font_family=FONT,
    )


PULSE = ("ours-true", 24.5, 30.0, 2_000)
"""The sensor is true here, but late: that is what is to be seen."""
BEFORE_MS, AFTER_MS = 2 * MINUTE_MS, 6 * MINUTE_MS


def pulse(moments: Sequence[Moment]) -> str:
    """What one fan run and its pulse do to the air, to the sensor, and to what is believed."""
    cut = around_a_fan_run(moments)
    begin = cut[0].at_ms + BEFORE_MS
    times = [moment.at_ms for moment in cut]
    ticks = [
        Tick(at, f"{(at - begin) // MINUTE_MS:d} min") for at in range(times[0], times[-1] + 1, MINUTE_MS)
    ]
    every = [value for m in cut for value in (m.air_pct, m.shown_pct, m.believed_pct)]
    return lines_drawn(
        Sheet(
            "pulse",
            "One run of the fan and the pulse that answers it",
            "The air rises at once with the pulse; the sensor shows it later; what is believed keeps up.",
            times,
            [
                Line(
                    "the sensor", [m.shown_pct for m in cut], paper.SOFT_TEXT, "7 4", name_at=0.8, above=10.0
                ),
                Line("the air", [m.air_pct for m in cut], paper.INKS[Ink.HUMIDITY], "", 1.6, 0.27, 0.0, True),
                Line(
                    "what is believed",
                    [m.believed_pct for m in cut],
                    paper.INKS[Ink.TEMPERATURE],
                    "2 3",
                    name_at=0.28,
                    above=-4.0,
                    left_of_it=True,
                ),
            ],
            min(*every, LOW_PCT) - 0.6,
            max(every) + 0.8,
            "Humidity, %",
            (LOW_PCT, "lower edge"),
            ticks,
            [MarkLane("Mist", "", runs(cut, "mist")), MarkLane("Fan", "", runs(cut, "fan"))],
        )
    )


def around_a_fan_run(moments: Sequence[Moment]) -> Sequence[Moment]:
    """The first fan run with a pulse in its first minute and two quiet minutes before it."""
    for at_ms, _ in runs(moments, "fan"):
        cut = [m for m in moments if at_ms - BEFORE_MS <= m.at_ms <= at_ms + AFTER_MS]
        quiet = not any(m.mist or m.fan for m in cut if m.at_ms < at_ms)
        answered = any(m.mist for m in cut if at_ms <= m.at_ms <= at_ms + MINUTE_MS)
        if quiet and answered and cut[0].at_ms <= at_ms - BEFORE_MS and cut[-1].at_ms == at_ms + AFTER_MS:
            return cut
    raise LookupError("no fan run of these hours stands alone; look at other hours (PULSE)")


LEARNT = ("ours", 0.0, 24.0, 300_000)
TRUE_FAN = 1 / 0.75
"""The tent's fan moves this much more than its label says (see the bench's spaces)."""


def learnt(moments: Sequence[Moment]) -> str:
    """What is learnt of a fan and a nozzle on the first day."""
    times = [moment.at_ms for moment in moments]
    ticks = [Tick(at, f"{at // HOUR_MS} h") for at in range(times[0], times[-1] + 1, 4 * HOUR_MS)]
    return lines_drawn(
        Sheet(
            "learnt",
            "What is learnt of a fan and a nozzle on their first day",
            "The fan's factor goes from 1 to near its true 1.33; the nozzle's useful share goes its way.",
            times,
            [
                Line(
                    "fan: true flow over label",
                    [m.fan_factor for m in moments],
                    paper.INKS[Ink.CO2],
                    name_at=0.35,
                    above=-22.0,
                ),
                Line(
                    "nozzle: share that stays in the air",
                    [m.useful for m in moments],
                    paper.INKS[Ink.HUMIDITY],
                    "7 4",
                    name_at=0.35,
                    above=12.0,
                ),
            ],
            0.2,
            1.6,
            "Factor",
            (TRUE_FAN, "the fan's true 1.33"),
            ticks,
        )
    )


DRAWN = {
    "control-evening.svg": (EVENING, evening),
    "control-pulse.svg": (PULSE, pulse),
    "control-learnt.svg": (LEARNT, learnt),
}


def main() -> None:
    for name, (what, drawn) in DRAWN.items():
        (PICTURES / name).write_text(drawn(follow(*what)) + "\n", encoding="utf-8")
        print(f"written: {PICTURES / name}")


if __name__ == "__main__":
    main()
