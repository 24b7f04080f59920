"""Windows and generations against published tables at constant temperature, and worked by hand."""

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from ahead.outside_tables import rows
from gillhouse.ahead.pest_clock import (
    DAY_MS,
    Begin,
    Generations,
    Sign,
    Window,
    clear_by_ms,
    generations,
    how_sure,
    windows,
)
from gillhouse.ahead.pests import Pest, PestStage, StagePace
from gillhouse.ahead.rates import Point, Range, RateTable
from gillhouse.ahead.warmth import HOUR_MS, Hour, Origin
from gillhouse.config.pests_file import load_pests

PESTS = load_pests()
EGG, LARVA, PUPA, ADULT = PestStage.EGG, PestStage.LARVA, PestStage.PUPA, PestStage.ADULT
OPENED = 10 * DAY_MS


def steady(temp_c: float, days: int, origin: Origin = Origin.LOGGED) -> list[Hour]:
    return [Hour(hour * HOUR_MS, temp_c, origin) for hour in range(days * 24)]


def _days(ms: int | None) -> float:
    assert ms is not None
    return (ms - OPENED) / DAY_MS


def even(days: float, share: float = 0.0) -> Pest:
    """An invented insect: three stages of so many days each at 10 to 30 C."""
    pace = RateTable((Point(10, days, days), Point(30, days, days)), 0.0, "invented")
    stages = tuple(StagePace(stage, pace) for stage in (EGG, LARVA, PUPA))
    return Pest("even", "even", "Exempla aequalis", "flies", stages, share, "invented")


@pytest.mark.parametrize(
    "row", rows("pests_generations_per_crop"), ids=lambda row: f"{row['temp_c']}C-{row['crop_days']}d"
)
def test_whole_generations_in_a_crop(row: dict[str, str]) -> None:
    hours, until = steady(float(row["temp_c"]), 80), OPENED + int(row["crop_days"]) * DAY_MS
    for ident, name in (
        ("sciarid", "bradysia_complete_generations"),
        ("shiitake-gnat", "neoempheria_complete_generations"),
        ("cecid", "mycophila_sp_a_complete_cycles"),
    ):
        found = generations(PESTS[ident], hours, OPENED, until)
        assert found.likely == int(row[name]), ident
        assert found.least <= found.likely <= found.most


@pytest.mark.parametrize(("temp", "days"), [(10, 60.8), (15, 40.6), (20, 22.2), (25, 19.9), (28, 19.1)])
def test_the_likely_fly_comes_on_the_published_day(temp: float, days: float) -> None:
    """Korean J. Appl. Entomol. 1998: egg to adult; the window holds it, and the line's answer too."""
    found = windows(PESTS["sciarid"], steady(temp, 200), Begin(Sign.OPENED, OPENED), OPENED + 100 * DAY_MS)
    fly = next(one for one in found if one.stage is ADULT)
    assert fly.likely_ms is not None and fly.to_ms is not None
    assert (fly.likely_ms - OPENED) / DAY_MS == pytest.approx(days, abs=0.15)
    line = sum(one.line.days_at(temp) for one in PESTS["sciarid"].stages if one.line)
    assert fly.from_ms <= OPENED + min(line, days) * DAY_MS
    assert fly.to_ms >= OPENED + max(line, days) * DAY_MS


def test_windows_by_hand() -> None:
    """Stages of 4 days, a tenth earlier or later: the n-th ends after 3.6 n, 4 n or 4.4 n days."""
    found = windows(even(4, 0.1), steady(20, 60), Begin(Sign.OPENED, OPENED), OPENED + 13 * DAY_MS)
    told = [
        (one.generation, one.stage, *(_days(ms) for ms in (one.from_ms, one.likely_ms, one.to_ms)))
        for one in found
    ]
    assert told == [
        (1, EGG, pytest.approx(0.0), pytest.approx(0.0), pytest.approx(4.4)),
        (1, LARVA, pytest.approx(3.6), pytest.approx(4.0), pytest.approx(8.8)),
        (1, PUPA, pytest.approx(7.2), pytest.approx(8.0), pytest.approx(13.2)),
        (1, ADULT, pytest.approx(10.8), pytest.approx(12.0), pytest.approx(13.2)),
        (2, EGG, pytest.approx(10.8), pytest.approx(12.0), pytest.approx(17.6)),
    ]


def test_a_larva_that_was_seen_may_be_at_any_point_of_its_stage() -> None:
    found = windows(even(4), steady(20, 60), Begin(Sign.SEEN, OPENED, LARVA), OPENED + 5 * DAY_MS)
    days = {one.stage: [(ms - OPENED) / DAY_MS for ms in (one.from_ms, one.to_ms) if ms] for one in found}
    assert EGG not in days or found[-1].stage is EGG
    assert days[LARVA] == pytest.approx([0, 4])
    assert days[PUPA] == pytest.approx([0, 8])
    assert days[ADULT] == pytest.approx([4, 8])


