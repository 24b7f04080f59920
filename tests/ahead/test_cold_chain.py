"""After the pick: published losses, store days, and what is done where nothing is published."""

import pytest

from ahead.outside_tables import rows
from gillhouse.ahead.cold_chain import KEEPING, NOT_SOURCED, Kept, clock, hours_to_loss, loss_g_per_kg_h

trade = {row["case"]: float(row["result"]) for row in rows("trade_checks")}


def test_hours_to_five_percent_as_printed() -> None:
    """trade_checks.csv: oyster 0.52 and 3.88 g/kg/h (J. Food Eng., doi 10.1016/j.jfoodeng.2017.05.026)."""
    oyster = KEEPING["grey-oyster"].loss
    cold, warm = loss_g_per_kg_h(oyster, 2.0), loss_g_per_kg_h(oyster, 18.0)
    assert hours_to_loss(cold) == pytest.approx(trade["P. ostreatus 2 C 100% RH, 0.52 g/kg/h"], abs=0.051)
    assert hours_to_loss(warm) == pytest.approx(trade["P. ostreatus 18 C 86% RH, 3.88 g/kg/h"], abs=0.051)


def test_button_still_loses_at_full_humidity() -> None:
    """trade_checks.csv: 0.03 and 0.22 mg/kg/s over 4 to 20 C (Rux and others 2015) in g/kg/h."""
    button = KEEPING["button"].loss
    assert loss_g_per_kg_h(button, 4.0) == pytest.approx(trade["Agaricus 100% RH 4 C, 0.03 mg/kg/s"])
    assert loss_g_per_kg_h(button, 20.0) == pytest.approx(trade["Agaricus 100% RH 20 C, 0.22 mg/kg/s"])


def test_button_store_days() -> None:
    """UC Davis: 5 to 7 days at 1.5 C, 2 at 4.5 C."""
    assert clock("button", [Kept(0.0, 1.5)]).days_left == (5.0, 7.0)
    assert clock("button", [Kept(0.0, 4.5)]).days_left == (2.0, 2.0)
    half = clock(
        "button", [Kept(24.0, 4.5), Kept(0.0, 1.5)]
    )  # one of two days used: half of the rest is left
    assert half.days_left == (pytest.approx(2.5), pytest.approx(3.5))
    assert clock("button", [Kept(60.0, 4.5)]).days_left == (0.0, 0.0)


def test_hours_over_five_degrees_and_weight_are_summed() -> None:
    """By hand: 10 h at 18 C at 3.88 and 20 h at 2 C at 0.52 g/kg/h are 49.2 g of a kilogram: 4.92 %."""
    found = clock("grey-oyster", [Kept(10.0, 18.0), Kept(20.0, 2.0)])
    assert found.lost_pct == pytest.approx(4.92)
    assert found.hours_to_wilted == pytest.approx(0.8 / 0.52)
    assert (found.hours, found.warm_h) == (30.0, 10.0)


def test_hours_warmer_than_any_published_point_make_an_upper_limit() -> None:
    assert clock("grey-oyster", [Kept(10.0, 18.0), Kept(1.0, 4.0)]).is_upper_limit
    assert not clock("grey-oyster", [Kept(10.0, 4.0)]).is_upper_limit
    assert clock("button", [Kept(1.0, 20.0)]).is_upper_limit


def test_a_species_without_figures_says_so() -> None:
    found = clock("nameko", [Kept(10.0, 18.0)])
    assert (found.days_left, found.lost_pct, found.sources) == (None, None, (NOT_SOURCED,))
    assert found.warm_h == 10.0


@pytest.mark.parametrize("kept", [[], [Kept(-1.0, 4.0)], [Kept(1.0, 80.0)]])
def test_what_cannot_be_is_refused(kept: list[Kept]) -> None:
    with pytest.raises(ValueError, match=r"no hours|cannot be"):
        clock("button", kept)


def test_nothing_lost_never_gets_anywhere() -> None:
    with pytest.raises(ValueError, match="never"):
        hours_to_loss(0.0)
