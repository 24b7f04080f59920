"""`gillhouse ahead` and `keeps` over a real store: ten invented days of an open barn, a flush in it,
slugs counted.
"""

import json
from collections.abc import Iterator
from dataclasses import replace
from datetime import datetime
from pathlib import Path

import pytest
from click.testing import CliRunner

from audit.nights import ROME, Book, _decide, at, shipped_config
from gillhouse.__main__ import cli
from gillhouse.ahead.coming_up import Ahead, Kind, Run, lines, missing
from gillhouse.ahead.weather import WeatherError, WeatherHour
from gillhouse.ahead.weather_files import read
from gillhouse.ahead.weigh_notes import OnScale, weighed_in
from gillhouse.audit.ahead_log import Asked, aheads, from_now, moment, morning, outdoor_weather
from gillhouse.clock import SystemClock
from gillhouse.commands.ahead import caps_of
from gillhouse.core.crops import Stage
from gillhouse.core.farm import Farm
from gillhouse.core.inputs import DEADLINE, Act, BatchAct, BatchAction, Due, OperatorAction, Reading, Started
from gillhouse.core.instant import Instant
from gillhouse.errors import GillhouseError
from gillhouse.local import LocalServer
from gillhouse.store.reader import Reader

HOUR, DAY = 3_600_000, 86_400_000
DAYS = 10
BEGIN, NOW = at("2026-05-11 12:00"), at("2026-05-21 12:00")
LATITUDE = 45.0


def dark_from_to(begin_ms: int) -> list[float]:
    """A day of humidities from noon to noon, hourly: 95 % at night on even days, 70 % else."""
    wet = (begin_ms - BEGIN) // DAY % 2 == 0
    return [95.0 if wet and 8 <= hour < 18 else 70.0 for hour in range(24)]


