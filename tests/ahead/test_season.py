"""The season against tables worked out by separate code from the same weather files, and its edges by hand.

season_*.csv: computed by a program of the standard library alone, whose method is what `ahead.season`
says of its own; Amsterdam also by pvlib's reader for months 1, 7, 10. Counts are exact, means to the last
printed digit, degree-days to 0.006. Weather: TMY3 of the US National Renewable Energy Laboratory, IWEC
(c) ASHRAE, PVGIS.
"""

from dataclasses import replace

import pytest

from ahead.outside_tables import rows
from ahead.weather_years import AMSTERDAM, CHECKED, GREENSBORO, NORTH_45, text, year
from gillhouse.ahead.degree_days import by_hours, by_mean, by_sine
from gillhouse.ahead.evaporation import (
    SHELTERS,
    Cover,
    dew_point_c,
    dryness_kpa,
    kept_warm_mm_day,
    shade_mm_day,
)
from gillhouse.ahead.season import (
    PESTS,
    Crop,
    Span,
    crop_of,
    crop_year,
    generations,
    in_band_h,
    months,
    plan,
    spans,
    start,
)
from gillhouse.ahead.weather import (
    WEEKS,
    Weather,
    WeatherHour,
    by_week,
    day_of_year,
    daylight_h,
    month_and_day,
)
from gillhouse.ahead.weather_files import read
from gillhouse.config import load, shipped_dir
from gillhouse.core.crops import Stage
from gillhouse.core.drying import wind_at_2m

BANDS = {
    "pleurotus_ostreatus": (10.0, 21.0),
    "lentinula_edodes_wide_range": (13.0, 24.0),
    "flammulina_velutipes": (5.0, 15.0),
}
OPEN, SHADED = SHELTERS[Cover.OPEN].wind_share, SHELTERS[Cover.SHADED].wind_share
SEASON_PEST = {"bradysia_sp_on_oyster": PESTS[0], "neoempheria_on_shiitake": PESTS[1]}
monthly = rows("season_monthly")


@pytest.mark.parametrize("name", CHECKED)
def test_every_month_is_as_the_table_says(name: str) -> None:
    weather = year(name)
    bare, covered = months(weather, OPEN), months(weather, SHADED)
    table = [row for row in monthly if row["file"] == name]
    assert len(table) == 12
    for row in table:
        month = int(row["month"])
        one, own = bare[month], [hour for hour in weather.hours if hour.month == month]
        counted = {
            "hours": one.hours,
            "hours_le_0c": one.frost_h,
            "hours_gt_30c": one.heat_h,
            "hours_dark": one.dark_h,
            "slug_night_hours": one.slug_h,
            **{f"hours_in_band_{key}": in_band_h(own, *band) for key, band in BANDS.items()},
        }
        assert counted == {key: int(row[key]) for key in counted}, f"{name} month {month}"
        means = {
            "t_mean_c": (one.mean_c, 2),
            "t_min_c": (one.least_c, 2),
            "t_max_c": (one.most_c, 2),
            "rh_mean_pct": (one.humidity_pct, 1),
            "wind_mean_ms": (one.wind_m_s or 0.0, 2),
            "vpd_mean_kpa": (one.dryness_kpa, 4),
            "drying_open_mm_day": (one.kept_warm_mm_day, 3),
            "shade_evap_open_mm_day": (one.shade_mm_day, 3),
            "shade_evap_sheltered_mm_day": (covered[month].shade_mm_day, 3),
        }
        for key, (value, digits) in means.items():
            assert value == pytest.approx(float(row[key]), abs=0.51 * 10.0**-digits), f"{name} {month} {key}"


@pytest.mark.parametrize(
    "row", rows("season_weeks"), ids=lambda row: f"{row['file'][:6]}-{row['species'][:4]}"
)
def test_open_weeks_are_as_the_table_says(row: dict[str, str]) -> None:
    band = (float(row["lo_c"]), float(row["hi_c"]))
    weather = year(row["file"])
    found = crop_year(Crop("x", "x", *band, "the table"), by_week(weather.hours), weather.is_whole)
    assert " ".join(map(str, found.open_weeks)) == row["open_week_numbers"]
    assert len(found.open_weeks) == int(row["open_weeks"])
    assert sum(count or 0 for count in found.in_band_h) == int(row["hours_in_band_52_weeks"])


