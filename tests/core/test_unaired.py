"""Whether a room has seen fresh air within a week. Days and values by hand."""

import pytest

from gillhouse.core.unaired import DAY_MS, KEPT_DAYS, lowest_unaired, note

START = 20_000 * DAY_MS


def lows(days: int, lowest: float = 620.0, **other: float) -> dict[int, float]:
    """`days` whole days and a begun one, a value every six hours; `dN` sets the lowest of day N."""
    found: dict[int, float] = {}
    for quarter in range(4 * days + 2):
        base = other.get(f"d{quarter // 4}", lowest)
        note(found, base + 300.0 * (quarter % 2), START + quarter * DAY_MS // 4)
    return found


def test_a_week_without_fresh_air() -> None:
    assert lowest_unaired(lows(7), START + 7 * DAY_MS + DAY_MS // 2) == 620.0


@pytest.mark.parametrize("found", [lows(6), lows(7, d3=480.0), lows(7, d7=500.0), {}])
def test_too_early_or_aired(found: dict[int, float]) -> None:
    assert lowest_unaired(found, START + (max(found, default=20_000) - 20_000) * DAY_MS) is None


def test_a_day_nobody_listened_may_have_been_aired() -> None:
    found = lows(8)
    del found[20_004]
    assert lowest_unaired(found, START + 8 * DAY_MS) is None


def test_old_days_and_days_of_a_clock_that_was_wrong_are_dropped() -> None:
    found = lows(30)
    assert len(found) == KEPT_DAYS
    note(found, 700.0, START)
    assert list(found) == [20_000]
