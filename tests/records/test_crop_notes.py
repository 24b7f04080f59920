"""Entries of the book as notes: whatever is written is read back, whatever cannot be is refused."""

from zoneinfo import ZoneInfo

import pytest
from hypothesis import given
from hypothesis import strategies as st

from gillhouse.records.crop_notes import (
    CAUSES,
    GRADES,
    SIGNS,
    About,
    CropEntry,
    Filled,
    Looked,
    Lost,
    Picked,
    read,
    written,
)

UTC = ZoneInfo("UTC")
AT = 1_763_663_400_000  # 2025-11-20 18:30 UTC, by date(1)
KG = st.integers(1, 9_999_999_999).map(lambda grams: grams / 1000)
COUNT = st.integers(1, 999_999)
ABOUT = st.builds(
    About,
    st.from_regex(r"[A-Za-z0-9._-]{1,24}", fullmatch=True).filter(str.isascii),
    st.integers(1, 20),
    st.integers(0, 60_000_000).map(lambda minutes: minutes * 60_000),
    st.text(max_size=200).filter(str.isprintable),
)
ENTRIES: st.SearchStrategy[CropEntry] = st.one_of(
    st.builds(Picked, ABOUT, KG, st.just(0.0) | KG, st.none() | COUNT, st.sampled_from(("", *GRADES))),
    st.builds(Lost, ABOUT, COUNT, st.sampled_from(CAUSES)),
    st.builds(
        Looked, ABOUT, st.sets(st.sampled_from(SIGNS)).map(lambda had: tuple(s for s in SIGNS if s in had))
    ),
    st.builds(Filled, ABOUT, KG, st.none() | COUNT),
)


@given(ENTRIES)
def test_each_entry_is_read_back_as_written(entry: CropEntry) -> None:
    assert read(written(entry, UTC), UTC) == entry


@given(st.text())
def test_no_other_note_breaks_the_reading(text: str) -> None:
    assert read(text, UTC) is None
    read(f"crop: {text}", UTC)


def test_the_sentence() -> None:
    about = About("LM-12", 1, AT, "=1+1")
    assert (
        written(Picked(about, 2.4, 0.3, 40, "first"), UTC)
        == "crop: LM-12 flush 1 picked 2.4 kg, waste 0.3 kg, 40 pieces, first grade on 2025-11-20 18:30; =1+1"
    )


@pytest.mark.parametrize(
    ("entry", "said"),
    [
        (Picked(About("a", 1, AT), 0.0), "weight of 0 kg"),
        (Picked(About("a", 1, AT), float("nan")), "weight of nan kg"),
        (Picked(About("a", 1, AT), 1.0, -0.3), "waste of -0.3 kg"),
        (Picked(About("a", 1, AT), 1.0, 0.0, 0), "0 pieces"),
        (Picked(About("a", 0, AT), 1.0), "flush 0"),
        (Picked(About("a", 1, AT, "red\x1b[31m"), 1.0), "one line"),
        (Picked(About("a", 1, AT, "x" * 201), 1.0), "200"),
        (Lost(About("a", 1, AT), 0, "dry"), "0 blocks lost"),
        (Lost(About("a", 1, AT), 1, "gremlins"), "green-mould"),
        (Looked(About("a", 1, AT), ("ghosts",)), "wet-caps"),
        (Filled(About("a", 1, AT), 0.0), "dry weight of 0 kg"),
    ],
)
def test_what_cannot_be_is_refused_with_words(entry: CropEntry, said: str) -> None:
    with pytest.raises(ValueError, match=said.replace("[", r"\[")):
        written(entry, UTC)


def test_one_typed_by_hand_that_is_off_is_a_plain_note() -> None:
    assert read("crop: LM-12 flush 1 picked 0 kg on 2025-11-20 18:30", UTC) is None
    assert read("crop: LM-12 flush 1 picked 2 kg on 2025-13-20 18:30", UTC) is None
    assert read("crop: LM-12 flush 1 looked at: ghosts on 2025-11-20 18:30", UTC) is None