@pytest.fixture(scope="module")
def state(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("barn")
    config = shipped_config()
    book, farm = Book(folder / "journal.db", config, BEGIN), Farm(config.farm)
    _decide(book, farm, BEGIN, Started("test", config.digest, True, None))
    came = BatchAction(
        BatchAct.ADD, "SH-3", "ana", species="shiitake", stage=Stage.PINNING, kg=80.0, space="barn"
    )
    _decide(book, farm, BEGIN + 1000, came)
    for day in range(DAYS):
        noon = BEGIN + day * DAY
        if day in (1, 6):
            weight = 10.0 if day == 1 else 9.6
            _decide(book, farm, noon, OperatorAction(Act.NOTE, "barn", "ana", f"weighed: {weight} kg log 3"))
        if day == 5:
            _decide(book, farm, noon, BatchAction(BatchAct.STAGE, "SH-3", "ana", stage=Stage.FRUITING))
        for hour, humidity in enumerate(dark_from_to(noon)):
            for sensor, value in (
                ("barn-temp", 12.0),
                ("barn-rh", humidity),
                ("out-temp", 15.0),
                ("out-rh", 75.0),
            ):
                book.readings(sensor, noon + hour * HOUR, 600, [value] * 6)
        found = 15 + day if day % 2 == 0 else 1
        _decide(
            book, farm, noon + 11 * HOUR, OperatorAction(Act.NOTE, "barn", "ana", f"slugs: {found} found")
        )
    book.close().close()
    return folder


@pytest.fixture
def barn(state: Path) -> Ahead:
    return ahead_of(state, [])


def ahead_of(state: Path, forecast: list[WeatherHour]) -> Ahead:
    with Reader(state / "journal.db") as reader:
        found = aheads(reader, shipped_config(), Asked(NOW, forecast, LATITUDE, caps_of(state)))
    assert found[0].space == "barn"  # open spaces first
    return found[0]


def forecast(temp: float = 20.0, humidity: float = 40.0, wind: float = 12.0) -> list[WeatherHour]:
    return [
        WeatherHour(5, 21 + (12 + hour) // 24, (12 + hour) % 24, temp, humidity, wind) for hour in range(36)
    ]


def test_last_night_is_scored_from_the_spaces_own_air(barn: Ahead) -> None:
    """The tenth night is a dry one, the ninth a wet one: by hand 95 % from 20:00 to 06:00, dark from 20
    to 5.
    """
    assert barn.last_night is not None
    assert barn.last_night.points == 0.0 and barn.last_night.dark_h >= 8
    assert not barn.last_night.wind_known


def test_counts_of_ten_nights_say_that_the_score_is_worth_it_here(barn: Ahead) -> None:
    assert len(barn.counted) == DAYS
    assert {one.found for one in barn.counted if one.points >= 4} == {15, 17, 19, 21, 23}
    (slugs,) = [line for line in lines(barn) if line.kind is Kind.SLUGS]
    assert "worth listening to here" in slugs.sure


def test_the_first_pick_comes_from_the_species_file_while_the_log_is_short(barn: Ahead) -> None:
    (line,) = [line for line in lines(barn) if line.kind is Kind.PICK]
    usual = shipped_config().species["shiitake"].stages[Stage.FRUITING].days
    assert usual is not None
    days = [datetime.fromtimestamp((BEGIN + 5 * DAY) / 1000 + one * 86_400, ROME) for one in usual]
    assert all(day.strftime("%d %b").lstrip("0") in line.text for day in days)
    assert "species file" in line.source and line.sure == "a window, no date"


def test_a_weighed_log_gets_its_own_pace(barn: Ahead) -> None:
    """By hand: 0.4 kg of 10 gone in five days, so 0.6 kg more, at the same drying, in seven and a half."""
    (line,) = [line for line in lines(barn) if line.kind is Kind.WEIGHED]
    assert line.text.startswith("log 3: 4 % of its weight gone; at this drying a tenth is gone in")
    days = int(line.text.split(" in ")[1].split()[0])
    assert 7 <= days <= 8
    assert "by the scale" in line.sure


def test_a_spawn_run_is_paced_where_the_curve_is_sourced(barn: Ahead) -> None:
    run = Run("LM-1", "lions-mane", [10.0] * 48, (14.0, 21.0), 23.0)
    (line,) = [one for one in lines(replace(barn, runs=[run])) if one.kind is Kind.RUN]
    assert line.text == "LM-1 (lions-mane): the spawn run takes 62 to 93 days at these temperatures"
    other = replace(run, species="grey-oyster")
    assert not [one for one in lines(replace(barn, runs=[other])) if one.kind is Kind.RUN]


def test_a_batch_that_runs_through_is_found_with_its_spaces_warmth(tmp_path: Path) -> None:
    """Lion's mane in the tent at 10 C since a day, where 21 to 25 are usual: r(23) / r(10) = 4.44 times
    as long.
    """
    config = shipped_config()
    book, farm = Book(tmp_path / "journal.db", config, BEGIN), Farm(config.farm)
    _decide(book, farm, BEGIN, Started("test", config.digest, True, None))
    came = BatchAction(
        BatchAct.ADD, "LM-1", "ana", species="lions-mane", stage=Stage.SPAWN_RUN, kg=20.0, space="tent"
    )
    _decide(book, farm, BEGIN + 1000, came)
    book.readings("tent-temp", BEGIN, 600, [10.0] * 144)
    with book.close() as reader:
        told = morning(reader, config, BEGIN + DAY)
    (line,) = [line for line in told if line.kind is Kind.RUN]
    assert line.space == "tent" and "takes 62 to 93 days" in line.text


def test_the_morning_says_what_the_log_alone_can(state: Path) -> None:
    with Reader(state / "journal.db") as reader:
        told = morning(reader, shipped_config(), NOW)
        placed = shipped_config(latitude=("  zone: Europe/Rome", "  latitude: 45\n  zone: Europe/Rome"))
        after_dry, after_wet = morning(reader, placed, NOW), morning(reader, placed, NOW - DAY)
    kept = [("barn", Kind.WEIGHED), ("barn", Kind.PICK)]
    assert [(line.space, line.kind) for line in told] == kept
    assert [(line.space, line.kind) for line in after_dry] == kept
    assert [(line.space, line.kind) for line in after_wet] == [("barn", Kind.SLUGS), *kept]


def test_weights_are_read_back_from_notes_and_others_are_not() -> None:
    assert weighed_in("weighed: 4.21 kg log 3") == OnScale("log 3", 4.21)
    assert weighed_in("Weighed: 4 kg bag") == OnScale("bag", 4.0)
    for off in (
        "weighed: -4 kg log 3",
        "weighed: 0 kg log 3",
        "weighed: log 3",
        "weighed 4 kg log 3",
        "hosed",
    ):
        assert weighed_in(off) is None


def test_a_dry_wind_is_told_against_the_last_days_and_hosing_only_by_the_account(state: Path) -> None:
    windy = ahead_of(state, forecast(15.0, 75.0, 12.0))
    kinds = [line.kind for line in lines(windy)]
    assert Kind.DRY_WIND not in kinds  # no gauge: a forecast's wind against a guess tells nothing...
    drier = forecast(20.0, 40.0, 12.0)
    told = lines(ahead_of(state, drier))
    assert Kind.DRY_WIND in [line.kind for line in told]  # ...but so dry an air does
    assert Kind.HOSE not in kinds  # no daemon, no account
    kept = replace(windy, left_mm=0.15)
    (hose,) = [line for line in lines(kept) if line.kind is Kind.HOSE]
    assert "hose by Thu" in hose.text and "wind 12 m/s" in hose.text


def test_the_running_daemons_account_is_carried_on(state: Path) -> None:
    """A real core, hosed an hour ago, answers on the real socket; `ahead` takes its water and its pace."""
    config = shipped_config()
    farm, begun = Farm(config.farm), NOW - HOUR
    happened = [
        (0, Started("test", config.digest, True, None)),
        (1, OperatorAction(Act.NOTE, "barn", "ana", "hosed")),
        *((minute * 60_000 + 2, Reading(sensor, value, begun + minute * 60_000 + 2))
          for minute in range(6) for sensor, value in (("barn-temp", 15.0), ("barn-rh", 60.0))),
    ]  # fmt: skip
    for seq, (after_ms, item) in enumerate(happened, start=1):
        _deadlines_until(farm, begun, after_ms)
        farm.handle(seq, Instant(begun + after_ms, after_ms), item)
    _deadlines_until(farm, begun, 600_000)
    account = farm.status(Instant(begun + 600_000, 600_000))
    caps = account["spaces"]["barn"]["caps"]  # type: ignore[index]
    assert caps["hosed_ms"] == begun + 1 and caps["zones"]
    server = LocalServer(state, lambda request, who: dict(account))
    server.start()
    try:
        found = ahead_of(state, forecast())
    finally:
        server.stop()
    assert found.has.hosings_told and found.pace == caps["pace"]
    assert found.left_mm == min(caps["zones"].values()) > 0.0
    assert [line for line in lines(found) if line.kind is Kind.HOSE]


def _deadlines_until(farm: Farm, begun: int, until_ms: int) -> None:
    """Every moment the core wants to be looked at before a given one."""
    seq = 1000
    while (ms := farm.next_deadline_ms()) is not None and ms <= until_ms:
        farm.handle(seq, Instant(begun + ms, ms), Due(DEADLINE, ms))


def test_a_slug_night_is_called_from_the_forecast(state: Path) -> None:
    wet = ahead_of(state, forecast(14.0, 96.0, 1.0))
    told = [line.text for line in lines(wet) if line.kind is Kind.SLUGS]
    assert any("slug night" in text and "two hours after dark" in text for text in told)


def test_what_is_missing_is_told_apart_and_once(state: Path) -> None:
    done = CliRunner().invoke(cli, ["ahead", "--state", str(state)], catch_exceptions=False)
    assert done.output.count("a wind gauge") == 1
    assert {line.kind for line in missing(ahead_of(state, []))} == {Kind.MISSING}


def test_as_json_with_a_forecast_file(state: Path, tmp_path: Path) -> None:
    now = datetime.fromtimestamp(SystemClock().now().wall_ms / 1000, ROME).replace(minute=0)
    rows = [
        f"{datetime.fromtimestamp(now.timestamp() + hour * 3600, ROME):%Y-%m-%d %H:%M},15,80,3"
        for hour in range(30)
    ]
    path = tmp_path / "tomorrow.csv"
    path.write_text("# latitude: 45\ntime,temp_c,humidity_pct,wind_m_s\n" + "\n".join(rows), encoding="utf-8")
    done = CliRunner().invoke(
        cli,
        ["ahead", "barn", "--forecast", str(path), "--json", "--state", str(state)],
        catch_exceptions=False,
    )
    found = json.loads(done.output)
    assert all(line["space"] == "barn" for line in found["lines"])
    assert not any("forecast" in what or "where you are" in what for what in found["not_known"])


def test_an_old_forecast_is_refused_and_the_new_year_is_crossed() -> None:
    old = read("time,temp_c,humidity_pct\n2026-05-01 10:00,15,80\n", "old.csv")
    now = datetime.fromtimestamp(NOW / 1000, ROME)
    with pytest.raises(WeatherError, match="all of its hours are over"):
        from_now(old, "old.csv", now)
    new_years_eve = datetime(2026, 12, 31, 20, tzinfo=ROME)
    assert moment(WeatherHour(1, 1, 3, 2.0, 90.0), new_years_eve) == datetime(2027, 1, 1, 3)  # noqa: DTZ001


def test_the_own_outdoor_log_is_a_weather_year_like_any_other(state: Path) -> None:
    with Reader(state / "journal.db") as reader:
        weather = outdoor_weather(reader, shipped_config(), (BEGIN, NOW))
    assert len(weather.hours) == DAYS * 24
    assert {hour.temp_c for hour in weather.hours} == {15.0}
    assert (weather.hours[0].month, weather.hours[0].day, weather.hours[0].hour) == (5, 11, 12)


def test_a_space_that_is_not_there_is_told(state: Path) -> None:
    done = CliRunner().invoke(cli, ["ahead", "attic", "--state", str(state)])
    assert isinstance(done.exception, GillhouseError) and "there is no space 'attic'" in str(done.exception)


# --- keeps -----------------------------------------------------------------------------------------------


@pytest.fixture(scope="module")
def cold(tmp_path_factory: pytest.TempPathFactory) -> Iterator[tuple[Path, int]]:
    """The tent's sensor stands in for a cold store's: 1.5 C for the last 24 hours, five of them not
    logged.
    """
    folder = tmp_path_factory.mktemp("cold")
    config = shipped_config()
    now = SystemClock().now().wall_ms
    begin = now - now % HOUR - 30 * HOUR
    book = Book(folder / "journal.db", config, begin)
    for hour in range(30):
        if not 10 <= hour < 15:
            book.readings("tent-temp", begin + hour * HOUR, 600, [1.5] * 6)
    book.close().close()
    yield folder, begin


def keeps(state: Path, *words: str) -> tuple[int, str, BaseException | None]:
    done = CliRunner().invoke(cli, ["keeps", *words, "--state", str(state)])
    return done.exit_code, done.output, done.exception


def typed(ms: int) -> str:
    return datetime.fromtimestamp(ms / 1000, ROME).strftime("%Y-%m-%d %H:%M")


def test_the_clock_runs_on_the_log_and_says_what_is_missing(cold: tuple[Path, int]) -> None:
    """UC Davis: button at 1.5 C keeps 5 to 7 days; about 30 hours of them are gone: 3.75 to 5.75 are left."""
    state, begin = cold
    code, said, _ = keeps(state, "button", "--picked", typed(begin), "--in", "tent")
    assert code == 0
    assert (
        "keeps 3.7 to 5.7 more days" in said
        or "keeps 3.8 to 5.8 more days" in said
        or "keeps 3.7 to 5.8" in said
    )
    assert "5 hours are not in the log" in said or "6 hours are not in the log" in said
    assert "UC Davis" in said


def test_a_species_without_a_source_says_so(cold: tuple[Path, int]) -> None:
    state, begin = cold
    code, said, _ = keeps(state, "nameko", "--picked", typed(begin), "--at", "4", "--json")
    assert code == 0
    found = json.loads(said)
    assert found["days_left"] is None and found["sources"] == ["not sourced: uses your log only"]


@pytest.mark.parametrize(
    ("words", "wanted"),
    [
        (("--picked", "2199-01-01"), "still to come"),
        (("--picked", "2026-01-01"), "either --in"),
        (("--picked", "2026-01-01", "--in", "attic"), "no space 'attic'"),
    ],
)
def test_mistakes_are_told(cold: tuple[Path, int], words: tuple[str, ...], wanted: str) -> None:
    _, said, error = keeps(cold[0], "button", *words)
    assert wanted in f"{said}{error}"
