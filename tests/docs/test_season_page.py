"""The page of what is coming up tells the code's own figures, and its picture is today's."""

from ahead.weather_years import GREENSBORO, year
from docs.pages import ROOT
from docs.season_picture import PICTURE, picture
from gillhouse.ahead.cold_chain import KEEPING
from gillhouse.ahead.evaporation import SHELTERS, Cover
from gillhouse.ahead.growth import LEAST_APART_C, LEAST_PAIRS, MYCELIUM
from gillhouse.ahead.season import OUTDOORS, months
from gillhouse.ahead.slugs import CALL_FROM, LEAST_NIGHTS
from gillhouse.ahead.watering import DRY_WIND_LEAST_MM_DAY

PAGE = " ".join((ROOT / "docs" / "explanation" / "what-is-coming.md").read_text(encoding="utf-8").split())


def test_the_picture_is_todays() -> None:
    assert PICTURE.read_text(encoding="utf-8") == picture()


def test_the_page_tells_the_codes_figures() -> None:
    oyster, shiitake = OUTDOORS["grey-oyster"], OUTDOORS["shiitake"]
    lions = MYCELIUM["lions-mane"]
    for words in (
        f"grey oyster {oyster.low_c:g} to {oyster.high_c:g} °C",
        f"shiitake blocks {shiitake.low_c:g} to {shiitake.high_c:g}",
        f"lion's mane, {lions.least_c:g}, {lions.best_c:g} and {lions.most_c:g} °C",
        f"called from {CALL_FROM:g} on",
        f"{DRY_WIND_LEAST_MM_DAY:g} mm at least",
        f"{LEAST_APART_C:g} °C apart",
    ):
        assert words in PAGE, words
    assert (LEAST_PAIRS, LEAST_NIGHTS) == (8, 8) and "eight flushes" in PAGE
    assert set(KEEPING) == {"button", "grey-oyster", "king-oyster", "shiitake"}
    assert [SHELTERS[cover].wind_share for cover in Cover] == [1.0, 0.5, 0.2]


def test_greensboros_april_and_july_are_as_told() -> None:
    """Also in season_monthly.csv: 0.862 and 0.763 mm a day."""
    found = months(year(GREENSBORO), SHELTERS[Cover.SHADED].wind_share)
    assert f"{found[4].shade_mm_day:.2f} mm a day" in PAGE and f"July {found[7].shade_mm_day:.2f}" in PAGE
    assert found[7].mean_c - found[4].mean_c > 9.5
