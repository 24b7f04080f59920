"""Weather files: the same hours as pvlib's readers see, and files that are off told by file, line and
value.
"""

import os
from io import StringIO

import pvlib.iotools
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from ahead.weather_years import ALL, AMSTERDAM, GREENSBORO, MIAMI, SAND_POINT, text, year
from gillhouse.ahead.evaporation import Cover
from gillhouse.ahead.season import Crop, plan
from gillhouse.ahead.weather import WeatherError, WeatherHour, day_of_year, is_dark, month_and_day, told_day
from gillhouse.ahead.weather_files import read

DATA = os.path.join(os.path.dirname(pvlib.__file__), "data")
HEAD = "time,temp_c,humidity_pct,wind_m_s\n"


def plain(rows: list[str], head: str = HEAD) -> str:
    return head + "\n".join(rows)


def day_rows(date: str, temp: str = "15", humidity: str = "80") -> list[str]:
    return [f"{date} {hour:02d}:00,{temp},{humidity},1" for hour in range(24)]


@pytest.mark.parametrize("name", [GREENSBORO, SAND_POINT])
def test_tmy3_as_pvlib_reads_it(name: str) -> None:
    frame, meta = pvlib.iotools.read_tmy3(os.path.join(DATA, name), coerce_year=1990, map_variables=False)
    mine = year(name)
    for column, values in {
        "Dry-bulb (C)": [hour.temp_c for hour in mine.hours],
        "RHum (%)": [hour.humidity_pct for hour in mine.hours],
        "Wspd (m/s)": [hour.wind_m_s for hour in mine.hours],
        "GHI (W/m^2)": [hour.sun_w_m2 for hour in mine.hours],
    }.items():
        assert values == frame[column].tolist(), column
    assert mine.latitude_deg == meta["latitude"]


def test_tmy2_as_pvlib_reads_it() -> None:
    frame, meta = pvlib.iotools.read_tmy2(os.path.join(DATA, MIAMI))
    mine = year(MIAMI)
    assert [hour.temp_c for hour in mine.hours] == [value / 10 for value in frame["DryBulb"]]
    assert [hour.humidity_pct for hour in mine.hours] == frame["RHum"].tolist()
    assert [hour.wind_m_s for hour in mine.hours] == [value / 10 for value in frame["Wspd"]]
    assert [hour.sun_w_m2 for hour in mine.hours] == frame["GHI"].tolist()
    assert mine.latitude_deg == pytest.approx(meta["latitude"])


def test_epw_as_pvlib_reads_it() -> None:
    frame, meta = pvlib.iotools.read_epw(StringIO(text(AMSTERDAM)))
    mine = year(AMSTERDAM)
    assert [hour.temp_c for hour in mine.hours] == frame["temp_air"].tolist()
    assert [hour.humidity_pct for hour in mine.hours] == frame["relative_humidity"].tolist()
    assert [hour.wind_m_s for hour in mine.hours] == frame["wind_speed"].tolist()
    assert mine.latitude_deg == meta["latitude"]


@pytest.mark.parametrize("name", ALL)
def test_every_year_is_whole_and_begins_with_january(name: str) -> None:
    mine = year(name)
    assert len(mine.hours) == 8760 and mine.is_whole and mine.notes == ()
    assert (mine.hours[0].month, mine.hours[0].day, mine.hours[0].hour) == (1, 1, 0)
    assert (mine.hours[-1].month, mine.hours[-1].day, mine.hours[-1].hour) == (12, 31, 23)


WEEK = [f"2026-07-0{day}" for day in range(1, 9)]
BROKEN = {
    # what is off: (text, words that must be in the message)
    "empty": ("", ["the file is empty"]),
    "something else": ("hello\nthere\n", ["no EPW", "'hello'", "temp_c"]),
    "wrong column": (plain([], "time,temp_c,moisture\n"), [":1:", "'moisture'", "humidity_pct"]),
    "no humidity": (plain([], "time,temp_c\n"), [":1:", "humidity", "humidity_pct"]),
    "no time": (plain([], "temp_c,humidity_pct\n"), ["'time'"]),
    "twice the same": (plain([], "time,temp_c,temp_f,humidity_pct\n"), ["two columns"]),
    "no number": (plain(["2026-05-01 00:00,warm,80,1"]), [":2:", "'warm'", "temp_c"]),
    "no date": (plain(["1.5.2026,12,80,1"]), [":2:", "'1.5.2026'", "2026-05-21"]),
    "no such day": (plain(["2026-02-30 00:00,12,80,1"]), [":2:", "2026-02-30"]),
    "Fahrenheit": (plain(day_rows("2026-07-01", "88")), [":2:", "88", "temp_f"]),
    "Kelvin": (plain(day_rows("2026-07-01", "288.2")), [":2:", "288.2"]),
    "humidity over": (plain(day_rows("2026-07-01", "15", "150")), [":2:", "150"]),
    "fractions": (plain([row for day in WEEK for row in day_rows(day, "15", "0.8")]), ["over 0.8", "100"]),
    "short row": (plain(["2026-05-01 00:00,12"]), [":2:", "2 cells", "4 columns"]),
    "every hour twice": (plain(day_rows("2025-07-01") + day_rows("2026-07-01")), ["come twice"]),
    "nothing in it": (plain(["2026-05-01 00:00,,80,1"]), ["no hour"]),
    "latitude": ("# latitude: 123\n" + plain(day_rows("2026-07-01")), ["123"]),
    "an endless cell": (plain(["2026-07-01 00:00,15,80," + 200_000 * "x"]), ["plain CSV"]),
    "km/h as m/s": (plain(["2026-07-01 00:00,15,80,90"]), [":2:", "90", "wind_km_h"]),
}  # fmt: skip


