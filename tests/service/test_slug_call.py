"""At dusk a slug night is called, once and to people who get the report; a forecast file is read, and one
that cannot be used is told once.

The barn's air is made up. By hand: 12 C and 95 % all night score every dark hour (limits of a state
university's slug page, see `ahead.slugs`); 70 % scores none.
"""

import os
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import replace
from datetime import datetime, timedelta
from pathlib import Path

import pytest

from audit.nights import ROME, Book, _decide, at, shipped_config
from gillhouse.ahead.dusk import MOST_LETTERS
from gillhouse.clock import VirtualClock
from gillhouse.config import Config, load
from gillhouse.core.edges import StoreSettings
from gillhouse.core.farm import Farm
from gillhouse.core.inputs import Started
from gillhouse.core.instant import Instant
from gillhouse.core.settings import SpaceKind
from gillhouse.reporter import Reporter
from gillhouse.service import SLUG_CALL, Service, dusk_of
from gillhouse.store.reader import Reader
from gillhouse.store.writer import Writer
from servers import HttpReceiver, MosquittoBroker, wait_until
from service.test_reporter import Post

HOUR, MINUTE = 3_600_000, 60_000
BEGIN, DUSK = at("2026-05-20 18:00"), at("2026-05-21 20:26")
PLACED = ("  zone: Europe/Rome", "  latitude: 45\n  zone: Europe/Rome")
DRY, WET = 70.0, 95.0


def barn(path: Path, config: Config, humidity_pct: float) -> Path:
    """A day of an open barn."""
    book, farm = Book(path, config, BEGIN), Farm(config.farm)
    _decide(book, farm, BEGIN, Started("test", config.digest, True, None))
    for sensor, value in (
        ("barn-temp", 12.0),
        ("barn-rh", humidity_pct),
        ("out-temp", 12.0),
        ("out-rh", 95.0),
    ):
        book.readings(sensor, BEGIN, 600, [value] * (26 * 6))
    book.close().close()
    return path


def forecast(path: Path, temp_c: float, humidity_pct: float, wind_m_s: float, begin_ms: int = DUSK) -> Path:
    """A day and a half from the hour of `begin_ms`, written then."""
    first = datetime.fromtimestamp(begin_ms / 1000, ROME).replace(minute=0)
    rows = [
        f"{first + timedelta(hours=hour):%Y-%m-%d %H:%M},{temp_c},{humidity_pct},{wind_m_s}"
        for hour in range(36)
    ]
    path.write_text("time,temp_c,humidity_pct,wind_m_s\n" + "\n".join(rows) + "\n", encoding="utf-8")
    os.utime(path, (begin_ms / 1000, begin_ms / 1000))
    return path


@contextmanager
def reporting(journal: Path, now_ms: int, file: Path | None) -> Iterator[tuple[Reporter, Post]]:
    clock, post = VirtualClock(now_ms), Post()
    writer = Writer(journal, clock, StoreSettings(), lambda _: None, lambda *_: None)
    writer.start()
    reporter = Reporter(journal, clock, writer, post)  # type: ignore[arg-type]
    reporter.forecast = lambda: None if file is None else str(file)
    reporter.start()
    try:
        yield reporter, post
    finally:
        reporter.stop()
        writer.close()


def at_dusk(journal: Path, file: Path | None = None) -> list[tuple[str, str]]:
    with reporting(journal, DUSK, file) as (reporter, post):
        reporter.call_slugs(Instant(DUSK, 0))
        wait_until(reporter.settled, 60, "the call")
    return [(subject, text) for subject, text, _ in post.sent]