@pytest.mark.parametrize("name", CHECKED)
def test_degree_days_by_month_in_three_ways(name: str) -> None:
    for row in (one for one in rows("season_degree_days") if one["file"] == name):
        zero = float(row["t0_c"])
        by_day: dict[int, list[float]] = {}
        for hour in year(name).hours:
            if hour.month == int(row["month"]):
                by_day.setdefault(hour.day, []).append(hour.temp_c)
        ends = [(min(temps), max(temps)) for temps in by_day.values()]
        assert sum(by_hours(temps, zero) for temps in by_day.values()) == pytest.approx(
            float(row["dd_hourly"]), abs=0.006
        )
        assert sum(by_mean(*one, zero) for one in ends) == pytest.approx(float(row["dd_average"]), abs=0.006)
        assert sum(by_sine(*one, zero) for one in ends) == pytest.approx(
            float(row["dd_single_sine"]), abs=0.006
        )


@pytest.mark.parametrize("name", CHECKED)
@pytest.mark.parametrize("pest", SEASON_PEST)
def test_the_date_of_each_generation(name: str, pest: str) -> None:
    table = [row for row in rows("season_generations") if row["file"] == name and row["pest"] == pest]
    found = generations(year(name).hours, SEASON_PEST[pest])
    dates = [row["date_mm_dd_or_value"] for row in table if row["generation"] != "remainder_dd"]
    assert ["{:02d}-{:02d}".format(*month_and_day(day)) for day in found.days] == dates
    complete = found.by_week()
    assert (len(complete), complete[-1]) == (52, len(dates))
    for number, date in enumerate(dates, start=1):  # complete from the week its date is in, and not before
        week = (day_of_year(int(date[:2]), int(date[3:])) - 1) // 7 + 1
        assert complete[week - 1] >= number > (complete[week - 2] if week > 1 else 0)
    (left,) = (float(row["date_mm_dd_or_value"]) for row in table if row["generation"] == "remainder_dd")
    assert found.left == pytest.approx(left, abs=0.051)


def test_trap_the_hour_called_24_belongs_to_the_day_it_closes() -> None:
    """Greensboro's April oyster hours are 471 so, and 470 where 24:00 was moved to the next day."""
    hours = year(GREENSBORO).hours
    assert in_band_h((hour for hour in hours if hour.month == 4), 10.0, 21.0) == 471
    as_index = [
        hour for at, hour in enumerate(hours)
        if (hours[(at + 1) % len(hours)].month if hour.hour == 23 else hour.month) == 4
    ]  # fmt: skip
    assert in_band_h(as_index, 10.0, 21.0) == 470


def test_trap_months_of_different_years_are_not_sorted_by_their_years() -> None:
    """A typical year is stitched. Rows sorted by their full date are another year: generations fall on
    other days.
    """
    lines = text(GREENSBORO).splitlines()
    years = [line[6:10] for line in lines[2:] if line[:5] in ("01/01", "04/01", "07/01")]
    assert years != sorted(years)  # or there would be no trap

    def stamp(line: str) -> tuple[str, str]:
        return line[6:10], line[:5]

    by_date = read("\n".join([*lines[:2], *sorted(lines[2:], key=stamp)]), "sorted")
    assert generations(by_date.hours, PESTS[1]).days != generations(year(GREENSBORO).hours, PESTS[1]).days


def test_trap_one_span_is_wrong_for_greensboro() -> None:
    weather = year(GREENSBORO)
    found = crop_year(Crop("oyster", "oyster", 10.0, 21.0, "table"), by_week(weather.hours), True)
    assert [(span.first_week, span.last_week) for span in found.spans] == [(8, 21), (36, 47)]


def test_trap_the_driest_month_is_no_summer_month_in_greensboro() -> None:
    """Wind and dryness, not warmth: April takes more than July. And by Amsterdam's table June most,
    February least.
    """
    here, there = months(year(GREENSBORO), SHADED), months(year(AMSTERDAM), SHADED)
    assert max(here, key=lambda month: here[month].shade_mm_day) == 4
    assert here[7].mean_c > here[4].mean_c + 5.0
    assert there[6].shade_mm_day > 2.0 * there[2].shade_mm_day


@pytest.mark.parametrize("row", rows("dew_and_drying"), ids=lambda row: f"{row['temp_c']}-{row['rh_pct']}")
def test_dew_and_drying_to_the_last_digit(row: dict[str, str]) -> None:
    """FAO-56's formula; not the one of the psychrometric grid."""
    air = float(row["temp_c"]), float(row["rh_pct"])
    assert dryness_kpa(*air) == pytest.approx(float(row["vpd_kpa"]), abs=5.1e-5)
    dew = dew_point_c(*air)
    assert dew == pytest.approx(float(row["dew_point_c"]), abs=0.0051)
    assert air[0] - dew == pytest.approx(float(row["drop_to_dew_c"]), abs=0.0051)
    assert kept_warm_mm_day(*air, 0.0) == pytest.approx(float(row["drying_still_mm_day"]), abs=5.1e-4)
    assert shade_mm_day(*air, 0.0) == pytest.approx(float(row["shade_evap_still_mm_day"]), abs=5.1e-4)
    assert kept_warm_mm_day(*air, 1.0) == pytest.approx(float(row["drying_u2_1ms_mm_day"]), abs=5.1e-4)