@pytest.mark.parametrize("case", BROKEN)
def test_what_is_off_is_told_with_file_line_and_value(case: str) -> None:
    body, wanted = BROKEN[case]
    with pytest.raises(WeatherError) as caught:
        read(body, "yard.csv")
    assert str(caught.value).startswith("yard.csv")
    assert [word for word in wanted if word not in str(caught.value)] == []


@pytest.mark.parametrize("name", [AMSTERDAM, GREENSBORO])
def test_a_file_cut_off_within_a_row_is_told(name: str) -> None:
    lines = text(name).splitlines()[:500]
    lines[-1] = lines[-1][:40]
    with pytest.raises(WeatherError, match=r":500: .*columns"):
        read("\n".join(lines), name)


def test_other_units_are_turned_into_ours() -> None:
    found = read(
        plain(["2026-07-01 00:00,59,80,36,1"], "time,temp_f,humidity_pct,wind_km_h,rain_in\n"), "x"
    ).hours[0]
    assert (found.temp_c, found.wind_m_s, found.rain_mm) == (pytest.approx(15.0), pytest.approx(10.0), 25.4)


def test_a_leap_day_counts_to_the_week_of_the_28th_and_is_said() -> None:
    rows = [row for day in range(26, 30) for row in day_rows(f"2028-02-{day}")]
    found = read(plain(rows), "leap.csv")
    assert {hour.week for hour in found.hours} == {9}
    assert any("29 February" in note for note in found.notes)


def test_missing_hours_and_missing_weeks_are_counted_and_said() -> None:
    """A whole year from the wheel, with five rows of one week and the last half taken out."""
    lines = text(GREENSBORO).splitlines()
    kept = lines[:2] + lines[2:102] + lines[107 : 2 + 26 * 168]
    found = read("\n".join(kept), "half.csv")
    assert any("5 hours are missing" in note for note in found.notes)
    assert any("26 of 52 weeks" in note for note in found.notes)
    assert not found.is_whole


def test_values_marked_missing_are_left_out_and_said() -> None:
    lines = text(GREENSBORO).splitlines()
    cells = lines[100].split(",")
    cells[31] = "-9900"
    lines[100] = ",".join(cells)
    found = read("\n".join(lines), "gap.csv")
    assert len(found.hours) == 8759
    assert any("1 rows without" in note for note in found.notes)


def test_24_o_clock_closes_its_day_in_a_plain_file_too() -> None:
    found = read(plain(["2026-06-30 24:00,15,80,1"]), "x").hours[0]
    assert (found.month, found.day, found.hour) == (6, 30, 23)


def test_the_dark_in_the_south_and_at_the_pole() -> None:
    """Without sunshine in the file: June nights are long in the south; the pole's summer has none, its
    winter no day.
    """

    def dark_h(latitude: float, month: int) -> int:
        return sum(bool(is_dark(WeatherHour(month, 21, hour, 10, 80), latitude)) for hour in range(24))

    assert dark_h(-38.0, 6) > dark_h(-38.0, 12) + 3
    assert dark_h(38.0, 12) > dark_h(38.0, 6) + 3
    assert (dark_h(80.0, 6), dark_h(80.0, 12), dark_h(-80.0, 12)) == (0, 24, 0)
    assert is_dark(WeatherHour(6, 21, 12, 10, 80), None) is None


@pytest.mark.parametrize("latitude", [-38.0, 80.0])
def test_a_southern_and_a_polar_year_plan_like_any_other(latitude: float) -> None:
    """Greensboro's hours half a year on, as if of the south; and cold ones of the far north."""
    rows = []
    hours = year(GREENSBORO).hours
    for at, hour in enumerate(hours):
        source = hours[(at + 4380) % 8760] if latitude < 0 else hour
        temp = source.temp_c if latitude < 0 else source.temp_c - 25.0
        rows.append(
            f"2026-{hour.month:02d}-{hour.day:02d} {hour.hour:02d}:00,{temp:.1f},{source.humidity_pct},2"
        )
    found = read(f"# latitude: {latitude:g}\n" + plain(rows), "far.csv")
    season = plan(found, [Crop("x", "x", 10.0, 21.0, "test")], Cover.NETTED)
    frost = [week.figures.frost_h for week in season.weeks if week.figures is not None]
    assert len(frost) == 52
    assert (frost[26] > 0) if latitude < 0 else (sum(frost) > 5000)
    assert all(week.slug_nights is not None for week in season.weeks)


@given(st.integers(1, 365))
def test_days_go_there_and_back(day: int) -> None:
    assert day_of_year(*month_and_day(day)) == day
    assert told_day(day + 365) == told_day(day)


@settings(max_examples=60)
@given(st.text(max_size=400))
def test_any_text_is_read_or_refused_in_words(body: str) -> None:
    for head in ("", HEAD, "LOCATION,a,b\n"):
        try:
            read(head + body, "any.csv")
        except WeatherError as error:
            assert str(error).startswith("any.csv")
