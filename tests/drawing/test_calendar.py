"""The calendar chart: sound SVG, a bar a week, nothing that hides or runs out of the sheet in a browser."""

from collections.abc import Iterator
from pathlib import Path
from xml.etree import ElementTree

import pytest
from selenium import webdriver
from selenium.webdriver.chrome.service import Service

from ahead.weather_years import AMSTERDAM, GREENSBORO, MIAMI, SAND_POINT, year
from gillhouse.ahead.evaporation import Cover
from gillhouse.ahead.season import crop_of, plan
from gillhouse.commands.season_told import chart
from gillhouse.config import load, shipped_dir
from gillhouse.drawing.calendar import WIDTH, Calendar, CropRow, WeekCell, WeekLane, draw
from servers import program


def of_class(svg: str, name: str) -> list[ElementTree.Element]:
    return [one for one in ElementTree.fromstring(svg).iter() if one.get("class") == name]


def sheet(name: str = "oyster", cells: list[WeekCell] | None = None) -> Calendar:
    lane = WeekLane("frost", [1.0, None, 2.0] + [0.0] * 49, "most 2")
    row = CropRow(name, cells or [WeekCell(0.5, True)] * 52, "52 weeks open")
    return Calendar("c", "A year", "told", [row], [lane], "from nowhere")


def test_every_week_has_its_mark_and_its_height() -> None:
    cells = [WeekCell(1.0, True), WeekCell(0.25, False), WeekCell(None, False)] + [WeekCell(0.0, False)] * 49
    svg = draw(sheet(cells=cells))
    (open_bar,), (shut_bar,) = of_class(svg, "open"), of_class(svg, "shut")
    assert float(open_bar.get("height", "")) == pytest.approx(
        4.0 * float(shut_bar.get("height", "")), abs=0.11
    )
    assert len(of_class(svg, "unknown")) == 2  # one in the row, one in the lane
    assert len(of_class(svg, "figure")) == 2


def test_names_with_angle_brackets_stay_text() -> None:
    svg = draw(sheet("<b>&oyster"))
    assert "<b>&oyster" in "".join(ElementTree.fromstring(svg).itertext())


@pytest.fixture(scope="module")
def browser() -> Iterator[webdriver.Chrome]:
    options = webdriver.ChromeOptions()
    options.binary_location = program("chromium", "chromium")
    for argument in ("--headless=new", "--no-sandbox", "--disable-gpu", "--disable-dev-shm-usage"):
        options.add_argument(argument)
    driver = webdriver.Chrome(options=options, service=Service(program("chromedriver", "chromium-driver")))
    yield driver
    driver.quit()


@pytest.mark.parametrize("name", [AMSTERDAM, GREENSBORO, SAND_POINT, MIAMI])
def test_every_year_is_drawn_within_its_sheet(browser: webdriver.Chrome, tmp_path: Path, name: str) -> None:
    """All species the package ships; words neither run out of the sheet nor over each other."""
    crops = [crop for one in load(shipped_dir() / "farm.yaml").species.values() if (crop := crop_of(one))]
    path = tmp_path / "season.html"
    path.write_text(
        f"<!doctype html><body style='margin:0'>{draw(chart(plan(year(name), crops, Cover.SHADED)))}",
        encoding="utf-8",
    )
    browser.get(path.as_uri())
    boxes = browser.execute_script(
        "return [...document.querySelectorAll('svg text')].map(e => {const r = e.getBoundingClientRect();"
        " return [r.left, r.top, r.right, r.bottom, e.textContent]})"
    )
    assert len(boxes) > 40
    assert [box[4] for box in boxes if box[0] < 0 or box[2] > WIDTH] == []
    covered = [
        (one[4], other[4])
        for at, one in enumerate(boxes)
        for other in boxes[at + 1 :]
        if min(one[2], other[2]) - max(one[0], other[0]) > 1
        and min(one[3], other[3]) - max(one[1], other[1]) > 4
    ]
    assert covered == []
    drawn = "return document.querySelectorAll('svg rect.%s').length"
    assert browser.execute_script(drawn % "open") + browser.execute_script(drawn % "shut") > 50
