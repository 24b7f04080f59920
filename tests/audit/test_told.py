"""What a grower reads of a night: lines, order, words, and the page in a real browser."""

import re
from collections.abc import Iterator
from dataclasses import replace
from html.parser import HTMLParser
from pathlib import Path

import pytest
from selenium import webdriver
from selenium.webdriver.chrome.service import Service

from audit.nights import ROME, Book, at, lived, note, shipped_config
from audit.test_figures import BEGIN, MIN, H, curve
from gillhouse.audit import verdict
from gillhouse.audit.causes import WORDS
from gillhouse.audit.html import as_html
from gillhouse.audit.night import Night, Window
from gillhouse.audit.report import night_of
from gillhouse.audit.text import MOST_LINES, lines
from gillhouse.audit.verdict import LOOK, MEND, Grade
from gillhouse.core.alarm_kinds import KINDS
from gillhouse.core.outputs import AlarmNotice, Event, EventKind, Transition
from gillhouse.core.reasons import Reason
from gillhouse.store.reader import Reader
from servers import program

JARGON = re.compile(
    r"excursion|deficit|\bleases?\b|\bduty\b|interlock|\btrim|shelve|set.?point|hysteresis|actuator|"
    r"\brenewal|monotonic|\bnone\b|\bnull\b|in band|\bTrue\b|\bFalse\b",
    re.IGNORECASE,
)
"""Words of the trade of control, and of programs, that no grower should meet."""


@pytest.fixture(scope="module")
def night(tmp_path_factory: pytest.TempPathFactory) -> Night:
    """Four invented hours: the tent dry at 21:00, its sensor silent 22:00-22:30, the room's door open at
    21:00."""
    path = tmp_path_factory.mktemp("told") / "journal.db"
    with lived(
        path, shipped_config(), BEGIN, 4, curve, [(1.2, note("tent", 'zip <closed> & "checked"'))]
    ) as reader:
        return night_of(reader, Window(BEGIN, BEGIN + 4 * H, ROME), BEGIN + 4 * H)


def empty_book(tmp_path: Path) -> Book:
    return Book(tmp_path / "journal.db", shipped_config(), BEGIN - H)


def of(book: Book, hours: float = 4) -> Night:
    with book.close() as reader:
        return night_of(reader, Window(BEGIN, BEGIN + int(hours * H), ROME), BEGIN + int(hours * H))


def steady(book: Book, sensors: dict[str, float], hours: float = 4) -> None:
    for sensor, value in sensors.items():
        every_s = book.config.farm.sensors[sensor].every_ms / 1000
        book.readings(sensor, BEGIN, every_s, [value] * int(hours * 3600 / every_s))


GOOD = {
    "room-rh": 88.0, "room-rh-door": 88.0, "room-temp": 15.0, "room-co2": 800.0, "room-door": 0.0,
    "room-people": 0.0, "tent-rh": 90.0, "tent-temp": 16.0, "tent-co2": 700.0, "tent-door": 0.0,
    "barn-rh": 80.0, "barn-temp": 16.0, "barn-co2": 500.0, "out-rh": 70.0, "out-temp": 8.0, "tank": 1.0,
}  # fmt: skip


def test_a_good_night_is_short_and_asks_for_nothing(tmp_path: Path) -> None:
    book = empty_book(tmp_path)
    steady(book, GOOD)
    found = lines(of(book))
    assert found[1] == "DO FIRST  Nothing: no trouble found."
    assert found[2] == "ROOM grey oyster, fruiting: GOOD. 88 %, CO2 up to 800, 15.0 C."
    assert found[3] == "TENT lions mane, fruiting: GOOD. 90 %, CO2 up to 700, 16.0 C."
    assert found[-1] == "SENSORS 16 of 16 good."
    assert len(found) == 7


def test_a_dry_tent_is_told_from_when_how_far_why_and_who_answered(tmp_path: Path) -> None:
    """By hand: 77 % from 21:00 to 21:48; mist ran 3 times 10 s; called 21:10, answered 21:15, over 21:50."""
    book = empty_book(tmp_path)
    steady(book, {name: value for name, value in GOOD.items() if name != "tent-rh"})
    book.readings("tent-rh", BEGIN, 30, [77.0 if 120 <= place < 216 else 90.0 for place in range(480)])
    for place in range(3):
        book.command("tent-mist", BEGIN + H + place * 5 * MIN, True, 10)
    for ms, transition, who in (
        (10, Transition.ACT, ""),
        (15, Transition.ACK, "helper 1"),
        (50, Transition.RTN, ""),
    ):
        announced = transition is Transition.ACT
        row = AlarmNotice(
            "humidity-low:tent", "humidity-low", 1, transition, 2, "B", announced, "tent", {}, who
        )
        book.alarm(BEGIN + H + ms * MIN, row)
    found = lines(of(book))
    job = "Mist ran and it did not help. Clean the mist filter and nozzles, read the water pressure."
    assert found[1] == f"DO FIRST  Tent: {job}"
    tent = found.index("TENT lions mane, fruiting: DRY. Under 87 % from 21:00 to 21:48, driest 77.")
    assert found[tent + 1] == "  Why: mist ran 3 times, 30 s in all, and that was not enough."
    assert found[tent + 2] == "  Done: mist 3 times (30 s); called 21:10 (dry), helper 1 answered 21:15."


