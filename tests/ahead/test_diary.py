"""Sightings and counts as notes: read back as they were written, and nothing else taken for one."""

from zoneinfo import ZoneInfo

import pytest
from hypothesis import given
from hypothesis import strategies as st

from gillhouse.ahead.diary import Caught, Entry, Larvae, Seen, read, written
from gillhouse.ahead.pests import PestStage
from gillhouse.ahead.traps import Catch

ROME = ZoneInfo("Europe/Rome")
AT = 1_795_195_800_000
"""2026-11-20 18:30 in Rome (GNU date)."""

idents = st.from_regex(r"[a-z][a-z0-9-]{0,20}", fullmatch=True)
words = st.text(st.characters(exclude_categories=("Cc", "Cs")), max_size=80)
minutes = (
    st.integers(20_000_000, 40_000_000)
    .map(lambda minute: minute * 60_000)
    .filter(
        lambda ms: ms // 3_600_000 % 24 not in (0, 1)  # the hour in which clocks go back has two meanings
    )
)
stages = st.sampled_from([PestStage.ADULT, PestStage.LARVA, PestStage.PUPA])
counts = st.integers(0, 10**6)
catches = st.builds(Catch, minutes, counts, st.integers(1, 99), st.sampled_from([0.5, 1.0, 7.0, 14.0]))
entries: st.SearchStrategy[Entry] = st.one_of(
    st.builds(Seen, idents, minutes, stages, words),
    st.builds(Larvae, idents, minutes, counts, words),
    st.builds(Caught, idents, catches, words),
)


@given(entries)
def test_what_is_written_is_read_back(entry: Entry) -> None:
    assert read(written(entry, ROME), ROME) == entry


def test_the_sentences() -> None:
    assert written(Seen("sciarid", AT, PestStage.ADULT, "by the door"), ROME) == (
        "flies: sciarid adult seen on 2026-11-20 18:30; by the door"
    )
    assert written(Caught("phorid", Catch(AT, 14, 2, 7.0)), ROME) == (
        "flies: phorid 14 caught on 2 traps in 7 days until 2026-11-20 18:30"
    )
    assert written(Caught("phorid", Catch(AT, 1, 1, 1.0)), ROME) == (
        "flies: phorid 1 caught on 1 trap in 1 day until 2026-11-20 18:30"
    )
    assert written(Larvae("sciarid", AT, 3), ROME) == "flies: sciarid 3 larvae in 125 g on 2026-11-20 18:30"


@pytest.mark.parametrize(
    "text",
    [
        "hosed the west edge",
        "flies everywhere",
        "flies: sciarid -3 caught on 1 trap in 7 days until 2026-11-20 18:30",
        "flies: sciarid 3 caught on 0 traps in 7 days until 2026-11-20 18:30",
        "flies: sciarid 3 caught on 1 trap in 0 days until 2026-11-20 18:30",
        "flies: sciarid adult seen on 2026-13-45 18:30",
        "flies: sciarid adult seen",
        "flies: sciarid cloud seen on 2026-11-20 18:30",
    ],
)
def test_any_other_note_is_none(text: str) -> None:
    assert read(text, ROME) is None


@given(st.text(max_size=200))
def test_no_note_breaks_the_reader(text: str) -> None:
    assert read("flies: " + text, ROME) is None or "20" in text


@pytest.mark.parametrize("catch", [Catch(AT, -1, 1, 7.0), Catch(AT, 3, 0, 7.0), Catch(AT, 3, 1, 0.0)])
def test_counts_that_cannot_be_are_refused(catch: Catch) -> None:
    with pytest.raises(ValueError, match=r"cannot be; a count is 0 or more"):
        written(Caught("sciarid", catch), ROME)


def test_larvae_below_nothing_and_stages_nobody_sees_are_refused() -> None:
    with pytest.raises(ValueError, match="-2 larvae cannot be"):
        written(Larvae("sciarid", AT, -2), ROME)
    with pytest.raises(ValueError, match="say adult, egg, larva, pupa"):
        written(Seen("sciarid", AT, PestStage.CYCLE), ROME)
