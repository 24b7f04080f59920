"""Degree-days against worked cases with their edges, and thirty real days of an open weather year."""

import csv
import os
from collections import defaultdict
from pathlib import Path

import pvlib
import pytest
from hypothesis import given
from hypothesis import strategies as st

from ahead.outside_tables import rows
from gillhouse.ahead.degree_days import by_hours, by_mean, by_sine

TMY3 = Path(os.path.dirname(pvlib.__file__)) / "data" / "723170TYA.CSV"


@pytest.mark.parametrize("row", rows("pests_degree_day_cases"), ids=lambda row: "-".join(row.values()))
def test_worked_cases(row: dict[str, str]) -> None:
    """Twelve invented pairs worked apart; among them a least just at the threshold (12, 24, 12), which a
    published library once gave as 0 (issue 53 of the open-source R package TrenchR)."""
    least, most, zero = float(row["tmin_c"]), float(row["tmax_c"]), float(row["t0_c"])
    assert by_mean(least, most, zero) == pytest.approx(float(row["dd_average"]), abs=5e-5)
    assert by_sine(least, most, zero) == pytest.approx(float(row["dd_single_sine"]), abs=5e-5)


def test_thirty_april_days_of_a_real_year() -> None:
    """Greensboro's TMY3, threshold 7.2 C, days by the file's own date: each day and each running total."""
    days: dict[str, list[float]] = defaultdict(list)
    with TMY3.open(encoding="utf-8", newline="") as file:
        next(file)
        for row in csv.DictReader(file):
            if row["Date (MM/DD/YYYY)"].startswith("04/"):
                days[row["Date (MM/DD/YYYY)"][:5].replace("/", "-")].append(float(row["Dry-bulb (C)"]))
    sums = [0.0, 0.0, 0.0]
    told = rows("pests_degree_day_run")
    assert len(told) == 30
    for row in told:
        temps = days[row["date"]]
        least, most = min(temps), max(temps)
        assert (len(temps), least, most) == (24, float(row["tmin_c"]), float(row["tmax_c"]))
        one = [by_hours(temps, 7.2), by_mean(least, most, 7.2), by_sine(least, most, 7.2)]
        for value, name in zip(one, ("dd_hourly", "dd_average", "dd_single_sine"), strict=True):
            assert value == pytest.approx(float(row[name]), abs=6e-4)
        sums = [total + value for total, value in zip(sums, one, strict=True)]
        for value, name in zip(sums, ("cum_hourly", "cum_average", "cum_single_sine"), strict=True):
            assert value == pytest.approx(float(row[name]), abs=2e-3)
    assert sums == pytest.approx([230.346, 216.05, 223.855], abs=2e-3)


@given(st.floats(-30, 40), st.floats(0, 30), st.floats(-5, 15))
def test_the_sine_lies_between_the_mean_and_the_whole_day_at_its_most(
    least: float, swing: float, zero: float
) -> None:
    most = least + swing
    sine = by_sine(least, most, zero)
    assert by_mean(least, most, zero) - 1e-9 <= sine <= max(most - zero, 0.0) + 1e-9


@given(st.floats(-10, 30), st.floats(0.5, 30))
def test_nothing_jumps_at_the_threshold(zero: float, swing: float) -> None:
    """Just above and just below a least at the threshold, and a most at it, the day is all but the same."""
    for least, most in ((zero, zero + swing), (zero - swing, zero)):
        at = by_sine(least, most, zero)
        for nudge in (-1e-6, 1e-6):
            assert by_sine(least + nudge, most + nudge, zero) == pytest.approx(at, abs=1e-4)


def test_a_day_upside_down_is_refused() -> None:
    with pytest.raises(ValueError, match="least \\(20\\) is over its most \\(10\\)"):
        by_sine(20, 10, 5)
    with pytest.raises(ValueError, match="swap them"):
        by_mean(20, 10, 5)
