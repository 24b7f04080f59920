"""A moment by the farm's clock. UTC times by GNU coreutils: `date -u -d ... +%s`."""

from zoneinfo import ZoneInfo

import pytest

from gillhouse.core import local_moment

ROME = ZoneInfo("Europe/Rome")
EVENING_MS = 1_795_195_800_000  # date -u -d '2026-11-20 17:30' +%s


def test_it_is_written_and_read_back() -> None:
    assert local_moment.written(EVENING_MS + 59_999, ROME) == "2026-11-20 18:30"
    assert local_moment.read("2026-11-20 18:30", ROME) == EVENING_MS


def test_the_first_of_two_like_hours_is_meant() -> None:
    """25 Oct 2026, 02:30 comes at 00:30 and at 01:30 UTC: date -u -d '2026-10-25 00:30' +%s."""
    assert local_moment.read("2026-10-25 02:30", ROME) == 1_792_888_200_000


@pytest.mark.parametrize("text", ["", "2026-11-20", "2026-02-30 10:00", "18:30", "2026-11-20 18:30 ", "x"])
def test_what_is_no_moment_is_none(text: str) -> None:
    assert local_moment.read(text, ROME) is None
