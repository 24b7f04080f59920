"""Sums over picks, against published worked figures."""

import pytest

from gillhouse.records.crop_notes import About, CropEntry, Filled, Looked, Lost, Picked
from gillhouse.records.yields import efficiency_pct, of_batch, share_pct

DAY = 86_400_000


@pytest.mark.parametrize(
    ("grams", "printed"),
    # Three oysters on 1500 g of dry paddy straw. Source: Jatwa et al. 2016, J Pure Appl Microbiol 10:2783.
    # The second decimal differs in print (1275.7 / 1500 is 85.05), so they are held to 0.1.
    [(1248.3, 83.22), (1348.7, 89.90), (1275.7, 84.99)],
)
def test_biological_efficiency_as_published(grams: float, printed: float) -> None:
    assert efficiency_pct(grams / 1000, 1.5) == pytest.approx(printed, abs=0.1)
    gave = of_batch([Filled(About("a", 1, 0), 1.5), Picked(About("a", 1, DAY), grams / 1000, 0.4)], {})
    assert gave.efficiency_pct == pytest.approx(printed, abs=0.1)


def test_the_third_flush_of_button_as_published() -> None:
    """28 kg/m2 in two flushes, 32 in three: the third is 12.5 %. Source: a trade magazine's comparison of
    two- and three-flush cycles; the share is worked by hand from its two figures."""
    assert share_pct(32 - 28, 32) == 12.5
    picks = [Picked(About("a", flush, flush * DAY), kg) for flush, kg in ((1, 18.0), (2, 10.0), (3, 4.0))]
    assert [one.share_pct for one in of_batch(picks, {}).flushes] == [56.25, 31.25, 12.5]


def test_without_dry_weight_there_is_no_efficiency() -> None:
    assert of_batch([Picked(About("a", 1, 0), 2.0)], {}).efficiency_pct is None


def test_nothing_written_down_comes_to_nothing() -> None:
    gave = of_batch([], {})
    assert (gave.kg, gave.flushes, gave.lost, gave.lost_pct) == (0, (), 0, None)


def test_days_from_pins_to_the_first_pick() -> None:
    """Worked by hand: pins seen on day 2, picked on days 7 and 9: 5 days. Where nobody saw pins, from the
    begin of pinning on day 1: 6 days. Pins seen after the pick are the next flush's, and count nothing."""
    picks: list[CropEntry] = [Picked(About("a", 1, 9 * DAY), 1.0), Picked(About("a", 1, 7 * DAY), 3.0)]
    seen = Looked(About("a", 1, 2 * DAY), ("pins",))
    late = Looked(About("a", 1, 8 * DAY), ("pins",))
    wet = Looked(About("a", 1, 1 * DAY), ("wet-caps",))

    def days(*entries: CropEntry, began: dict[int, int]) -> float | None:
        (flush,) = of_batch(entries, began).flushes
        return flush.pin_to_pick_d

    assert days(*picks, seen, wet, began={1: DAY}) == 5.0
    assert days(*picks, late, began={1: DAY}) == 6.0
    assert days(*picks, late, began={}) is None
    assert days(*picks, began={1: 8 * DAY}) is None, "pinning cannot have begun after the pick"


def test_share_of_blocks_lost() -> None:
    """3 + 2 of 20 are 25 %."""
    lost = [Lost(About("a", 1, DAY), 3, "green-mould"), Lost(About("a", 1, 2 * DAY), 2, "flies")]
    assert of_batch([*lost, Filled(About("a", 1, 0), 14.0, 20)], {}).lost_pct == 25.0
    assert of_batch(lost, {}).lost_pct is None
