"""Waterings from a forecast, a dry wind, and what the scale says, each worked by hand."""

import pytest

from gillhouse.ahead.evaporation import SHELTERS, Cover, shade_mm_day
from gillhouse.ahead.lacking import NEEDS, Has, lacking
from gillhouse.ahead.season import Crop
from gillhouse.ahead.this_year import beside, told
from gillhouse.ahead.watering import Weighed, bag_outlook, dry_wind, edge_mm_h, upcoming
from gillhouse.ahead.weather import Weather, WeatherHour
from gillhouse.core.caps import EDGE_WIND
from gillhouse.core.drying import wind_at_2m
from gillhouse.core.settings import HoseSettings

HOSE = HoseSettings(film_mm=0.15, spare_mm=0.1)


def hour(
    at: int = 0, temp: float = 20.0, humidity: float = 70.0, wind: float | None = 4.0, **more: float
) -> WeatherHour:
    return WeatherHour(5, 1 + at // 24, at % 24, temp, humidity, wind, **more)


def test_the_next_watering_comes_when_film_and_spare_are_gone() -> None:
    """By hand: at one loss an hour, water w is down to -0.1 mm after (w + 0.1) / loss hours, then every
    0.25 / loss.
    """
    felt = EDGE_WIND * 0.2 * wind_at_2m(4.0, 10.0)
    loss = shade_mm_day(20.0, 70.0, felt) / 24.0
    assert edge_mm_h(hour(), 0.2) == pytest.approx(loss)
    found = upcoming(0.15, [hour(at) for at in range(48)], HOSE, Cover.SHADED)
    first = int(0.25 / loss) + (0 if (0.25 / loss).is_integer() else 1)
    assert found[0].hour == first - 1
    assert found[0].mm == pytest.approx(0.25, abs=loss)
    assert found[1].hour - found[0].hour == first
    assert "20 C, 70 %, wind 4 m/s" in found[0].why
    sooner = upcoming(0.0, [hour(at) for at in range(48)], HOSE, Cover.SHADED)
    assert sooner[0].hour < found[0].hour
    assert len(upcoming(0.15, [hour(at) for at in range(48)], HOSE, Cover.SHADED, pace=2.0)) > len(found)


def test_rain_counts_where_there_is_no_roof_and_frost_waits() -> None:
    wet = [hour(at, rain_mm=1.0) for at in range(48)]
    assert upcoming(0.1, wet, HOSE, Cover.OPEN) == []
    assert upcoming(0.1, wet, HOSE, Cover.SHADED) != []
    frozen = [hour(at, temp=0.5, humidity=40.0) for at in range(48)]
    assert upcoming(-0.09, frozen, HOSE, Cover.SHADED) == []


def test_a_dry_wind_is_half_as_much_again_as_lately() -> None:
    share = SHELTERS[Cover.SHADED].wind_share
    calm = [hour(at, 15.0, 80.0, 2.0) for at in range(240)]
    storm = [hour(at, 18.0, 45.0, 12.0) for at in range(24)]
    found = dry_wind(storm, calm, share)
    assert found is not None and found.times > 3.0
    assert dry_wind(calm[:24], calm, share) is None
    assert dry_wind(storm, [], share) is None and dry_wind([], calm, share) is None


def test_without_a_gauge_a_forecasts_wind_alone_is_no_dry_wind() -> None:
    before = [hour(at, 15.0, 80.0, None) for at in range(240)]
    windy = [hour(at, 15.0, 80.0, 12.0) for at in range(24)]
    assert dry_wind(windy, before, 0.2) is None


def test_a_log_is_watered_over_a_tenth_of_its_weight() -> None:
    """Hill, University of Kentucky FOR-83: water when more than 10 % of the first weight has gone. Its
    own example, 35 lb down to 29 lb, is 17 %.
    """
    found = bag_outlook([Weighed(35.0, 0.0), Weighed(29.0, 8.0)], mm_day=1.0)
    assert found.lost_pct == pytest.approx(17.14, abs=0.01) and found.is_due
    just = bag_outlook([Weighed(10.0, 0.0), Weighed(9.0, 5.0)], mm_day=1.0)
    assert just.lost_pct == pytest.approx(10.0) and not just.is_due


def test_the_scale_corrects_what_was_reckoned() -> None:
    """By hand: 0.4 kg for 4 mm is 0.1 kg a mm; 0.6 kg left to a tenth of 10 kg is 6 mm, at 0.5 mm a day
    12 days.
    """
    found = bag_outlook([Weighed(10.0, 0.0), Weighed(9.6, 4.0)], mm_day=0.5)
    assert found.kg_per_mm == pytest.approx(0.1)
    assert found.days_left == pytest.approx(12.0)
    soaked = bag_outlook([Weighed(10.0, 0.0), Weighed(9.0, 9.0), Weighed(10.5, 0.0)], mm_day=0.5)
    assert (soaked.lost_pct, soaked.kg_per_mm, soaked.days_left) == (0.0, None, None)
    with pytest.raises(ValueError, match="over 0 kg"):
        bag_outlook([Weighed(0.0, 0.0)], 0.5)


def test_this_year_beside_a_typical_one() -> None:
    typical = Weather("x", 50.0, "test", [hour(at, 12.0) for at in range(14 * 24)])
    logged = [hour(at, 14.5) for at in range(14 * 24)]
    crop = Crop("x", "x", 14.0, 20.0, "test")
    found = beside(logged, typical, [crop])
    assert found and all(week.warmer_c == pytest.approx(2.5) for week in found)
    assert found[0].here_share == {"x": 1.0} and found[0].typical_share == {"x": 0.0}
    assert "2.5 C warmer" in told(found)
    assert "no whole week" in told(beside(logged[:20], typical, [crop]))


def test_what_is_missing_is_named_only_where_it_would_be_used() -> None:
    room = list(lacking(Has()))
    assert len(room) == 1 and "outdoor sensor" in room[0]
    barn = list(lacking(Has(open_space=True, hosings_told=False)))
    assert len(barn) == len(NEEDS)
    full = Has(True, True, True, True, True, True, True)
    assert list(lacking(full)) == []