def test_adults_that_were_seen_may_have_laid_before() -> None:
    """At 20 C a fly lives 4.2 to 5.9 days (the same publication): the eggs' window begins so much earlier."""
    begin = Begin(Sign.SEEN, 20 * DAY_MS)
    eggs = windows(PESTS["sciarid"], steady(20, 90), begin, 30 * DAY_MS)[0]
    assert (20 * DAY_MS - eggs.from_ms) / DAY_MS == pytest.approx(5.9, abs=0.1)
    opened = windows(PESTS["sciarid"], steady(20, 90), Begin(Sign.OPENED, 20 * DAY_MS), 30 * DAY_MS)[0]
    assert opened.from_ms == 20 * DAY_MS


def test_the_day_to_clear_by_is_before_the_next_young() -> None:
    found = windows(even(4, 0.1), steady(20, 90), Begin(Sign.OPENED, OPENED), OPENED + 60 * DAY_MS)
    assert clear_by_ms(found, OPENED) == OPENED + round(10.8 * DAY_MS)
    assert clear_by_ms(found, OPENED + 11 * DAY_MS) == pytest.approx(OPENED + 21.6 * DAY_MS, abs=2)
    assert clear_by_ms([], OPENED) is None


def test_cold_brings_nothing() -> None:
    found = windows(PESTS["phorid"], steady(10, 200), Begin(Sign.OPENED, OPENED), 190 * DAY_MS)
    assert [one.stage for one in found] == [PestStage.EGG_TO_ADULT]
    assert (found[0].likely_ms, found[0].to_ms) == (OPENED, None)
    assert generations(PESTS["phorid"], steady(10, 200), OPENED, 190 * DAY_MS) == Generations(0, 0, 0)


def test_a_pest_without_sourced_figures_has_no_windows() -> None:
    bare = Pest("mite", "mites", "Acari", "mites")
    assert windows(bare, steady(20, 60), Begin(Sign.OPENED, 0), 50 * DAY_MS) == []
    assert generations(bare, steady(20, 60), 0, 50 * DAY_MS) == Generations(0, 0, 0)
    assert windows(PESTS["sciarid"], [], Begin(Sign.OPENED, 0), 50 * DAY_MS) == []


def test_hours_that_are_not_logged_widen_the_windows() -> None:
    def width(origin: Origin) -> int:
        found = windows(PESTS["sciarid"], steady(15, 200, origin), Begin(Sign.OPENED, OPENED), 90 * DAY_MS)
        fly = next(one for one in found if one.stage is ADULT)
        assert fly.to_ms is not None
        return fly.to_ms - fly.from_ms

    assert width(Origin.LOGGED) < width(Origin.BRIDGED) < width(Origin.FORECAST) < width(Origin.TYPICAL)
    assert width(Origin.TYPICAL) < width(Origin.FILLED)


def test_how_sure_counts_what_was_not_tested() -> None:
    hours = steady(5, 1) + [Hour(DAY_MS + h * HOUR_MS, 20, Origin.TYPICAL) for h in range(24)]
    sure = how_sure(PESTS["sciarid"], hours, 0, 2 * DAY_MS)
    assert (sure.hours[Origin.LOGGED], sure.hours[Origin.TYPICAL]) == (24, 24)
    assert (sure.tested[Range.BELOW], sure.tested[Range.WITHIN]) == (24, 24)
    assert how_sure(PESTS["cecid"], hours, 0, 2 * DAY_MS).tested[Range.UNSTATED] == 48


@settings(max_examples=25)
@given(
    st.lists(st.floats(-5, 35), min_size=30, max_size=60),
    st.sampled_from(sorted(PESTS)),
    st.sampled_from([Sign.OPENED, Sign.SEEN]),
)
def test_windows_keep_their_order_whatever_the_weather(temps: list[float], ident: str, sign: Sign) -> None:
    hours = [
        Hour((day * 24 + hour) * HOUR_MS, temp, Origin.LOGGED)
        for day, temp in enumerate(temps)
        for hour in range(24)
    ]
    found = windows(PESTS[ident], hours, Begin(sign, 5 * DAY_MS), 60 * DAY_MS)
    for one in found:
        assert one.likely_ms is None or one.from_ms <= one.likely_ms
        assert one.to_ms is None or (one.likely_ms is not None and one.likely_ms <= one.to_ms)
    by_stage: dict[PestStage, list[Window]] = {}
    for one in found:
        by_stage.setdefault(one.stage, []).append(one)
    for each in by_stage.values():
        assert [one.from_ms for one in each] == sorted(one.from_ms for one in each)