def test_the_wind_of_a_high_gauge_comes_down_to_two_metres() -> None:
    """FAO-56, example 14: 3.2 m/s at 10 m are 2.4 m/s at 2 m (2.39 to two digits)."""
    assert wind_at_2m(3.2, 10.0) == pytest.approx(2.39, abs=0.005)


def test_daylight_as_in_the_handbook() -> None:
    """FAO-56 example 9: 3 September, 20 degrees south: 11.7 hours. And a polar year has days without
    either.
    """
    assert daylight_h(-20.0, 246) == pytest.approx(11.7, abs=0.05)
    assert daylight_h(78.0, 172) == 24.0
    assert daylight_h(78.0, 355) == 0.0


def test_a_span_may_go_over_the_new_year() -> None:
    weeks = [week <= 8 or week >= 45 for week in range(1, WEEKS + 1)]
    assert spans(weeks, whole=True) == [Span(45, 60, 16)]
    assert spans(weeks, whole=False) == [Span(1, 8, 8), Span(45, 52, 8)]
    assert spans([True] * WEEKS, whole=True)[0].is_all_year
    nearly = [week >= 3 for week in range(1, WEEKS + 1)]
    assert spans(nearly, whole=True) == [Span(1, 52, 50)]
    assert spans([False] * WEEKS, whole=True) == []


def test_two_closed_weeks_are_bridged_and_three_are_not() -> None:
    weeks = [False] * WEEKS
    for week in (10, 13, 17):
        weeks[week - 1] = True
    assert spans(weeks, whole=True) == [Span(10, 13, 2), Span(17, 17, 1)]


def test_bags_are_started_before_the_span_and_not_too_late_for_a_flush() -> None:
    """By hand: span weeks 36 to 47 is day 246 to 329; 21 days of run, 4..8 to pins, 5..10 to the pick."""
    crop = Crop("x", "x", 10.0, 21.0, "hand", (14.0, 21.0), (4.0, 8.0), (5.0, 10.0))
    found = start(crop, Span(36, 47, 12))
    assert found is not None
    assert (found.first_day, found.last_day, found.pins) == (246 - 21, 329 - 18 - 21, (250, 254))
    assert start(crop, Span(14, 14, 1)) is None  # 7 days, 9 wanted
    assert start(Crop("x", "x", 10.0, 21.0, "hand"), Span(36, 47, 12)) is None


def test_every_shipped_species_has_a_range_to_plan_with() -> None:
    species = load(shipped_dir() / "farm.yaml").species
    found = {ident: crop_of(one) for ident, one in species.items()}
    assert all(crop is not None and crop.low_c < crop.high_c and crop.source for crop in found.values())


def test_the_growers_own_range_goes_before_the_one_outdoors() -> None:
    species = load(shipped_dir() / "farm.yaml").species["grey-oyster"]
    shipped = crop_of(species)
    assert shipped is not None and (shipped.low_c, shipped.high_c) == (10.0, 21.0)
    fruiting = species.stages[Stage.FRUITING]
    band = replace(
        fruiting.temperature, low=9.0, high=19.0, source="low: set in species/grey-oyster.yaml by the grower"
    )
    own = crop_of(
        replace(species, stages={**species.stages, Stage.FRUITING: replace(fruiting, temperature=band)})
    )
    assert own is not None and (own.low_c, own.high_c) == (9.0, 19.0) and "by the grower" in own.source


def test_half_a_year_says_nothing_of_the_other_half() -> None:
    full = year(NORTH_45)
    half = Weather("half", 45.0, "test", [hour for hour in full.hours if hour.month <= 6])
    season = plan(half, [Crop("x", "x", 10.0, 21.0, "test")], Cover.SHADED)
    assert all(week.figures is None for week in season.weeks[26:])
    assert season.crops[0].share[30] is None
    assert not half.is_whole


def test_without_wind_it_is_guessed_and_said() -> None:
    hours = [WeatherHour(5, 1 + at // 24, at % 24, 15.0, 80.0) for at in range(7 * 24)]
    season = plan(Weather("x", None, "test", hours), [], Cover.OPEN)
    assert any("wind guessed" in note for note in season.notes)
    assert any("slug nights not counted" in note for note in season.notes)
    week = season.weeks[17]
    assert week.figures is not None and week.slug_nights is None
    wanted = shade_mm_day(15.0, 80.0, 2.5 * 2.5 * wind_at_2m(1.0, 10.0))
    assert week.waterings_a_day == pytest.approx(wanted / 0.25)
