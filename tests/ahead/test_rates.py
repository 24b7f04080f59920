"""Rates against published days, lines against published thresholds; nothing made up beyond them."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from ahead.outside_tables import rows
from gillhouse.ahead.pests import PestStage
from gillhouse.ahead.rates import Edge, Point, Range, RateLine, RateTable, days_at, fitted_line
from gillhouse.config.pests_file import load_pests

PESTS = load_pests()
BRADYSIA, LYCORIELLA = "Bradysia sp. (oyster mushroom)", "Lycoriella ingenua"
SCALARIS, GNAT, CECID = "Megaselia scalaris", "Neoempheria ferruginea", "Mycophila sp. A"
OURS = {BRADYSIA: "sciarid", GNAT: "shiitake-gnat", CECID: "cecid"}


def points(species: str, stage: str, most_c: float = 99.0) -> list[Point]:
    """The published points, in days; a range of temperature by its middle."""
    found = []
    for row in rows("pests_development"):
        if (row["species"], row["stage_or_trait"]) == (species, stage) and float(row["temp_c"]) <= most_c:
            scale = 24.0 if row["unit"] == "hours" else 1.0
            temp = (float(row["temp_c"]) + float(row["temp_high_c"] or row["temp_c"])) / 2
            least = float(row["value"]) / scale
            found.append(Point(temp, least, float(row["value_high"] or row["value"]) / scale))
    return sorted(found, key=lambda one: one.at_c)


@pytest.mark.parametrize("stage", ["egg", "larva", "pupa"])
def test_the_shipped_sciarid_gives_the_published_days(stage: str) -> None:
    pace = next(one.pace for one in PESTS["sciarid"].stages if one.stage is PestStage(stage))
    published = points(BRADYSIA, stage)
    assert len(published) == 5
    for point in published:
        assert 1 / pace.rate(point.at_c).per_day == pytest.approx(point.days)
        assert pace.rate(point.at_c).tested is Range.WITHIN


def test_stages_one_by_one_come_to_the_published_whole() -> None:
    """Egg to adult was published too; the three stages add up to it within the last printed digit each."""
    paces = [one.pace for one in PESTS["sciarid"].stages]
    for point in points(BRADYSIA, "egg_to_adult"):
        assert days_at(paces, point.at_c) == pytest.approx(point.days, abs=0.15)


def test_the_shipped_button_sciarid_and_its_other_source() -> None:
    (whole,) = PESTS["button-sciarid"].stages
    for point in points(LYCORIELLA, "egg_to_adult"):
        assert 1 / whole.pace.rate(point.at_c).per_day == pytest.approx(point.days)
    (other,) = points("Lycoriella mali (= ingenua)", "egg_to_adult")
    ours = 1 / whole.pace.rate(other.at_c).per_day
    assert abs(ours / other.days - 1) < PESTS["button-sciarid"].window_share  # another laboratory: 30 days


def test_the_shipped_phorid_spans_what_is_published() -> None:
    (whole,) = PESTS["phorid"].stages
    for least_c, most_c, least, most in ((21.1, 21.1, 25, 30), (24, 27, 15, 15), (16, 21, 25, 50)):
        for temp in (least_c, most_c):
            days = 1 / whole.pace.rate(temp).per_day
            assert least * 0.82 <= days <= most * 1.18, temp  # within the window told with it


def test_the_cecid_line_meets_what_was_observed() -> None:
    (cycle,) = PESTS["cecid"].stages
    (seen,) = points(CECID, "paedogenetic_cycle")
    assert 1 / cycle.pace.rate(seen.at_c).per_day == pytest.approx(seen.days, abs=0.05)  # 92.7 / 15.7 = 5.904
    for other in ("Mycophila sp. (Miyazaki)", "Mycophila speyeri"):  # relatives: a week, three weeks, 4-5 d
        for point in points(other, "paedogenetic_cycle"):
            assert 0.5 < point.days * cycle.pace.rate(point.at_c).per_day < 1.6


# --- lines ---------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    "row", rows("pests_thermal"), ids=lambda row: f"{row['species']}-{row['stage']}-{row['how']}"
)
def test_every_published_and_refitted_line(row: dict[str, str]) -> None:
    """Refits: the same threshold, constant and R2. Published: the shipped file's line, or its own days."""
    species, how = row["species"], row["how"]
    zero_c, degree_days = float(row["t0_c"]), float(row["k_degree_days"])
    if "1/D on T" in how or "two-point" in how or "not usable" in how:
        stage, (low, high) = row["stage"], (float(one) for one in row["range_c"].split("-"))
        chosen = [one for one in points(species, stage) if low <= one.at_c <= high]
        found = fitted_line(chosen)
        assert found[0] == pytest.approx(zero_c, abs=0.006)
        assert found[1] == pytest.approx(degree_days, abs=0.3)
        if row["r2"]:
            assert found[2] == pytest.approx(float(row["r2"]), abs=0.001)
        return
    if species == SCALARIS:  # a published line and another way to fit: near its days where it is warm
        line = RateLine(zero_c, degree_days, (16, 34), row["source"])
        for point in points(SCALARIS, "egg_to_adult")[3:]:
            assert line.days_at(point.at_c) == pytest.approx(point.days, rel=0.17)
        return
    stages = PESTS[OURS[species]].stages
    if species == GNAT:  # four lines, by sex and day length; the shipped one lies within 9 % of all
        shipped = stages[0].pace
        for temp in (12, 15, 20, 25):
            line = RateLine(zero_c, degree_days, (12, 25), row["source"])
            assert 1 / shipped.rate(temp).per_day == pytest.approx(line.days_at(temp), rel=0.092)
        return
    chosen_line = next((one.line for one in stages if one.stage == row["stage"]), None) or stages[0].pace
    assert isinstance(chosen_line, RateLine)
    assert (chosen_line.zero_c, chosen_line.degree_days) == (zero_c, degree_days)


