"""A forecast as CSV: read by hour, in both units and in the farm's time, or refused with the row."""

from zoneinfo import ZoneInfo

import pytest
from hypothesis import given
from hypothesis import strategies as st

from gillhouse.ahead.forecast import ForecastError, forecast

ROME = ZoneInfo("Europe/Rome")
AT = 1_795_194_000_000
"""2026-11-20 18:00 in Rome, 17:00 UTC (GNU date)."""


def test_hours_in_the_farms_own_time() -> None:
    lines = [
        "# from the radio",
        "time,temp_c,humidity_pct",
        "2026-11-20 18:00,11.5,80",
        "2026-11-20 19:00,10,81",
    ]
    assert forecast(lines, "f.csv", ROME) == {AT: 11.5, AT + 3_600_000: 10.0}


def test_times_with_a_zone_of_their_own_and_fahrenheit() -> None:
    """50 F are 10 C, 59 F are 15 C; two times of one hour are averaged."""
    lines = ["Time,Temp_F", "2026-11-20T17:00Z,50", "2026-11-20T17:30+00:00,59", ""]
    assert forecast(lines, "f.csv", ROME) == {AT: pytest.approx(12.5)}


@pytest.mark.parametrize(
    ("lines", "said"),
    [
        (
            [],
            "f.csv: the first line names the columns; it needs time and one of temp_c, temp_f (got nothing)",
        ),
        (["time,warmth"], r"\(got time, warmth\)"),
        (["time,temp_c,temp_f"], r"\(got time, temp_c, temp_f\)"),
        (["time,temp_c"], "f.csv: holds no hours; leave it out"),
        (["time,temp_c", "2026-11-20 18:00"], "f.csv: row 2: 1 cells, 2 columns are named"),
        (["time,temp_c", "tomorrow,12"], "f.csv: row 2: time 'tomorrow' is not like 2026-05-21 14:00"),
        (
            ["time,temp_c", "2026-11-20 18:00,warm"],
            "row 2: temperature 'warm' is no number; take the row out",
        ),
        (["time,temp_c", "2026-11-20 18:00,288"], "row 2: 288 is no temperature of air; is the unit right?"),
        (["time,temp_c", "2026-11-20 18:00,nan"], "row 2: nan is no temperature of air"),
    ],
)
def test_what_cannot_be_used_is_refused(lines: list[str], said: str) -> None:
    with pytest.raises(ForecastError, match=said.replace("(got nothing)", r"\(got nothing\)")):
        forecast(lines, "f.csv", ROME)


@given(st.lists(st.text(max_size=40), max_size=6))
def test_nothing_else_comes_out_of_any_text(lines: list[str]) -> None:
    try:
        found = forecast(lines, "f.csv", ROME)
    except ForecastError:
        return
    assert all(-60 <= temp <= 60 for temp in found.values())
