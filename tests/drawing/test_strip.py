"""The strip chart: nothing lost between least and most, gaps left blank, sound SVG whatever the words."""

import re
from collections.abc import Sequence
from itertools import pairwise
from xml.etree import ElementTree

import pytest
from hypothesis import given
from hypothesis import strategies as st

from gillhouse.drawing.figures import BandSpan, Flag, Ink, MarkLane, Step, Strip, Tick, TraceLane, gaps
from gillhouse.drawing.lanes import columns_of, pieces
from gillhouse.drawing.scale import TimeAxis, ValueAxis, envelope, levels, value_range
from gillhouse.drawing.strip import FLAG_ROWS, NARROW, WIDE, draw, flag_rows, shown_ticks

H = 3_600_000
SVG = "{http://www.w3.org/2000/svg}"


def lane(steps: Sequence[Step], **more: object) -> TraceLane:
    words = {"title": "Humidity %", "summary": "83-93 %", "short": "83-93 %", "ink": Ink.HUMIDITY}
    figures = {"bands": [BandSpan(0, 12 * H, 85, 95)], "least_span": 10.0, "ceiling": 100.0}
    return TraceLane(steps=steps, **{**words, **figures, **more})  # type: ignore[arg-type]


def strip(traces: Sequence[TraceLane] = (), **more: object) -> Strip:
    parts: dict[str, object] = {"marks": [], "flags": [], "title": "Tent", "description": "a night"}
    ticks = [Tick(hour * H, f"{hour:02d}:00") for hour in range(13)]
    return Strip(key="tent", from_ms=0, to_ms=12 * H, ticks=ticks, traces=traces, **{**parts, **more})  # type: ignore[arg-type]


def drawn(sheet: Strip, width: float = WIDE) -> ElementTree.Element:
    return ElementTree.fromstring(draw(sheet, width))


def of_class(root: ElementTree.Element, name: str) -> list[ElementTree.Element]:
    return [one for one in root.iter() if one.get("class") == name]


values = st.lists(st.floats(-40, 100, allow_nan=False), min_size=1, max_size=3000)


