"""The calendar of windows: every bar where its days are, sound SVG whatever the words."""

from xml.etree import ElementTree

import pytest
from hypothesis import given
from hypothesis import strategies as st

from gillhouse.drawing.figures import Tick
from gillhouse.drawing.windows import LEFT, RIGHT, WIDE, Bar, Block, Row, Upright, Windows, draw

DAY = 86_400_000
SVG = "{http://www.w3.org/2000/svg}"


def sheet(*bars: Bar, clear_by_ms: int | None = None, words: str = "flies") -> Windows:
    return Windows(
        key="pests", title=f"{words}: when", description="a test", from_ms=0, to_ms=100 * DAY,
        ticks=[Tick(day * DAY, str(day)) for day in range(0, 100, 14)],
        blocks=[Block(words, [Row(words, bars, strong=True)], clear_by_ms, f"clear before {words}"),
                Block("bare", [], empty=words)],
        uprights=[Upright(30 * DAY, "now")], ending=(60 * DAY, 80 * DAY),
    )  # fmt: skip


def of_class(root: ElementTree.Element, name: str) -> list[ElementTree.Element]:
    return [one for one in root.iter() if one.get("class") == name]


def x_of(day: float) -> float:
    return LEFT + (WIDE - RIGHT - LEFT) * day / 100


def test_a_bar_lies_on_its_days() -> None:
    root = ElementTree.fromstring(draw(sheet(Bar(1, 20 * DAY, 25 * DAY, 40 * DAY))))
    (bar,) = of_class(root, "window")
    assert float(bar.get("x", "")) == pytest.approx(x_of(20), abs=0.06)
    assert float(bar.get("width", "")) == pytest.approx(x_of(40) - x_of(20), abs=0.11)
    (likely,) = of_class(root, "likely")
    assert float(likely.get("x1", "")) == pytest.approx(x_of(25), abs=0.06)
    assert of_class(root, "open") == []


def test_an_end_that_is_not_known_is_dotted_and_runs_to_the_edge() -> None:
    for end in (None, 150 * DAY):
        root = ElementTree.fromstring(draw(sheet(Bar(1, 90 * DAY, None, end))))
        (bar,) = of_class(root, "open")
        assert float(bar.get("x", "")) + float(bar.get("width", "")) == pytest.approx(x_of(100), abs=0.11)
        assert bar.get("stroke-dasharray") == "2 2"


def test_what_is_not_on_the_sheet_is_not_drawn() -> None:
    root = ElementTree.fromstring(
        draw(sheet(Bar(1, 120 * DAY, None, None), Bar(2, -20 * DAY, None, -5 * DAY)))
    )
    assert of_class(root, "window") == of_class(root, "open") == []


def test_odd_and_even_generations_lie_apart() -> None:
    root = ElementTree.fromstring(draw(sheet(Bar(1, 0, None, 50 * DAY), Bar(2, 10 * DAY, None, 60 * DAY))))
    first, second = of_class(root, "window")
    assert float(first.get("y", "")) + float(first.get("height", "")) <= float(second.get("y", ""))


def test_the_moment_to_clear_by_is_marked_and_named() -> None:
    root = ElementTree.fromstring(draw(sheet(clear_by_ms=70 * DAY)))
    (mark,) = of_class(root, "clear")
    assert float(mark.get("x1", "")) == pytest.approx(x_of(70), abs=0.06)
    assert "clear before flies" in [one.text for one in root.iter(f"{SVG}text")]
    assert of_class(ElementTree.fromstring(draw(sheet(clear_by_ms=170 * DAY))), "clear") == []


@given(
    st.text(st.characters(exclude_categories=("Cc", "Cs")), max_size=30),
    st.lists(st.tuples(st.integers(-50, 150), st.integers(0, 80), st.booleans()), max_size=9),
)
def test_whatever_the_words_and_bars_it_is_sound(words: str, told: list[tuple[int, int, bool]]) -> None:
    bars = [
        Bar(number, begin * DAY, None, None if is_open else (begin + days) * DAY)
        for number, (begin, days, is_open) in enumerate(told, 1)
    ]
    root = ElementTree.fromstring(draw(sheet(*bars, words=words)))
    for one in (*of_class(root, "window"), *of_class(root, "open")):
        left = float(one.get("x", ""))
        assert LEFT - 0.1 <= left <= left + float(one.get("width", "")) <= WIDE - RIGHT + 0.2