@pytest.fixture(scope="module")
def wet(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return barn(tmp_path_factory.mktemp("wet") / "journal.db", shipped_config(latitude=PLACED), WET)


@pytest.fixture(scope="module")
def dry(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return barn(tmp_path_factory.mktemp("dry") / "journal.db", shipped_config(latitude=PLACED), DRY)


def test_without_a_forecast_last_night_stands_for_tonight(wet: Path, dry: Path) -> None:
    """14.9 h of daylight at 45 degrees on 21 May (FAO-56 equation 34), by the sun from 4:34 to 19:26: dark
    at half past each hour from 19 to 4, so ten hours.
    """
    ((subject, text),) = at_dusk(wet)
    assert subject == "Slug night"
    assert text == (
        "Slug night, barn: 10.0 of 10 dark hours if it is like last night."
        " Look two hours after dark, by torch."
    )
    assert len(text) <= MOST_LETTERS
    assert at_dusk(dry) == []


def test_a_forecast_goes_before_last_night_either_way(wet: Path, dry: Path, tmp_path: Path) -> None:
    """Wind over 4.5 m/s keeps them in, by the same page."""
    ((_, text),) = at_dusk(dry, forecast(tmp_path / "wet.csv", 14.0, 96.0, 1.0))
    assert "by your forecast" in text
    assert at_dusk(wet, forecast(tmp_path / "windy.csv", 14.0, 96.0, 9.0)) == []


@pytest.mark.parametrize("fault", ["missing", "old", "stale", "broken"])
def test_a_forecast_that_cannot_be_used_is_told_once_and_stops_nothing(
    wet: Path, tmp_path: Path, fault: str
) -> None:
    file = tmp_path / "tomorrow.csv"
    if fault == "old":
        forecast(file, 14.0, 96.0, 1.0, DUSK - 60 * HOUR)
    elif fault == "stale":
        forecast(file, 14.0, 96.0, 1.0)
        os.utime(file, (DUSK / 1000 - 8 * 86_400,) * 2)
    elif fault == "broken":
        file.write_text("time,temp_c,humidity_pct\n2026-05-21 14:00,warm,80\n", encoding="utf-8")
    with reporting(wet, DUSK, file) as (reporter, post):
        for _ in range(2):
            reporter.call_slugs(Instant(DUSK, 0))
            wait_until(reporter.settled, 60, "the call")
        forecast(file, 14.0, 96.0, 1.0)
        reporter.call_slugs(Instant(DUSK, 0))
        wait_until(reporter.settled, 60, "the call by the new file")
        file.unlink()
        reporter.call_slugs(Instant(DUSK, 0))
        wait_until(reporter.settled, 60, "the second trouble")
    subjects = [subject for subject, _, _ in post.sent]
    trouble, night = "Forecast cannot be used", "Slug night"
    assert subjects == [trouble, night, night, night, trouble, night]
    words = {
        "missing": "cannot be opened", "old": "all of its hours are over",
        "stale": "not written anew for over a week", "broken": "warm",
    }  # fmt: skip
    assert words[fault] in post.sent[0][1] and "tomorrow.csv" in post.sent[0][1]


def test_the_mornings_report_tells_of_hosing_and_dry_wind_by_the_forecast(wet: Path, tmp_path: Path) -> None:
    """12 m/s of dry air after a wet day; caps that hold nothing are hosed first of all."""
    file = forecast(tmp_path / "windy.csv", 22.0, 35.0, 12.0)
    caps = {"barn": {"zones": {"windward": 0.0}, "pace": 1.0, "hosed_ms": BEGIN}}
    with reporting(wet, DUSK, file) as (reporter, post):
        reporter.caps = lambda: caps
        reporter.build(Instant(DUSK, 0))
        wait_until(lambda: post.sent and reporter.settled(), 60, "the report")
    ((_, text, files),) = post.sent
    for said in ("hose by Thu 20:00", "dry wind in the next day"):
        assert said in " ".join(text.split())
        assert said in files["night.html"]


UNWANTED = ("  send_at: 07:05", "  send_at: 07:05\n  slug_nights: no")


def test_it_is_off_without_a_latitude_an_open_space_or_where_it_is_not_wanted() -> None:
    assert list(dusk_of(shipped_config(latitude=PLACED))) == [SLUG_CALL]
    assert dusk_of(shipped_config()) == {}
    assert dusk_of(shipped_config(latitude=PLACED, wanted=UNWANTED)) == {}
    closed = shipped_config(latitude=PLACED)
    tents = {ident: replace(one, kind=SpaceKind.TENT) for ident, one in closed.farm.spaces.items()}
    assert dusk_of(replace(closed, farm=replace(closed.farm, spaces=tents))) == {}


def test_a_forecast_file_stands_beside_the_farm_file(tmp_path: Path) -> None:
    text = shipped_config(named=("  send_at: 07:05", "  forecast: tomorrow.csv")).files["farm.yaml"]
    (tmp_path / "farm.yaml").write_text(text, encoding="utf-8")
    assert load(tmp_path / "farm.yaml").report.forecast_file == str(tmp_path / "tomorrow.csv")


def test_the_daemon_calls_once_at_dusk_to_those_who_get_the_report(
    tmp_path: Path, broker: MosquittoBroker, http_receiver: HttpReceiver
) -> None:
    """Ana gets the report and Beno does not, by the shipped farm. By the sum above sunset is
    at 20:26 by Rome's summer time; nothing moves a relay for it.
    """
    config = shipped_config(
        latitude=PLACED,
        hook=(
            "    kind: mqtt\n    topic: farm/alerts/{person}",
            f"    kind: webhook\n    url: {http_receiver.url}",
        ),
    )
    text = config.files["farm.yaml"]
    (tmp_path / "farm.yaml").write_text(text, encoding="utf-8")
    loaded = load(tmp_path / "farm.yaml")
    loaded = replace(loaded, broker=replace(loaded.broker, port=broker.port))
    state = tmp_path / "state"
    state.mkdir()
    barn(state / "journal.db", config, WET)
    clock = VirtualClock(DUSK - 10 * MINUTE)
    service = Service(loaded, state, clock)
    service.start()
    try:
        end = clock.now().mono_ms + 20 * MINUTE
        while (wake := clock.next_wake_ms()) is not None and wake <= end:
            clock.advance_to(wake)
            wait_until(service.settled, 60, "the house to be at rest")
    finally:
        service.stop()
    told = [one.json() for one in http_receiver.requests]
    slugs = [one for one in told if "Slug night" in str(one)]
    assert len(slugs) == 1
    assert "10.0 of 10 dark hours" in str(slugs[0]) and "ana" in str(slugs[0]).lower()
    with Reader(state / "journal.db") as reader:
        alarms = list(reader.alarms(DUSK - HOUR, DUSK + HOUR))
    assert not [one for one in alarms if "slug" in str(one).lower()]