def steps_of(heights: Sequence[float], every: int = 12 * H // 3000) -> list[Step]:
    return [Step(place * every, (place + 1) * every, value) for place, value in enumerate(heights)]


@given(values, st.floats(10, 900))
def test_the_envelope_loses_neither_least_nor_most(heights: list[float], width: float) -> None:
    axis = TimeAxis(0, 12 * H, 0.0, width)
    columns = envelope(steps_of(heights), axis)
    assert min(column.low for column in columns) == min(heights)
    assert max(column.high for column in columns) == max(heights)
    assert len(columns) <= width + 2


@given(values)
def test_at_every_step_the_envelope_covers_its_value(heights: list[float]) -> None:
    axis = TimeAxis(0, 12 * H, 0.0, 300.0)
    columns = envelope(steps_of(heights), axis)
    for step in steps_of(heights):
        at = axis.x(step.from_ms)
        here = [column for column in columns if int(column.left) == int(at)]
        assert any(column.low <= step.value <= column.high for column in here)


@given(st.floats(-1e4, 1e5), st.floats(1e-3, 1e5))
def test_levels_are_few_and_inside(low: float, span: float) -> None:
    found = levels(low, low + span)
    assert 1 <= len(found) <= 6
    assert all(low - 1e-3 <= level <= low + span + 1e-3 for level in found)


def test_places_on_the_axes() -> None:
    """By hand: half of the time is half of the way, values run upwards, the outside is held at the edge."""
    axis = TimeAxis(0, 100, 10.0, 110.0)
    assert [axis.x(ms) for ms in (-5, 0, 50, 100, 200)] == [10.0, 10.0, 60.0, 110.0, 110.0]
    scale = ValueAxis(80, 100, 0.0, 50.0)
    assert [scale.y(value) for value in (70, 80, 90, 100, 120)] == [50.0, 50.0, 25.0, 0.0, 0.0]


def test_the_scale_shows_band_and_trace_but_no_more_than_full() -> None:
    low, high = value_range(lane([Step(0, H, 70.0), Step(H, 2 * H, 99.9)]))
    assert low < 70.0
    assert high == 100.0


def test_more_points_than_width_become_an_envelope_few_stay_steps() -> None:
    axis = TimeAxis(0, 12 * H, 0.0, 800.0)
    assert len(columns_of(steps_of([90.0] * 100), axis)) == 100
    assert len(columns_of(steps_of([90.0] * 3000), axis)) <= 801


def test_a_gap_is_blank_and_hatched() -> None:
    """By hand: known 0-4 h and 8-12 h of 12: one hatched third of the lane's width."""
    root = drawn(strip([lane([Step(0, 4 * H, 90.0), Step(8 * H, 12 * H, 91.0)])]))
    (gap,) = of_class(root, "gap")
    assert gap.get("fill") == "url(#tent-gap)"
    assert float(gap.get("width", "0")) == pytest.approx((WIDE - 104 - 138) / 3, abs=0.2)
    assert len(of_class(root, "trace")) == 2
    assert gaps([Step(0, 4, 1.0), Step(8, 12, 1.0)], 0, 12) == [(4, 8)]


def test_a_lane_without_readings_says_so() -> None:
    root = drawn(strip([lane([], empty="no readings this night")]))
    assert "no readings this night" in "".join(root.itertext())
    assert of_class(root, "trace") == []


def test_late_readings_are_dashed() -> None:
    root = drawn(strip([lane([Step(0, H, 90.0), Step(H, 2 * H, 91.0, late=True), Step(2 * H, 3 * H, 92.0)])]))
    (late,) = of_class(root, "late")
    assert late.get("stroke-dasharray")
    assert len(of_class(root, "trace")) == 2


def test_what_lies_outside_the_band_is_washed() -> None:
    inside, dry = [Step(0, H, 90.0)], [Step(0, H, 90.0), Step(H, 2 * H, 80.0)]
    assert of_class(drawn(strip([lane(inside)])), "outside") == []
    assert len(of_class(drawn(strip([lane(dry)])), "outside")) == 1


def test_a_relay_mark_is_seen_however_short_and_advice_is_hollow() -> None:
    marks = [MarkLane("mist", "6.1 l", [(H, H + 1000)]), MarkLane("fan", "advised", [], [(2 * H, 3 * H)])]
    root = drawn(strip(marks=marks))
    (on,) = of_class(root, "on")
    left, right = (float(x) for x in re.findall(r"[MH]([\d.]+)", on.get("d", ""))[:2])
    assert right - left >= 1.2
    (advised,) = of_class(root, "advised")
    assert advised.get("fill") == "none"


def test_flags_close_together_stand_in_rows() -> None:
    axis = TimeAxis(0, 12 * H, 0.0, 800.0)
    flags = [Flag(number, number * 60_000, True) for number in range(1, 6)]
    assert flag_rows(flags, axis)[:3] == [0, 1, 2]
    assert max(flag_rows(flags, axis)) == FLAG_ROWS - 1


def test_how_long_an_alarm_stood_is_drawn() -> None:
    """By hand: from 3 h to 6 h of 12: a quarter of the lanes' width. One that still stands has no hem."""
    root = drawn(strip(flags=[Flag(1, 3 * H, True, 6 * H), Flag(2, 7 * H, True)]))
    (hem,) = of_class(root, "stood")
    width = float(hem.get("x2", "0")) - float(hem.get("x1", "0"))
    assert width == pytest.approx((WIDE - 104 - 138) / 4, abs=0.2)


@given(
    st.text(st.characters(exclude_categories=["Cs", "Cc"], exclude_characters="\ufffe\uffff"), max_size=60),
    st.lists(st.integers(0, 12 * H), max_size=30),
    st.sampled_from([NARROW, WIDE]),
)
def test_sound_svg_whatever_the_words(words: str, at: list[int], width: float) -> None:
    flags = [Flag(number, ms, number % 2 == 0) for number, ms in enumerate(sorted(at), start=1)]
    marks = [MarkLane(words, words, [(0, H)])]
    root = drawn(
        strip(
            [lane([Step(0, H, 90.0)], title=words, summary=words, short=words)],
            marks=marks,
            flags=flags,
            title=words,
            description=words,
        ),
        width,
    )
    assert root.tag == f"{SVG}svg"
    assert (root.findtext(f"{SVG}title"), root.findtext(f"{SVG}desc")) == (words, words)
    assert root.get("aria-labelledby") == "tent-title tent-desc"
    assert len(of_class(root, "flag")) == len(flags)
    wide, high = (float(part) for part in root.get("viewBox", "").split()[2:])
    for one in root.iter(f"{SVG}text"):
        assert 0 <= float(one.get("x", "-1")) <= wide
        assert 0 <= float(one.get("y", "-1")) <= high


def test_printed_hours_do_not_touch() -> None:
    ticks = [Tick(hour * H, f"{hour:02d}:00") for hour in range(14)]
    for width in (NARROW, WIDE):
        axis = TimeAxis(0, 13 * H, 36.0, width - 19.0)
        places = [axis.x(tick.at_ms) for tick in shown_ticks(ticks, axis)]
        assert all(second - first >= 46 for first, second in pairwise(places))


def test_inks_read_on_paper_and_on_the_band() -> None:
    """Contrast of 4.5 and more (WCAG 2.2, 1.4.3) for text and traces."""
    from gillhouse.drawing import paper

    def luminance(colour: str) -> float:
        parts = [int(colour[at : at + 2], 16) / 255 for at in (1, 3, 5)]
        red, green, blue = (c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in parts)
        return 0.2126 * red + 0.7152 * green + 0.0722 * blue

    for ink in (*paper.INKS.values(), paper.TEXT, paper.SOFT_TEXT, paper.ALARM):
        for ground in (paper.PAPER, paper.BAND):
            light, dark = sorted((luminance(ink), luminance(ground)), reverse=True)
            assert (light + 0.05) / (dark + 0.05) >= 4.5, (ink, ground)


def test_pieces_break_at_gaps_and_at_late_ones() -> None:
    axis = TimeAxis(0, 100, 0.0, 100.0)
    steps = [Step(0, 10, 1.0), Step(10, 20, 2.0), Step(30, 40, 1.0), Step(40, 50, 1.0, late=True)]
    assert [len(piece) for piece in pieces(columns_of(steps, axis))] == [2, 1, 1]