def test_a_line_through_one_temperature_is_none() -> None:
    with pytest.raises(ValueError, match="two temperatures or more"):
        fitted_line([Point(20, 5, 5), Point(20, 6, 6)])
    with pytest.raises(ValueError, match="no line fits"):
        fitted_line([Point(10, 5, 5), Point(20, 9, 9)])


# --- tables at constant temperature --------------------------------------------------------------------


@pytest.mark.parametrize("row", rows("pests_days_at_constant_temp"), ids=lambda row: row["temp_c"])
def test_days_at_a_constant_temperature(row: dict[str, str]) -> None:
    temp = float(row["temp_c"])
    lines = [one.line for one in PESTS["sciarid"].stages]
    assert all(lines)
    staged = sum(line.days_at(temp) for line in lines if line is not None)
    assert staged == pytest.approx(float(row["bradysia_staged_days"]), abs=0.011)
    whole = RateTable(points(BRADYSIA, "egg_to_adult"), 2.028, "the published whole")
    assert 1 / whole.rate(temp).per_day == pytest.approx(
        float(row["bradysia_rate_interpolated_days"]), abs=0.006
    )
    if row["bradysia_observed_days"]:
        observed = float(row["bradysia_observed_days"])
        assert staged - observed == pytest.approx(float(row["staged_minus_observed"]), abs=0.011)
    gnat, cecid = PESTS["shiitake-gnat"].stages[0].pace, PESTS["cecid"].stages[0].pace
    assert isinstance(gnat, RateLine) and isinstance(cecid, RateLine)
    assert gnat.days_at(temp) == pytest.approx(float(row["neoempheria_days"]), abs=0.006)
    assert cecid.days_at(temp) == pytest.approx(float(row["mycophila_sp_a_days"]), abs=0.006)


# --- never beyond what was tested ----------------------------------------------------------------------


TABLES = [s.pace for pest in PESTS.values() for s in pest.stages if isinstance(s.pace, RateTable)]
LINES = [s.pace for pest in PESTS.values() for s in pest.stages if isinstance(s.pace, RateLine)]


@given(st.floats(-40, 60), st.sampled_from(TABLES))
def test_beyond_a_table_nothing_is_made_up(temp: float, table: RateTable) -> None:
    rate = table.rate(temp)
    low, high = table.points[0].at_c, table.points[-1].at_c
    assert 0.0 <= rate.per_day <= max(1 / one.days for one in table.points)
    assert (rate.tested is Range.BELOW) == (temp < low)
    assert (rate.tested is Range.ABOVE) == (temp > high)
    if temp <= table.zero_c:
        assert rate.per_day == 0.0
    if temp > high:
        assert rate.per_day == table.rate(high).per_day


@given(st.floats(-40, 60), st.sampled_from(LINES))
def test_beyond_a_line_nothing_is_made_up(temp: float, line: RateLine) -> None:
    rate = line.rate(temp)
    if line.tested_c is None:
        assert rate.tested is Range.UNSTATED
    elif temp > line.tested_c[1]:
        assert rate.per_day == line.rate(line.tested_c[1]).per_day
        assert rate.tested is Range.ABOVE
    if temp <= line.zero_c:
        assert rate.per_day == 0.0


@given(st.floats(-10, 45), st.floats(0, 5))
def test_the_edges_keep_their_order(temp: float, step: float) -> None:
    for pest in PESTS.values():
        for stage in pest.stages:
            late, likely, early = (
                stage.pace.rate(temp, one).per_day for one in (Edge.LATE, Edge.LIKELY, Edge.EARLY)
            )
            assert late <= likely <= early
            assert stage.pace.rate(temp + step).per_day >= likely - 1e-12  # warmer is never slower here


def test_below_the_coolest_point_by_hand() -> None:
    """Half way from 3.8 C to 10 C an egg does half of what it does at 10 C: 1 / 24.2 a day."""
    egg = PESTS["sciarid"].stages[0].pace
    assert egg.rate(6.9).per_day == pytest.approx(1 / 24.2)
    assert egg.rate(6.9).tested is Range.BELOW
    assert egg.rate(31.0).per_day == pytest.approx(1 / 3.2)