def test_an_alarm_that_still_stands_is_the_first_job(tmp_path: Path) -> None:
    book = empty_book(tmp_path)
    steady(book, GOOD)
    row = AlarmNotice("tank-empty:tank", "tank-empty", 1, Transition.ACT, 2, "B", True, None, {})
    book.alarm(BEGIN + H, row)
    assert lines(of(book))[1].startswith(
        f"DO FIRST  Farm: {KINDS['tank-empty'].title} since 21:00, nobody answered. "
    )


def test_more_urgent_comes_first(tmp_path: Path) -> None:
    book = empty_book(tmp_path)
    steady(book, GOOD)
    for kind, priority in (("sensor-flat", 3), ("co2-people-15000", 1), ("temperature-low", 2)):
        book.alarm(
            BEGIN + H, AlarmNotice(f"{kind}:room", kind, 1, Transition.ACT, priority, "B", True, "room", {})
        )
    night = of(book)
    assert [job.urgency for job in verdict.jobs(night)] == [1, 2, 3]
    assert lines(night)[1].endswith("(2 more to do.)")


def test_no_readings_all_night_is_no_good_night(tmp_path: Path) -> None:
    book = empty_book(tmp_path)
    steady(book, {name: value for name, value in GOOD.items() if not name.startswith("tent")})
    night = of(book)
    assert "TENT lions mane, fruiting: NO READINGS. Nothing is known of this night." in lines(night)
    assert [one.grade for one in verdict.verdicts(night)] == [Grade.GOOD, Grade.UNKNOWN, Grade.GOOD]


def test_a_box_that_was_off_is_told(tmp_path: Path) -> None:
    book = empty_book(tmp_path)
    steady(book, GOOD)
    facts = {"away_s": 1800.0, "clean": False}
    book.event(BEGIN + 2 * H, Event(EventKind.STARTED, "daemon", None, Reason.STARTING, facts))
    assert "THIS BOX was off 21:30-22:00." in lines(of(book))


def test_never_more_than_twelve_lines_however_many_spaces(night: Night) -> None:
    for count in range(1, 15):
        many = replace(night, spaces=tuple(night.spaces[place % 3] for place in range(count)))
        found = lines(many)
        assert len(found) <= MOST_LINES
        told = [line for line in found if line.startswith(("ROOM", "TENT", "BARN"))]
        also = next((line for line in found if line.startswith("ALSO ")), "")
        assert len(told) + (also.count(",") + 1 if also else 0) == count
        assert found[1].startswith("DO FIRST")


def test_the_lines_are_plain_and_short(night: Night) -> None:
    for line in lines(night):
        assert line.isascii()
        assert len(line) <= 160


def test_no_text_uses_the_words_of_control(night: Night) -> None:
    page = _Text()
    page.feed(as_html(night))
    texts = ["\n".join(lines(night)), " ".join(page.words)]
    texts += [*WORDS.values(), *MEND.values(), *LOOK.values(), *(word for word in verdict.WORD.values())]
    for text in texts:
        assert JARGON.findall(text) == []


# --- the page --------------------------------------------------------------------------------------------


class _Text(HTMLParser):
    """What a page says, and every address it names."""

    def __init__(self) -> None:
        super().__init__()
        self.words: list[str] = []
        self.addresses: list[str] = []
        self.tags: list[str] = []
        self._silent = False

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append(tag)
        self._silent = tag == "style"
        self.addresses += [
            value or "" for name, value in attrs if name in {"href", "src", "xlink:href", "data", "action"}
        ]

    def handle_endtag(self, tag: str) -> None:
        self._silent = False

    def handle_data(self, data: str) -> None:
        if not self._silent:
            self.words.append(data)


def test_the_page_needs_nothing_from_outside(night: Night) -> None:
    page = as_html(night)
    found = _Text()
    found.feed(page)
    assert found.addresses == []
    assert not {"script", "link", "img", "iframe", "object"}.intersection(found.tags)
    assert re.findall(r"url\((?!#)", page) == []
    assert "@import" not in page
    assert set(re.findall(r"https?://[^\"' <]+", page)) <= {"http://www.w3.org/2000/svg"}


