"""A note stays as it was written; another puts it right, and both are shown."""

from pathlib import Path

import pytest
from click.testing import CliRunner

from audit.nights import at, lived, shipped_config
from audit.test_figures import curve
from gillhouse.__main__ import cli
from gillhouse.audit.wording import correction_words
from gillhouse.store.reader import Reader

BEGIN = at("2026-10-13 20:00")


@pytest.fixture
def state(tmp_path: Path) -> Path:
    lived(tmp_path / "journal.db", shipped_config(), BEGIN, 1, curve).close()
    return tmp_path


def note(state: Path, *words: str) -> tuple[int, str]:
    done = CliRunner().invoke(cli, ["note", *words, "--state", str(state)])
    return done.exit_code, done.output


def number_in(said: str) -> int:
    return int(said.split("(number ")[1].split(")")[0])


def test_a_note_is_put_right_by_another_and_both_are_shown(state: Path) -> None:
    code, said = note(state, "tent", "hosed the west edge")
    assert code == 0
    first = number_in(said)
    code, said = note(state, "tent", "it was the east edge", "--corrects", str(first))
    assert code == 0
    second = number_in(said)
    _, listed = note(state, "--list")
    before, after = listed.splitlines()
    assert before.endswith(f": hosed the west edge (put right by number {second})")
    assert after.endswith(f": it was the east edge (puts number {first} right)")
    with Reader(state / "journal.db") as reader:
        assert reader.verify().findings == []
        (event,) = [one.event for one in reader.events(0, 1 << 48) if one.seq == second]
        assert event.causes == (second, first)


def test_only_notes_are_put_right_and_only_by_notes(state: Path) -> None:
    code, said = note(state, "tent", "x", "--corrects", "7")
    assert (code, "number 7 is no note" in said) == (1, True)
    code, said = note(state, "tent", "x", "--corrects", "7", "--hosed")
    assert (code, "only a note in words" in said) == (2, True)
    assert note(state)[0] == 2
    assert note(state, "--list") == (0, "no note yet\n")


def test_words_of_a_correction() -> None:
    assert correction_words(None, None) == ""
    assert correction_words(3, 9) == " (puts number 3 right, put right by number 9)"
