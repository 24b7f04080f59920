"""What counts as an answer. The words are our own; the cases were written by hand."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from gillhouse.alerts.desk import ACTS, DONE
from gillhouse.alerts.replies import LONGEST_NOTE, WORDS, Reply, Wish, understood
from gillhouse.core.inputs import Act


@pytest.mark.parametrize(
    ("text", "found"),
    [
        ("ok 4711", Reply(Wish.SEEN, "4711")),
        ("OK4711", Reply(Wish.SEEN, "4711")),
        ("  Ok, 4711. ", Reply(Wish.SEEN, "4711")),
        ("4711 ok", Reply(Wish.SEEN, "4711")),
        ("\n\nok 0047\n> Reply OK 1234", Reply(Wish.SEEN, "0047")),
        ("seen 4711 opened the bypass", Reply(Wish.SEEN, "4711", "opened the bypass")),
        ("quiet 4711", Reply(Wish.QUIET, "4711")),
        ("next 4711: I am away", Reply(Wish.NEXT, "4711", "I am away")),
        ("ok", None),
        ("4711", None),
        ("ok 47110", None),
        ("ok 471", None),
        ("ok ４７１１", None),
        ("fan on 4711", None),
        ("run 4711", None),
        ("hello\nok 4711", None),
        ("> ok 4711", None),
        ("Sent from my phone. ok 4711", None),
        ("", None),
    ],
)
def test_only_a_word_and_its_code_in_the_first_line(text: str, found: Reply | None) -> None:
    assert understood(text) == found


@given(st.text())
def test_whatever_is_written_is_an_answer_or_none(text: str) -> None:
    found = understood(text)
    if found is not None:
        assert found.code.isascii() and found.code.isdigit() and len(found.code) == 4
        assert len(found.note) <= LONGEST_NOTE and found.note.isprintable()


def test_every_wish_has_words_an_act_and_an_answer() -> None:
    assert set(WORDS.values()) == set(ACTS) == set(DONE) == set(Wish)


def test_no_answer_can_ask_for_an_act_that_moves_a_relay() -> None:
    """The acts that touch relays or modes of a space are all others; see `core.inputs.Act`."""
    assert set(ACTS.values()) == {Act.ACK, Act.SHELVE, Act.PASS_ON}