def test_the_page_escapes_what_people_wrote(night: Night) -> None:
    page = as_html(night)
    assert "zip &lt;closed&gt; &amp; " in page
    assert "<closed>" not in page


def test_every_id_on_the_page_is_unique_and_every_reference_is_there(night: Night) -> None:
    page = as_html(night)
    ids = re.findall(r'\sid="([^"]+)"', page)
    assert len(ids) == len(set(ids))
    for names in re.findall(r'aria-labelledby="([^"]+)"', page):
        assert set(names.split()) <= set(ids)
    assert set(re.findall(r"url\(#([^)]+)\)", page)) <= set(ids)


def test_verdict_comes_first_then_charts_relays_alarms_sensors(night: Night) -> None:
    page = as_html(night)
    order = [
        page.index(mark)
        for mark in (
            "Do first",
            'class="verdict"',
            "<svg",
            "What happened",
            "Relays and water",
            "<h2>Alarms",
            "<h2>Sensors",
        )
    ]
    assert order == sorted(order)


@pytest.fixture(scope="module")
def browser() -> Iterator[webdriver.Chrome]:
    options = webdriver.ChromeOptions()
    options.binary_location = program("chromium", "chromium")
    for argument in ("--headless=new", "--no-sandbox", "--disable-gpu", "--disable-dev-shm-usage"):
        options.add_argument(argument)
    options.set_capability("goog:loggingPrefs", {"browser": "ALL"})
    driver = webdriver.Chrome(options=options, service=Service(program("chromedriver", "chromium-driver")))
    yield driver
    driver.quit()


@pytest.mark.parametrize(("width", "shown", "hidden"), [(360, "narrow", "wide"), (1440, "wide", "narrow")])
def test_in_a_browser_nothing_overflows_and_nothing_complains(
    browser: webdriver.Chrome, night: Night, tmp_path: Path, width: int, shown: str, hidden: str
) -> None:
    path = tmp_path / "night.html"
    path.write_text(as_html(night), encoding="utf-8")
    size = {"width": width, "height": 900, "deviceScaleFactor": 1, "mobile": False}
    browser.execute_cdp_cmd("Emulation.setDeviceMetricsOverride", size)
    browser.get(path.as_uri())
    assert browser.execute_script("return document.documentElement.scrollWidth") <= width
    wide_ones = browser.execute_script(
        "return [...document.body.querySelectorAll('*')]"
        ".filter(e => e.getBoundingClientRect().right > innerWidth + 1).map(e => e.tagName)"
    )
    assert wide_ones == []
    heights = (
        "return [...document.querySelectorAll('figure.%s svg')].map(e => e.getBoundingClientRect().height)"
    )
    assert all(height > 250 for height in browser.execute_script(heights % shown))
    assert set(browser.execute_script(heights % hidden)) == {0}
    smallest = browser.execute_script(
        "return Math.min(...[...document.querySelectorAll('figure svg text')]"
        ".filter(e => e.getBoundingClientRect().height)"
        ".map(e => parseFloat(getComputedStyle(e).fontSize) * e.getCTM().a))"
    )
    assert smallest >= 9.5
    assert browser.get_log("browser") == []


@pytest.mark.parametrize("spaces", [2, 3])
def test_two_or_three_spaces_print_on_two_pages(
    browser: webdriver.Chrome, night: Night, tmp_path: Path, spaces: int
) -> None:
    path = tmp_path / "night.html"
    path.write_text(as_html(replace(night, spaces=night.spaces[:spaces])), encoding="utf-8")
    browser.get(path.as_uri())
    size = {"paperWidth": 8.27, "paperHeight": 11.69, "printBackground": True}
    first_two = browser.execute_cdp_cmd("Page.printToPDF", {**size, "pageRanges": "1-2"})
    assert len(first_two["data"]) > 10_000
    with pytest.raises(Exception, match="exceeds page count"):
        browser.execute_cdp_cmd("Page.printToPDF", {**size, "pageRanges": "3"})


def test_a_store_can_be_read_while_it_is_written(tmp_path: Path) -> None:
    book = empty_book(tmp_path)
    steady(book, {"tent-rh": 90.0})
    book.close().close()
    with Reader(tmp_path / "journal.db") as one, Reader(tmp_path / "journal.db") as other:
        window = Window(BEGIN, at("2026-10-13 22:00"), ROME)
        assert lines(night_of(one, window, window.to_ms)) == lines(night_of(other, window, window.to_ms))
